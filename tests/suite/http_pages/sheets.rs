//! Reader pages on paper: each is one sheet of A4 or Letter, at the size of its style sheet.

use breathmark::store::Switch;
use breathmark::sweep::{BudgetLine, Code, Finding, Part, Severity};
use fantoccini::wd::{PrintConfiguration, PrintSize};

use super::reading::{ZOOM, served};
use super::site::{Site, curve, off, with_finding};
use crate::support::browser::Browser;

/// The document's own page objects (ISO 32000-1, 7.7.3.3); "/Pages" is the tree that holds them.
fn pages_of(pdf: &[u8]) -> usize {
    let text = String::from_utf8_lossy(pdf);
    text.match_indices("/Type /Page")
        .filter(|(at, found)| !text[at + found.len()..].starts_with('s'))
        .count()
}

/// How many pages what a browser shows takes on paper of this size.
pub(super) async fn pages_on(browser: &Browser, paper: PrintSize) -> usize {
    let asked = PrintConfiguration::builder().size(paper).build();
    let pdf = browser.client.print(asked.expect("usual margins")).await;
    pages_of(&pdf.expect("a PDF"))
}

/// Papers, in portrait.
pub(super) const A4: PrintSize = PrintSize::A4;
pub(super) const LETTER: PrintSize = PrintSize::US_LETTER;

/// Width of A4 between the margins of a sheet, CSS px: 186 mm of 1/96 in.
pub(super) const PAPER_PX: f64 = 703.0;

/// A window in the shape of A4: on one in that of Letter the style sheet sets type smaller.
pub(super) const PORTRAIT: (u32, u32) = (760, 1250);

/// How far the widest thing on a page reaches on paper, px. It stays in the style of paper.
pub(super) async fn widest_on_paper(browser: &Browser) -> f64 {
    let widest = browser.client.execute(WIDEST_ON_PAPER, Vec::new()).await;
    let widest = widest.ok().and_then(|px| px.as_f64());
    widest.expect("a width")
}

/// How far the widest thing reaches on paper of that width, px.
const WIDEST_ON_PAPER: &str = "
    document.querySelector('link[media=print]').media = 'all';
    document.body.style.width = '703px';
    const left = document.body.getBoundingClientRect().left;
    return Math.max(...[...document.querySelectorAll('main *')].map(e => e.getBoundingClientRect().right)) - left;";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn sheets_are_one_page() {
    let site = Site::with_lenses().await;
    let warned = site
        .lens("Brackwell", "Weir 24-70 f/2.8", (24.0, 70.0))
        .await;
    for (focal, worst) in [(24.0, -2.2), (35.0, -0.8), (50.0, 1.1), (70.0, 2.9)] {
        let finding = Finding {
            code: Code::CameraMoved,
            severity: Severity::Warning,
            message: "the mid-point jumps by 3 px at SWP_0007.JPG".to_owned(),
            files: vec!["SWP_0007.JPG".to_owned()],
        };
        let mut sweep = with_finding(curve(focal, worst, 0.4), finding);
        if let Some(summary) = &mut sweep.summary {
            let bounds = [
                (Part::EntrancePupil, 0.93),
                (Part::ReferenceNotAtInfinity, -0.16),
            ];
            let line = |(part, pct)| BudgetLine { part, pct };
            summary.budget.systematic = bounds.map(line).to_vec();
        }
        site.publish(&warned, &off(), sweep).await;
    }
    let mut on = off();
    on.breathing_compensation = Switch::On;
    let twice = site.lens("Ostrel", "Skua 35 f/1.4", (35.0, 35.0)).await;
    let both = site
        .lens("Tindra", "Harbour 24-135 f/4 Traveller", (24.0, 135.0))
        .await;
    for (conditions, part) in [(off(), 1.0), (on, 0.1)] {
        let worst = 5.4 * part;
        site.publish(&twice, &conditions, curve(35.0, worst, 0.3))
            .await;
        for (focal, worst) in [
            (24.0, -2.2),
            (35.0, -0.8),
            (50.0, 1.1),
            (70.0, 2.9),
            (100.0, 4.1),
            (135.0, 6.3),
        ] {
            site.publish(&both, &conditions, curve(focal, worst * part, 0.4))
                .await;
        }
    }
    let at = served(&site).await;
    let browser = Browser::open(PORTRAIT.0, PORTRAIT.1, false).await;
    for page in [
        ZOOM.to_owned(),
        format!("{ZOOM}?from_m=3&to_m=1"),
        "/lenses/tindra-sound-85-f-1-4".to_owned(),
        format!("/lenses/{}", warned.slug),
        format!("/lenses/{}?from_m=3&to_m=1", warned.slug),
        format!("/lenses/{}", twice.slug),
        format!("/lenses/{}?from_m=10+ft&to_m=3'6%22", twice.slug),
        format!("/lenses/{}", both.slug),
        format!("/lenses/{}?from_m=3&to_m=1", both.slug),
        format!("{ZOOM}/counter-scale"),
        format!("/lenses/{}/counter-scale", warned.slug),
        "/compare?lens=ostrel-28-135-f-3-5&lens=tindra-sound-85-f-1-4&lens=brackwell-pier-50-f-1-8&from_m=3&to_m=1".to_owned(),
        format!("/compare?lens={}&lens={}&lens={}&lens=ostrel-28-135-f-3-5&from_m=3&to_m=1", both.slug, warned.slug, twice.slug),
    ] {
        browser.go(&format!("{at}{page}")).await;
        for (name, paper) in [("A4", A4), ("Letter", LETTER)] {
            assert_eq!(pages_on(&browser, paper).await, 1, "{page} on {name}");
        }
        // What is wider than the paper would make a browser shrink the whole sheet.
        let widest = widest_on_paper(&browser).await;
        assert!(widest <= PAPER_PX + 1.0, "{page}: {widest} px");
    }
    browser.close().await;
}
