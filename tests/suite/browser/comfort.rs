//! What scripts add on the reviewer's side: a dropped card, a proposed lens, a chart that leads to frames, a sentence to copy.

use fantoccini::actions::{InputSource as _, MOUSE_BUTTON_LEFT, MouseActions, PointerAction};

use super::{describe_lens, open_first_sweep, publish_shown, serve, sign_in};
use crate::support::browser::Browser;
use crate::support::sweeps::{small, write_frames};

/// Frames in each of the two folders of the card: more than the hundred entries that a browser tells at a time.
const FRAMES: usize = 104;

/// Clicks on the sweep page's chart, `along` of the way from infinity (0) to closest focus (1).
async fn click_chart(browser: &Browser, along: f64) {
    let script = "const chart = document.querySelector('#chart svg[data-most]'); \
                  chart.scrollIntoView({ block: 'center' }); const area = chart.getBoundingClientRect(); \
                  const unit = area.width / chart.viewBox.baseVal.width; const { left, right } = chart.dataset; \
                  return [area.left + unit * (Number(left) + arguments[0] * (right - left)), \
                          area.top + area.height / 2];";
    let place = browser
        .client
        .execute(script, vec![serde_json::json!(along)])
        .await
        .expect("there is a chart");
    let [x, y]: [f64; 2] = serde_json::from_value(place).expect("a place");
    let click = MouseActions::new("mouse".to_owned())
        .then(PointerAction::MoveTo {
            duration: None,
            x,
            y,
        })
        .then(PointerAction::Down {
            button: MOUSE_BUTTON_LEFT,
        })
        .then(PointerAction::Up {
            button: MOUSE_BUTTON_LEFT,
        });
    browser
        .client
        .perform_actions(click)
        .await
        .expect("a click");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_dropped_card_is_read_to_its_last_entry() {
    let folder = tempfile::tempdir().expect("a folder");
    let card = folder.path().join("card");
    for (place, focal_mm) in [("100QUAY", 35.0), ("101QUAY/late", 50.0)] {
        let mut script = small(focal_mm, 1.0, 1);
        script.scene = breathmark::simulate::Scene::two_targets(240, 160);
        let bytes = script.jpeg(0).expect("a frame can be encoded");
        let inside = card.join(place);
        std::fs::create_dir_all(&inside).expect("the folder can be made");
        for frame in 0..FRAMES {
            // Bytes behind the end of a JPEG make each file another one.
            let bytes = [bytes.as_slice(), &frame.to_be_bytes()].concat();
            let name = format!("SWP_{frame:04}.JPG");
            std::fs::write(inside.join(name), bytes).expect("a frame can be written");
        }
    }
    std::fs::write(card.join(".DS_Store"), b"x").expect("a stray file");
    let server = serve(&folder.path().join("data"));
    let browser = Browser::open(1200, 900, false).await;
    sign_in(&browser, &server).await;
    browser.go(&format!("{}/desk/upload", server.address)).await;
    browser.drop_files("#drop", &[card]).await;
    let said = browser
        .until_it_says(&format!("{} files", 2 * FRAMES))
        .await;
    assert!(said.contains("from 2 folders"), "{said}");
    assert!(said.contains("1 file left out"), "{said}");
    let said = browser.until_it_says("35 mm: 104 frames").await;
    assert!(said.contains("50 mm: 104 frames"), "{said}");
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_chart_leads_to_frames_the_sentence_is_copied_and_the_lens_proposed_next_time() {
    let folder = tempfile::tempdir().expect("a folder");
    let sweep = folder.path().join("sweep");
    write_frames(&small(50.0, 3.1, 12), &sweep);
    let server = serve(&folder.path().join("data"));
    let browser = Browser::open(1200, 900, false).await;
    sign_in(&browser, &server).await;
    let upload = format!("{}/desk/upload", server.address);
    browser.go(&upload).await;
    describe_lens(&browser, "50 mm f/2 Comfort", "50").await;
    browser.give_files("#folder", &[sweep]).await;
    browser.until_it_says("12 files").await;
    browser.click("#send").await;
    browser.until_it_says("What arrived").await;
    open_first_sweep(&browser).await;

    let page = format!("{}/sweeps/1", server.address);
    for (along, frame) in [(0.99, 1), (0.0, 12)] {
        browser.go(&page).await;
        browser.find("#chart.leads-on").await;
        click_chart(&browser, along).await;
        browser.until_it_says(&format!("frame {frame} of 12")).await;
    }

    browser.go(&page).await;
    let verdict = browser.find("#sentence").await.text().await;
    let verdict = verdict.expect("text").replace(['\u{a0}', '\u{202f}'], " ");
    assert!(verdict.contains("tighter by 3.1"), "{verdict}");
    browser.click("#sentence + button").await;
    browser.until_it_says("Copied").await;
    assert_eq!(browser.clipboard().await, verdict);

    publish_shown(&browser).await;
    the_readout_says_what_the_pull_says(&browser, &server.address).await;
    let later = folder.path().join("later");
    let mut script = small(50.0, 3.1, 12);
    script.capture.start += time::Duration::days(1);
    write_frames(&script, &later);
    browser.go(&upload).await;
    browser.give_files("#folder", &[later]).await;
    browser.until_it_says("Proposed, because").await;
    let chosen = browser
        .client
        .execute(
            "const lens = document.getElementById('lens'); return lens.selectedOptions[0].textContent;",
            Vec::new(),
        )
        .await
        .expect("a choice");
    assert!(
        chosen
            .as_str()
            .is_some_and(|lens| lens.contains("50 mm f/2 Comfort")),
        "{chosen}"
    );
    browser.close().await;
}

/// What the chart of a lens is read at is said to three figures, and the shift there is that of a pull from infinity to
/// the distance that is said, to the figures that are said.
async fn the_readout_says_what_the_pull_says(browser: &Browser, address: &str) {
    let lens = "ostrel-50-mm-f-2-comfort";
    browser.go(&format!("{address}/lenses/{lens}")).await;
    browser.find(".readout input").await;
    let script = "const [lens, done] = arguments; const slider = document.querySelector('.readout input'); \
                  const read = async (value) => { slider.value = value; slider.dispatchEvent(new Event('input')); \
                  const words = document.querySelector('.readout output').textContent; \
                  const metres = /^([\\d.]+)\\s*m/.exec(words)?.[1] ?? 'inf'; \
                  const answer = await fetch(`/api/v1/lenses/${lens}/pull?from_m=inf&to_m=${metres}`); \
                  return { words, metres, pull: await answer.json() }; }; \
                  (async () => { const all = []; for (const value of [1000, 713, 305, 40, 0]) all.push(await read(value)); \
                  return all; })().then(done, (error) => done(String(error)));";
    let read = browser
        .client
        .execute_async(script, vec![lens.into()])
        .await;
    let read = read.expect("the read-out answers");
    let read = read.as_array().unwrap_or_else(|| panic!("{read}"));
    assert_eq!(read.len(), 5);
    for at in read {
        let words = at["words"]
            .as_str()
            .expect("words")
            .replace(['\u{a0}', '\u{202f}'], " ");
        let pull = &at["pull"]["pulls"][0];
        let number = |name: &str| {
            pull[name]
                .as_f64()
                .unwrap_or_else(|| panic!("{name}: {at}"))
        };
        let (change, u) = (number("framing_change_pct"), number("framing_change_u_pct"));
        let sign = if format!("{change:.2}").ends_with("0.00") {
            ""
        } else if change < 0.0 {
            "−"
        } else {
            "+"
        };
        let expected = format!("{sign}{:.2} % ± {:.2}", change.abs(), (2.0 * u).max(0.01));
        assert!(words.ends_with(&expected), "{words}: {expected}");
        let metres = at["metres"].as_str().expect("metres");
        if metres == "inf" {
            assert!(words.starts_with('∞'), "{words}");
            continue;
        }
        let figures = metres.replace('.', "");
        assert!(figures.trim_start_matches('0').len() <= 3, "{words}");
        let inches = metres.parse::<f64>().expect("a number") / 0.0254;
        let told = words.split(['(', ')']).nth(1).expect("feet and inches");
        let (mut sum, mut number) = (0.0, 0.0);
        for part in told.split([' ', '\u{a0}']) {
            match part {
                "ft" => sum += 12.0 * number,
                "in" => sum += number,
                figure => number = figure.parse().unwrap_or_else(|_| panic!("{words}")),
            }
        }
        // A step is a hundredth at most; the closest focus is rounded up, all else to the nearest.
        assert!((sum / inches - 1.0).abs() <= 0.01, "{words}: {inches} in");
    }
}
