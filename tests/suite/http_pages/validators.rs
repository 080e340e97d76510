//! What validators from elsewhere say of a site with one of everything, and of the demo.

use breathmark::store::{Conditions, Switch};
use breathmark::sweep::{Code, Finding, Severity};

use super::judges::Judges;
use super::reading::served;
use super::site::{NOW, Site, curve, off, with_finding, without_distances};
use crate::support::browser::Browser;
use crate::support::program::Server;

const ZOOM: &str = "ostrel-28-135-f-3-5";
const LOUD: &str = "tindra-sound-85-f-1-4";

/// A site with one of everything that answers differ by.
async fn varied() -> Site {
    let site = Site::set(&["--reads-per-minute", "0"]).await;
    site.fill().await;
    let blind = site.lens("Ostrel", "Blind 20 f/2", (20.0, 20.0)).await;
    let finding = Finding {
        code: Code::CameraMoved,
        severity: Severity::Warning,
        message: "the mid-point jumps by 3 px at SWP_0007.JPG".to_owned(),
        files: vec!["SWP_0007.JPG".to_owned()],
    };
    let measured = with_finding(without_distances(curve(20.0, 3.0, 0.3)), finding);
    site.publish(&blind, &off(), measured).await;
    let corrected = Conditions {
        distortion_correction: Switch::On,
        ..off()
    };
    site.publish(&blind, &corrected, curve(20.0, 1.0, 0.3))
        .await;
    let odd = site.lens("=1+1 & <b>", "\"Pier\" 20", (20.0, 20.0)).await;
    let sweep = site.publish(&odd, &off(), curve(20.0, -1.0, 0.3)).await;
    site.withdraw(sweep, "wrong <lens> on the camera", NOW + 1)
        .await;
    let double = site.lens("Tindra", "Sound 85", (85.0, 85.0)).await;
    site.merge(&double.slug, LOUD).await;
    site
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "asks validators that .ci/install fetches; tests/run runs it"]
async fn the_description_of_the_api_is_valid() {
    let judges = Judges::here();
    let site = varied().await;
    judges.judge_description(&served(&site).await).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "asks validators that .ci/install fetches; tests/run runs it"]
async fn the_api_answers_as_described_whatever_is_asked() {
    let judges = Judges::here();
    let site = varied().await;
    judges.judge_answers(&served(&site).await).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "asks validators that .ci/install fetches; tests/run runs it"]
async fn the_package_of_all_numbers_is_valid() {
    let judges = Judges::here();
    let site = varied().await;
    judges.judge_package(&served(&site).await).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "asks validators that .ci/install fetches; tests/run runs it"]
async fn feed_and_sitemap_are_as_their_standards_want_them() {
    let judges = Judges::here();
    let site = varied().await;
    judges.judge_feed_and_sitemap(&served(&site).await).await;
}

/// Pages that differ by what they say.
fn pages() -> Vec<String> {
    let lens = format!("/lenses/{ZOOM}");
    let both = format!("lens={ZOOM}&lens={LOUD}");
    [
        "/",
        "/lenses",
        "/lenses?q=nothing+like+it",
        "/lenses?tolerance_pct=1&sort=name&order=desc&limit=2&mount=Skerry+bayonet&kind=prime",
        "/lenses?conditions=correction-on.compensation-off",
        &lens,
        &format!("{lens}?axis=travel&tolerance_pct=1"),
        &format!("{lens}?from_m=3&to_m=0.2&picture_width_px=3840"),
        &format!("{lens}/counter-scale"),
        &format!("{lens}/counter-scale?step_travel=0.1"),
        &format!("/embed/lens/{ZOOM}"),
        "/lenses/ostrel-blind-20-f-2",
        "/lenses/1-1-b-pier-20",
        "/lenses/tindra-reef-35-f-2",
        "/lenses/nobody-knows-it",
        "/compare",
        &format!("/compare?{both}"),
        &format!("/compare?{both}&lens=ostrel-blind-20-f-2&from_m=3&to_m=1"),
        "/plan",
        &format!("/compare?{both}&lens=1-1-b-pier-20"),
        "/lenses?focal_mm=50",
        "/method",
        "/api",
        "/sign-in",
        "/nothing-is-here",
        "/lenses?limit=0",
    ]
    .map(str::to_owned)
    .into()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "asks validators that .ci/install fetches; tests/run runs it"]
async fn every_page_for_readers_is_valid_html() {
    let judges = Judges::here();
    let site = varied().await;
    judges.judge_pages(&served(&site).await, &pages()).await;
}

/// What the checker of HTML can't see: names, roles and contrast as they come out.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_page_for_readers_can_be_read_by_everybody() {
    let site = varied().await;
    let at = served(&site).await;
    let browser = Browser::open(1200, 900, false).await;
    let mut found = Vec::new();
    for page in pages() {
        browser.go(&format!("{at}{page}")).await;
        let here = browser.axe_violations().await;
        found.extend(here.into_iter().map(|what| format!("{page}: {what}")));
    }
    browser.close().await;
    assert!(found.is_empty(), "{found:#?}");
}

/// What a stranger sees who has just run the demo, measured from rendered frames by the same way as an upload.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "asks validators that .ci/install fetches; tests/run runs it"]
async fn the_demo_stands_before_every_judge() {
    let judges = Judges::here();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let data = folder.path().join("data");
    let demo = tokio::task::spawn_blocking(move || Server::demo(&data));
    let demo = demo.await.expect("the demo runs");
    let at = &demo.address;
    let mut pages = judges.pages_of_sitemap(at).await;
    let lenses: Vec<String> = pages
        .iter()
        .filter(|page| page.starts_with("/lenses/"))
        .cloned()
        .collect();
    assert!(lenses.len() >= 12, "{pages:?}");
    let slug = |lens: usize| lenses[lens].trim_start_matches("/lenses/");
    pages.extend([
        format!("/compare?lens={}&lens={}", slug(0), slug(1)),
        format!("{}/counter-scale", lenses[0]),
        format!("/embed/lens/{}", slug(0)),
        format!("{}?from_m=3&to_m=1&axis=travel", lenses[1]),
        "/lenses?sort=tolerance_distance&tolerance_pct=1&focal_mm=50".to_owned(),
        "/sweeps/1".to_owned(),
        "/sign-in".to_owned(),
    ]);
    judges.judge_description(at).await;
    judges.judge_answers(at).await;
    judges.judge_package(at).await;
    judges.judge_feed_and_sitemap(at).await;
    judges.judge_pages(at, &pages).await;
    let mut found = Vec::new();
    for (width, height, dark) in [(1200, 900, false), (360, 740, true)] {
        let browser = Browser::open(width, height, dark).await;
        for page in &pages {
            browser.go(&format!("{at}{page}")).await;
            let here = browser.axe_violations().await.into_iter();
            let here = here.chain(browser.complaints().await);
            found.extend(here.map(|what| format!("{page} at {width} px: {what}")));
        }
        browser.close().await;
    }
    assert!(found.is_empty(), "{found:#?}");
}
