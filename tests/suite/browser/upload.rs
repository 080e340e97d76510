//! Uploads that are broken off: a tab that is closed, a session that ends. Nothing is lost and nothing is sent twice.

use std::path::Path;
use std::time::{Duration, Instant};

use breathmark::store::Store;

use super::{PASSWORD, describe_lens, serve, sign_in};
use crate::support::browser::Browser;
use crate::support::program::Server;
use crate::support::sweeps::{small, write_frames};

/// Frames enough that an upload can be caught half way.
const FRAMES: u64 = 120;

/// A sweep with the same picture in many files would be one original: each frame is rendered by itself, but small.
fn render(folder: &Path) {
    let mut script = small(50.0, 3.1, FRAMES as usize);
    script.scene = breathmark::simulate::Scene::two_targets(480, 320);
    write_frames(&script, folder);
}

/// The server's database, beside the server.
async fn open(data: &Path) -> Store {
    Store::open(&data.join("breathmark.sqlite"))
        .await
        .expect("the server made it")
}

async fn start_sending(browser: &Browser, server: &Server, sweep: &Path) {
    browser.go(&format!("{}/desk/upload", server.address)).await;
    describe_lens(browser, "50 mm f/2 Broken Off", "50").await;
    browser.give_files("#folder", &[sweep.to_owned()]).await;
    browser.until_it_says(&format!("{FRAMES} files")).await;
    browser.click("#send").await;
}

/// Waits until some files have arrived, but not all.
async fn half_way(browser: &Browser, store: &Store) -> u64 {
    let started = Instant::now();
    loop {
        let arrived = store.upload_file_count(1).await.expect("readable");
        if arrived >= 3 {
            assert!(
                arrived < FRAMES,
                "it was over before it could be broken off"
            );
            return arrived;
        }
        assert!(
            started.elapsed() < Duration::from_secs(30),
            "nothing arrives: {}",
            browser.text().await
        );
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_closed_tab_is_gone_on_with() {
    let folder = tempfile::tempdir().expect("a folder");
    let sweep = folder.path().join("sweep");
    render(&sweep);
    let data = folder.path().join("data");
    let server = serve(&data);
    let store = open(&data).await;
    let browser = Browser::open(1200, 900, false).await;
    sign_in(&browser, &server).await;
    start_sending(&browser, &server, &sweep).await;
    half_way(&browser, &store).await;
    let tab = browser.client.new_window(true).await.expect("a new tab");
    browser
        .client
        .close_window()
        .await
        .expect("the old one closes");
    browser
        .client
        .switch_to_window(tab.handle)
        .await
        .expect("the new one");
    let before = store.upload_file_count(1).await.expect("readable");

    browser.go(&format!("{}/desk", server.address)).await;
    browser.until_it_says("Uploads not finished").await;
    browser.go(&format!("{}/desk/upload", server.address)).await;
    let said = browser.until_it_says("was not finished").await;
    assert!(
        said.contains("only those that are missing are sent"),
        "{said}"
    );
    let kept = browser.find("#distortion_correction").await;
    assert!(
        !kept.is_enabled().await.expect("asked"),
        "what was said of it stays"
    );
    assert_eq!(
        kept.prop("value").await.expect("asked").as_deref(),
        Some("on")
    );
    browser.give_files("#folder", &[sweep]).await;
    browser.until_it_says(&format!("{FRAMES} files")).await;
    // How many PUTs the page sends from here on.
    let count = "window.puts = 0; const open = XMLHttpRequest.prototype.open; \
                 XMLHttpRequest.prototype.open = function (method, ...rest) { \
                 if (method === 'PUT') { window.puts += 1; sessionStorage.puts = window.puts; } \
                 return open.call(this, method, ...rest); };";
    browser
        .client
        .execute(count, Vec::new())
        .await
        .expect("runs");
    browser.click("#send").await;
    let arrived = browser.until_it_says("What arrived").await;
    assert!(
        arrived.contains(&format!("{FRAMES} frames taken")),
        "{arrived}"
    );
    let sent = browser
        .client
        .execute("return Number(sessionStorage.puts || 0);", Vec::new())
        .await
        .expect("runs")
        .as_u64()
        .expect("a number");
    // Files on their way when the tab closed may have arrived after they were counted: three at a time.
    let missing = FRAMES - before;
    assert!(
        (missing - 3..=missing).contains(&sent),
        "{before} were there, {sent} were sent"
    );
    assert_eq!(
        store.upload_file_count(2).await.expect("readable"),
        0,
        "no second upload"
    );
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_session_that_ends_is_begun_again_in_place() {
    let folder = tempfile::tempdir().expect("a folder");
    let sweep = folder.path().join("sweep");
    render(&sweep);
    let data = folder.path().join("data");
    let server = serve(&data);
    let store = open(&data).await;
    let browser = Browser::open(1200, 900, false).await;
    sign_in(&browser, &server).await;
    start_sending(&browser, &server, &sweep).await;
    half_way(&browser, &store).await;
    let account = store.account_by_name("Maren").await.expect("readable");
    let account = account.expect("made by the test");
    store
        .end_other_sessions(account.id, 0)
        .await
        .expect("ended");
    browser.find("#sign-in-again[open]").await;
    assert_eq!(browser.axe_violations().await, [""; 0]);
    browser.fill("#again-password", "not the right one").await;
    browser.click("#sign-in-again button").await;
    browser.until_it_says("Name or password is wrong").await;
    browser.fill("#again-password", PASSWORD).await;
    browser.click("#sign-in-again button").await;
    let arrived = browser.until_it_says("What arrived").await;
    assert!(
        arrived.contains(&format!("{FRAMES} frames taken")),
        "{arrived}"
    );
    browser.close().await;
}

/// Killed without warning and started again on the same folder, the server has all that it acknowledged; the page tries
/// again by itself until it is back.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_server_that_dies_and_comes_back_loses_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let sweep = folder.path().join("sweep");
    render(&sweep);
    let data = folder.path().join("data");
    let server = serve(&data);
    let listen = server.address.trim_start_matches("http://").to_owned();
    let store = open(&data).await;
    let browser = Browser::open(1200, 900, false).await;
    sign_in(&browser, &server).await;
    start_sending(&browser, &server, &sweep).await;
    half_way(&browser, &store).await;
    // Dropping kills it as a power cut would.
    drop(server);
    let acknowledged = store.upload_file_count(1).await.expect("readable");
    assert!(acknowledged < FRAMES, "it was over before it was killed");
    let _server = Server::start_at(&data, &listen);
    let arrived = browser.until_it_says("What arrived").await;
    assert!(
        arrived.contains(&format!("{FRAMES} frames taken")),
        "{arrived}"
    );
    let harm = store.integrity_check().await.expect("readable");
    assert!(harm.is_empty(), "{harm:?}");
    browser.close().await;
}
