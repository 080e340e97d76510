//! The chart in a frame on another site, as its readers see it: whole, whatever the sides of the frame.

use breathmark::store::Switch;
use breathmark::sweep::{BudgetLine, Code, Finding, Part, Severity};

use super::reading::{other_site, served};
use super::site::{Site, curve, off, with_finding};
use crate::support::browser::Browser;

/// What is seen in a frame: its sides, how far its content goes down and across, the box of the chart, the lowest edge of
/// the last line and its words, px.
const SEEN: &str = "
    const shown = [...document.querySelectorAll('svg')].filter(svg => svg.getClientRects().length > 0);
    const [chart] = shown.map(svg => svg.getBoundingClientRect());
    const letters = shown.flatMap(svg => [...svg.querySelectorAll('text')].map(t => t.getBoundingClientRect().height));
    const credit = document.querySelector('.credit');
    return {
        charts: shown.length,
        over: document.documentElement.scrollHeight - innerHeight,
        wide: document.documentElement.scrollWidth - innerWidth,
        height: chart.height,
        top: chart.top,
        letters: Math.min(...letters),
        below: innerHeight - credit.getBoundingClientRect().bottom,
        between: credit.getBoundingClientRect().top - chart.bottom,
        credit: credit.innerText,
        words: document.body.innerText,
    }";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_framed_chart_fits_its_frame() {
    let site = Site::with_lenses().await;
    // Long name, both ways, perspective, a warning, several conditions: as much to say as there may be.
    let long = site
        .lens("Brackwell", "Harbour 70-200 f/4 Traveller", (70.0, 200.0))
        .await;
    let mut on = off();
    on.breathing_compensation = Switch::On;
    for (conditions, focal, worst) in [
        (off(), 70.0, -2.2),
        (off(), 100.0, 0.8),
        (off(), 135.0, 2.4),
        (off(), 200.0, 4.9),
        (on, 70.0, 0.2),
    ] {
        let finding = Finding {
            code: Code::CameraMoved,
            severity: Severity::Warning,
            message: "the mid-point jumps by 3 px".to_owned(),
            files: Vec::new(),
        };
        let mut sweep = with_finding(curve(focal, worst, 0.45), finding);
        if let Some(summary) = &mut sweep.summary {
            let (part, pct) = (Part::EntrancePupil, 3.51);
            summary.budget.systematic = vec![BudgetLine { part, pct }];
        }
        site.publish(&long, &conditions, sweep).await;
    }
    let at = served(&site).await;
    let browser = Browser::open(1000, 800, false).await;
    for slug in [
        long.slug.as_str(),
        "ostrel-28-135-f-3-5",
        "tindra-sound-85-f-1-4",
    ] {
        for (width, height, least) in [
            (640, 520, 250.0),
            (400, 660, 250.0),
            (800, 450, 250.0),
            (320, 420, 140.0),
            (400, 300, 120.0),
            (320, 240, 80.0),
        ] {
            let frame = format!(
                "<iframe src=\"{at}/embed/lens/{slug}\" width=\"{width}\" height=\"{height}\"></iframe>"
            );
            browser.go(&other_site(frame).await).await;
            let frame = browser.find("iframe").await;
            frame.enter_frame().await.expect("a frame");
            let seen = browser.client.execute(SEEN, Vec::new()).await;
            let seen = seen.expect("a page");
            let number = |name: &str| seen[name].as_f64().expect(name);
            let told = format!("{slug} in {width} × {height}: {seen}");
            assert_eq!(seen["charts"], 1, "one drawing: {told}");
            assert!(number("over") <= 0.0 && number("wide") <= 0.0, "{told}");
            // Half a pixel is what browsers round by.
            assert!(
                number("below") >= -0.5 && number("between") >= -0.5,
                "{told}"
            );
            assert!(number("height") >= least && number("top") > 0.0, "{told}");
            // What is lower than this nobody reads (common practice, no source).
            assert!(number("letters") >= 9.0, "{told}");
            let credit = seen["credit"].as_str().expect("words");
            assert!(
                credit.ends_with("Measured by Breathmark, CC BY 4.0."),
                "{told}"
            );
            assert!(credit.contains("breathing compensation off"), "{told}");
            let warned = seen["words"].as_str().expect("words").contains("Warning");
            assert_eq!(warned, slug == long.slug, "{told}");
            let outside = browser.client.clone().enter_parent_frame().await;
            outside.expect("out again");
        }
    }
    browser.close().await;
}
