//! The whole job in a real browser: sign in, upload a folder, watch it being measured, publish, rank, compare; and every
//! page looked at by an accessibility checker in light and dark.

mod comfort;
mod evening;
mod frames;
mod plain;
mod upload;

use std::path::{Path, PathBuf};

use crate::support::browser::Browser;
use crate::support::program::{Server, run_with_input, stderr};
use crate::support::sweeps::{small, write_frames};

const PASSWORD: &str = "lantern on the quay";

fn serve(data: &Path) -> Server {
    let data_name = data.to_str().expect("UTF-8");
    let added = run_with_input(
        &[
            "account", "add", "Maren", "--role", "reviewer", "--data", data_name,
        ],
        &format!("{PASSWORD}\n"),
    );
    assert!(added.status.success(), "{}", stderr(&added));
    Server::start(data)
}

async fn sign_in(browser: &Browser, server: &Server) {
    browser.go(&format!("{}/sign-in", server.address)).await;
    browser.fill("#name", "Maren").await;
    browser.fill("#password", PASSWORD).await;
    browser.click("main button").await;
    browser.until_it_says("Upload frames").await;
}

/// Describes a new prime lens on the upload page.
async fn describe_lens(browser: &Browser, model: &str, focal_mm: &str) {
    browser.choose("#lens", "new").await;
    for (field, text) in [
        ("#maker", "Ostrel"),
        ("#model", model),
        ("#mount", "Skerry bayonet"),
        ("#focal_min_mm", focal_mm),
        ("#max_aperture", "2"),
        ("#target_distance_m", "2"),
    ] {
        browser.fill(field, text).await;
    }
    browser.choose("#kind", "prime").await;
    browser.choose("#distortion_correction", "on").await;
    browser.choose("#breathing_compensation", "off").await;
}

/// Waits until the upload that is shown is measured and opens its first sweep.
async fn open_first_sweep(browser: &Browser) {
    // A page that shows measuring loads itself again when it is over, in the middle of whatever is done on it.
    browser.find("#upload-sweeps:not([data-measuring])").await;
    browser.click("#upload-sweeps a").await;
    browser.find(".verdict").await;
}

/// Opens the first sweep of the upload that is shown and publishes it.
async fn publish_first_sweep(browser: &Browser) -> String {
    open_first_sweep(browser).await;
    let text = browser.text().await;
    publish_shown(browser).await;
    text
}

/// Publishes the measured sweep of this page.
async fn publish(browser: &Browser, sweep_page: &str) {
    browser.go(sweep_page).await;
    publish_shown(browser).await;
}

async fn publish_shown(browser: &Browser) {
    browser.click("a.button[href$='/publish']").await;
    browser.click("form[action$='/publish'] button").await;
    browser.until_it_says("public, version 1").await;
}

async fn no_violations(browser: &Browser, address: &str) {
    browser.go(address).await;
    // A page that shows measuring loads itself again when it is over, which would end a script that runs in it.
    browser.until_gone("#measuring").await;
    let found = browser.axe_violations().await;
    assert!(found.is_empty(), "{address}: {found:#?}");
    let failed = browser.complaints().await;
    assert!(failed.is_empty(), "{address}: {failed:#?}");
}

/// A reviewer uploads a folder of 24 frames, sees it measured, publishes it, and a reader finds and compares it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_folder_becomes_a_ranked_and_compared_lens() {
    let folder = tempfile::tempdir().expect("a folder");
    let sweep = folder.path().join("evening");
    write_frames(&small(50.0, 3.1, 24), &sweep);
    std::fs::write(sweep.join(".DS_Store"), b"x").expect("a stray file");
    let server = serve(&folder.path().join("data"));
    let browser = Browser::open(1200, 900, false).await;
    sign_in(&browser, &server).await;

    browser.go(&format!("{}/desk/upload", server.address)).await;
    describe_lens(&browser, "50 mm f/2 Trial", "50").await;
    browser.give_files("#folder", &[sweep]).await;
    browser.until_it_says("24 files").await;
    browser.click("#send").await;
    let arrived = browser.until_it_says("What arrived").await;
    assert!(arrived.contains("24 frames taken"), "{arrived}");
    browser.until_it_says("measured").await;
    let result = publish_first_sweep(&browser).await;
    assert!(result.contains("tighter by 3.1"), "{result}");

    // A second lens, given as single files.
    let other = folder.path().join("other");
    let mut script = small(35.0, -1.2, 12);
    script.capture.start += time::Duration::hours(1);
    write_frames(&script, &other);
    let files: Vec<PathBuf> = (0..script.frames)
        .map(|i| other.join(script.file_name(i)))
        .collect();
    browser.go(&format!("{}/desk/upload", server.address)).await;
    describe_lens(&browser, "35 mm f/2 Trial", "35").await;
    browser.give_files("#files", &files).await;
    browser.until_it_says("12 files").await;
    browser.click("#send").await;
    browser.until_it_says("What arrived").await;
    publish_first_sweep(&browser).await;

    // A reader, who is nobody in particular, in dark colours on a phone.
    let reader = Browser::open(390, 844, true).await;
    reader
        .go(&format!("{}/lenses?q=trial", server.address))
        .await;
    let ranking = reader.text().await;
    let place = |name: &str| {
        ranking
            .find(name)
            .unwrap_or_else(|| panic!("{name} is not ranked: {ranking}"))
    };
    assert!(
        place("35 mm f/2 Trial") < place("50 mm f/2 Trial"),
        "the calmer lens comes first: {ranking}"
    );
    reader
        .go(&format!(
            "{}/compare?lens=ostrel-50-mm-f-2-trial&lens=ostrel-35-mm-f-2-trial",
            server.address
        ))
        .await;
    let compared = reader.text().await;
    for words in ["50 mm f/2 Trial", "35 mm f/2 Trial", "+3.1", "−1.2"] {
        assert!(compared.contains(words), "{words:?} is missing: {compared}");
    }

    let pages = [
        "/",
        "/lenses",
        "/lenses/ostrel-50-mm-f-2-trial",
        "/compare?lens=ostrel-50-mm-f-2-trial&lens=ostrel-35-mm-f-2-trial",
        "/method",
        "/plan",
        "/api",
        "/sign-in",
        "/sweeps/1",
    ];
    for page in pages {
        let address = format!("{}{page}", server.address);
        no_violations(&reader, &address).await;
        no_violations(&browser, &address).await;
    }
    for page in [
        "/desk",
        "/desk/upload",
        "/desk/uploads/1",
        "/desk/uploads/1/publish",
        "/desk/lenses",
        "/desk/lenses/ostrel-50-mm-f-2-trial",
        "/sweeps/1/publish",
        "/sweeps/1/versions/1",
        "/sweeps/1/frames/1",
        "/account",
    ] {
        no_violations(&browser, &format!("{}{page}", server.address)).await;
    }
    reader.close().await;
    browser.close().await;
    assert_eq!(
        server.stop(),
        Some(0),
        "the server stops by itself when asked"
    );
}
