//! Without scripts, and without a mouse.

use super::{PASSWORD, describe_lens, serve};
use crate::support::browser::Browser;
use crate::support::sweeps::{small, write_frames};

/// The keys of WebDriver (W3C WebDriver, 17.4.2).
const TAB: &str = "\u{e004}";
const ENTER: &str = "\u{e007}";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn without_scripts_a_sweep_is_uploaded_repaired_and_published() {
    let folder = tempfile::tempdir().expect("a folder");
    let sweep = folder.path().join("sweep");
    let script = small(50.0, 3.1, 12);
    write_frames(&script, &sweep);
    let files: Vec<_> = (0..script.frames)
        .map(|frame| sweep.join(script.file_name(frame)))
        .collect();
    let server = serve(&folder.path().join("data"));
    let browser = Browser::open_without_scripts(1200, 900).await;
    super::sign_in(&browser, &server).await;
    browser.go(&format!("{}/desk/upload", server.address)).await;
    describe_lens(&browser, "50 mm f/2 Plain", "50").await;
    browser.give_files("#files", &files).await;
    let summary = browser.find("#queue").await;
    assert!(
        !summary.is_displayed().await.expect("it is there"),
        "no script runs"
    );
    browser.click("#send").await;
    let arrived = browser.until_it_says("What arrived").await;
    assert!(arrived.contains("12 frames taken"), "{arrived}");
    // The page is loaded again by hand until the sweep is measured.
    let sweep_page = format!("{}/sweeps/1", server.address);
    for _ in 0..200 {
        browser.go(&sweep_page).await;
        if browser.text().await.contains("tighter by 3.1") {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    let measured = browser.text().await;
    assert!(measured.contains("tighter by 3.1"), "{measured}");
    super::publish(&browser, &sweep_page).await;
    browser
        .go(&format!("{}/lenses?q=plain", server.address))
        .await;
    let ranking = browser.text().await;
    assert!(ranking.contains("50 mm f/2 Plain"), "{ranking}");
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_keyboard_alone_reaches_the_content_signs_in_and_finds_a_page() {
    let folder = tempfile::tempdir().expect("a folder");
    let server = serve(&folder.path().join("data"));
    let browser = Browser::open(1200, 900, false).await;
    browser.go(&format!("{}/sign-in", server.address)).await;
    browser.press(TAB).await;
    let skip = browser.client.active_element().await.expect("a focus");
    assert_eq!(
        skip.text().await.expect("it is a link"),
        "Skip to the content"
    );
    browser.press(ENTER).await;
    browser.press(TAB).await;
    browser.press("Maren").await;
    browser.press(TAB).await;
    browser.press(PASSWORD).await;
    browser.press(ENTER).await;
    browser.until_it_says("Upload frames").await;
    // From the top of the desk the first stop after the site's head is the upload.
    browser.press(TAB).await;
    browser.press(ENTER).await;
    browser.press(TAB).await;
    browser.press(ENTER).await;
    browser.until_it_says("Which lens is it?").await;
    browser.close().await;
}
