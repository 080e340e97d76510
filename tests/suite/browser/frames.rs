//! One frame at a time: the keys, pointing at targets, undoing; then publishing by its page with its preview.

use fantoccini::actions::{InputSource as _, MOUSE_BUTTON_LEFT, MouseActions, PointerAction};

use super::{PASSWORD, describe_lens, no_violations, open_first_sweep, serve, sign_in};
use crate::support::browser::Browser;
use crate::support::program::Server;
use crate::support::sweeps::{small, write_frames};

/// The keys of WebDriver (W3C WebDriver, 17.4.2).
const RIGHT: &str = "\u{e014}";
const ESCAPE: &str = "\u{e00c}";
const ENTER: &str = "\u{e007}";

/// Uploads 12 frames and waits at the page of the measured sweep.
async fn measured(browser: &Browser, server: &Server, folder: &std::path::Path) -> String {
    let sweep = folder.join("sweep");
    write_frames(&small(50.0, 3.1, 12), &sweep);
    sign_in(browser, server).await;
    browser.go(&format!("{}/desk/upload", server.address)).await;
    describe_lens(browser, "50 mm f/2 Single", "50").await;
    browser.give_files("#folder", &[sweep]).await;
    browser.until_it_says("12 files").await;
    browser.click("#send").await;
    browser.until_it_says("What arrived").await;
    open_first_sweep(browser).await;
    format!("{}/sweeps/1", server.address)
}

/// The centres that the page of a frame tells, px.
async fn centres(browser: &Browser) -> Vec<(f64, f64)> {
    let text = browser.text().await;
    let told = text.split_once("targets at ").expect("two targets").1;
    let told = told.split_once(" px").expect("in px").0;
    told.split(" and ")
        .map(|place| {
            let (x, y) = place.split_once(", ").expect("x and y");
            (x.parse().expect("px"), y.parse().expect("px"))
        })
        .collect()
}

/// Clicks on a place of the large picture, given in its own pixels.
async fn point_at(browser: &Browser, (x, y): (f64, f64)) {
    let script = "document.getElementById('large').scrollIntoView({block: 'start'}); \
                  const area = document.getElementById('large').getBoundingClientRect(); \
                  const wide = document.querySelector('#large img').getAttribute('width'); \
                  return [area.left, area.top, area.width / Number(wide)];";
    let place = browser
        .client
        .execute(script, Vec::new())
        .await
        .expect("a picture");
    let place: [f64; 3] = serde_json::from_value(place).expect("three numbers");
    let [left, top, scale] = place;
    let click = MouseActions::new("mouse".to_owned())
        .then(PointerAction::MoveTo {
            duration: None,
            x: left + (x + 0.5) * scale,
            y: top + (y + 0.5) * scale,
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
async fn a_frame_is_walked_left_out_pointed_at_and_undone_by_keys_and_clicks() {
    let folder = tempfile::tempdir().expect("a folder");
    let server = serve(&folder.path().join("data"));
    let browser = Browser::open(1200, 900, false).await;
    let sweep = measured(&browser, &server, folder.path()).await;

    browser.go(&format!("{sweep}/frames/1")).await;
    browser.find("#keys-open").await;
    browser.press(RIGHT).await;
    browser.until_it_says("frame 2 of 12").await;
    browser.press("l").await;
    browser.press("cloth moved").await;
    browser.press(ENTER).await;
    browser.until_it_says("Take it back in").await;
    browser.until_it_says("left out").await;
    browser.until_gone("#measuring").await;
    browser.press("u").await;
    browser.find("form[action$='/leave-out']").await;
    browser.until_gone("#measuring").await;

    // Pointing: the first place is marked, the second is measured.
    let found = centres(&browser).await;
    browser.press("p").await;
    point_at(&browser, found[0]).await;
    browser.until_it_says("One place is marked").await;
    point_at(&browser, found[1]).await;
    browser.until_it_says("were pointed at").await;
    browser.until_gone("#measuring").await;
    for (again, before) in centres(&browser).await.iter().zip(&found) {
        // The same targets are measured from the places as without them, to the digit that is shown.
        assert!((again.0 - before.0).abs() < 0.11 && (again.1 - before.1).abs() < 0.11);
    }
    no_violations(&browser, &format!("{sweep}/frames/2")).await;
    browser.press("u").await;
    browser.until_gone("form[action$='/unpoint']").await;
    browser.until_gone("#measuring").await;
    browser.press("?").await;
    browser.until_it_says("Keys are on").await;
    browser.click("#keys-on").await;
    browser.click("#keys form button").await;
    browser.press(RIGHT).await;
    assert!(
        browser.text().await.contains("frame 2 of 12"),
        "keys are off"
    );
    browser.go(&format!("{sweep}/frames/3")).await;
    browser.press(RIGHT).await;
    assert!(
        browser.text().await.contains("frame 3 of 12"),
        "and stay off"
    );
    browser.click("#keys-open").await;
    browser.click("#keys-on").await;
    browser.click("#keys form button").await;
    browser.press(ESCAPE).await;
    browser.find("ol.frames").await;
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn publishing_is_previewed_and_confirmed_on_a_page_of_its_own() {
    let folder = tempfile::tempdir().expect("a folder");
    let server = serve(&folder.path().join("data"));
    let browser = Browser::open(360, 740, true).await;
    let sweep = measured(&browser, &server, folder.path()).await;
    for page in ["publish", "publish/preview"] {
        no_violations(&browser, &format!("{sweep}/{page}")).await;
        assert_eq!(browser.overhang().await, 0, "{page} is wider than a phone");
    }
    browser.click("#preview-of a").await;
    browser.until_it_says("becomes version 1").await;
    browser.click("form[action$='/publish'] button").await;
    browser.until_it_says("public, version 1").await;
    for page in ["publish", "versions/1", "frames/1"] {
        no_violations(&browser, &format!("{sweep}/{page}")).await;
        assert_eq!(browser.overhang().await, 0, "{page} is wider than a phone");
    }
    browser.close().await;
}

/// Without scripts the picture itself is the button, and numbers do the same.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn without_scripts_targets_are_pointed_at_too() {
    let folder = tempfile::tempdir().expect("a folder");
    let server = serve(&folder.path().join("data"));
    let scripted = Browser::open(1200, 900, false).await;
    let sweep = measured(&scripted, &server, folder.path()).await;
    scripted.close().await;
    let browser = Browser::open_without_scripts(1200, 900).await;
    browser.go(&format!("{}/sign-in", server.address)).await;
    browser.fill("#name", "Maren").await;
    browser.fill("#password", PASSWORD).await;
    browser.click("main button").await;
    browser.until_it_says("Upload frames").await;
    let frame = format!("{sweep}/frames/2");
    browser.go(&frame).await;
    let found = centres(&browser).await;
    browser.click("#point summary").await;
    browser.click("input[name=place]").await;
    browser.until_it_says("One place is marked").await;
    for (field, value) in [
        ("#x1", found[0].0),
        ("#y1", found[0].1),
        ("#x2", found[1].0),
        ("#y2", found[1].1),
    ] {
        browser.fill(field, &value.to_string()).await;
    }
    browser.click("#point-form button").await;
    browser.until_it_says("were pointed at").await;
    browser.close().await;
}
