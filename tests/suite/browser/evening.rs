//! A reviewer's evening: one lens with six focal lengths on one card, with all that gathers on a card.

use super::{describe_lens, no_violations, serve, sign_in};
use crate::support::browser::Browser;
use crate::support::sweeps::{small, write_frames};

/// Focal lengths, mm, with the worst shift that each was rendered with, per cent.
const EVENING: [(f64, f64); 6] = [
    (28.0, -1.4),
    (35.0, -0.4),
    (50.0, 0.7),
    (75.0, 1.6),
    (100.0, 2.4),
    (135.0, 4.3),
];

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_card_of_144_frames_becomes_six_sweeps() {
    let folder = tempfile::tempdir().expect("a folder");
    let card = folder.path().join("card");
    for (sweep, (focal_mm, shift_pct)) in EVENING.into_iter().enumerate() {
        let mut script = small(focal_mm, shift_pct, 24);
        script.capture.first_number = 1 + 24 * u32::try_from(sweep).expect("few");
        script.capture.start += time::Duration::minutes(10 * i64::try_from(sweep).expect("few"));
        write_frames(&script, &card);
    }
    let first = std::fs::read(card.join("SWP_0001.JPG")).expect("rendered");
    for (name, bytes) in [
        (".DS_Store", &b"x"[..]),
        ("._SWP_0001.JPG", &b"shadow"[..]),
        ("SWP_0900.JPG", &b""[..]),
        ("SWP_0901.JPG", &first[..first.len() / 3]),
        ("notes.txt", &b"tape on felt"[..]),
    ] {
        std::fs::write(card.join(name), bytes).expect("written");
    }
    let server = serve(&folder.path().join("data"));
    let browser = Browser::open(1200, 900, false).await;
    sign_in(&browser, &server).await;
    browser.go(&format!("{}/desk/upload", server.address)).await;
    describe_lens(&browser, "28–135 mm f/4 Evening", "28").await;
    browser.fill("#focal_max_mm", "135").await;
    browser.choose("#kind", "zoom").await;
    browser.give_files("#folder", &[card]).await;
    // The truncated one is a picture by its name: only the server sees that it breaks off.
    browser.until_it_says("145 files").await;
    let before = browser.until_it_says("6 sweeps, as the files say").await;
    for words in [
        "4 files left out",
        "28 mm: ",
        "135 mm: 24 frames, SWP_0121.JPG to SWP_0144.JPG",
    ] {
        assert!(before.contains(words), "{words:?} is missing: {before}");
    }
    assert_eq!(browser.axe_violations().await, [""; 0]);
    browser.click("#send").await;
    let arrived = browser.until_it_says("What arrived").await;
    assert!(arrived.contains("145 frames taken"), "{arrived}");
    browser.find("#upload-sweeps:not([data-measuring])").await;

    // The frame that breaks off is named with what to do, and costs the others nothing.
    browser.go(&format!("{}/sweeps/1", server.address)).await;
    let first = browser.text().await;
    for words in [
        "SWP_0901.JPG",
        "copy it from the card again",
        "wider by 1.4",
    ] {
        assert!(first.contains(words), "{words:?} is missing: {first}");
    }
    browser.go(&format!("{}/desk", server.address)).await;
    let desk = browser.text().await;
    for (focal_mm, shift_pct) in EVENING {
        assert!(desk.contains(&format!("{focal_mm} mm")), "{desk}");
        assert!(near(&desk, shift_pct), "{shift_pct} is not there: {desk}");
    }

    // All six are published at once.
    let upload = format!("{}/desk/uploads/1", server.address);
    browser.go(&upload).await;
    browser.click("a.button[href$='/publish']").await;
    browser.until_it_says("What becomes public").await;
    no_violations(&browser, &format!("{upload}/publish")).await;
    browser.click("main form button:not([formaction])").await;
    browser.until_it_says("What arrived").await;
    browser
        .go(&format!(
            "{}/lenses/ostrel-28-135-mm-f-4-evening",
            server.address
        ))
        .await;
    let public = browser.text().await;
    for (_, shift_pct) in EVENING {
        assert!(
            near(&public, shift_pct),
            "{shift_pct} is not there: {public}"
        );
    }
    no_violations(&browser, &format!("{}/account", server.address)).await;
    browser.close().await;
}

/// Whether a number of the text is the shift to 0.02 points: 512 px between the targets, so five times the noise.
fn near(text: &str, shift_pct: f64) -> bool {
    text.replace('−', "-")
        .split_whitespace()
        .filter_map(|word| word.parse::<f64>().ok())
        .any(|number| (number - shift_pct).abs() < 0.02)
}

/// Every page of readers and reviewers stands in a window of 360 px, in dark colours too, with no violation.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_page_fits_a_phone() {
    let folder = tempfile::tempdir().expect("a folder");
    let sweep = folder.path().join("sweep");
    write_frames(&small(50.0, 3.1, 12), &sweep);
    let server = serve(&folder.path().join("data"));
    let phone = Browser::open(360, 740, true).await;
    sign_in(&phone, &server).await;
    phone.go(&format!("{}/desk/upload", server.address)).await;
    describe_lens(&phone, "50 mm f/2 Pocket", "50").await;
    phone.give_files("#folder", &[sweep]).await;
    phone.until_it_says("12 files").await;
    phone.click("#send").await;
    phone.until_it_says("What arrived").await;
    super::publish_first_sweep(&phone).await;
    for page in [
        "/",
        "/lenses",
        "/lenses?q=nothing+like+it",
        "/lenses/ostrel-50-mm-f-2-pocket",
        "/compare?lens=ostrel-50-mm-f-2-pocket",
        "/plan",
        "/method",
        "/api",
        "/desk",
        "/desk/upload",
        "/desk/uploads/1",
        "/desk/uploads/1/publish",
        "/desk/lenses",
        "/desk/lenses/ostrel-50-mm-f-2-pocket",
        "/sweeps/1",
        "/sweeps/1/frames/1",
        "/account",
    ] {
        let address = format!("{}{page}", server.address);
        no_violations(&phone, &address).await;
        assert_eq!(phone.overhang().await, 0, "{page} is wider than a phone");
    }
    phone.close().await;
}
