//! The reader pages in a real browser: policy, accessibility, read-out, copying, frames, phones, no scripts.

use fantoccini::actions::{InputSource as _, MouseActions, PointerAction, TouchActions};

use super::site::Site;
use crate::support::browser::Browser;

pub(super) const ZOOM: &str = "/lenses/ostrel-28-135-f-3-5";
const PAGES: [&str; 9] = [
    "/",
    "/lenses",
    "/lenses?q=no+such+glass&direction=wider",
    ZOOM,
    "/lenses/ostrel-28-135-f-3-5/counter-scale",
    "/compare?lens=ostrel-28-135-f-3-5&lens=tindra-sound-85-f-1-4&from_m=3&to_m=1",
    "/embed/lens/ostrel-28-135-f-3-5",
    "/plan?lens=ostrel-28-135-f-3-5",
    "/method",
];
/// WebDriver's keys (W3C WebDriver, 17.4.2).
const HOME: &str = "\u{e011}";
const END: &str = "\u{e010}";

/// A server of the site on a port of its own; it ends with the test.
pub(super) async fn served(site: &Site) -> String {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0")
        .await
        .expect("a port");
    let address = listener.local_addr().expect("an address");
    let serving = breathmark::web::server::serve(listener, site.router(), site.app.stop.clone());
    tokio::spawn(serving);
    format!("http://{address}")
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn pages_keep_policy_and_access_in_light_and_on_a_dark_phone() {
    let site = Site::with_lenses().await;
    let at = served(&site).await;
    for (width, height, dark) in [(1200, 900, false), (360, 740, true)] {
        let browser = Browser::open(width, height, dark).await;
        for page in PAGES {
            browser.go(&format!("{at}{page}")).await;
            let refused = browser.complaints().await;
            assert!(refused.is_empty(), "{page} at {width} px: {refused:#?}");
            let found = browser.axe_violations().await;
            assert!(found.is_empty(), "{page} at {width} px: {found:#?}");
            assert!(
                browser.overhang().await <= 0,
                "{page} at {width} px stands out"
            );
        }
        browser.close().await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_chart_is_read_by_keyboard_pointer_and_finger() {
    let site = Site::with_lenses().await;
    let at = served(&site).await;
    let browser = Browser::open(1200, 900, false).await;
    browser.go(&format!("{at}{ZOOM}")).await;
    browser.find(".readout input").await;
    let said = || async {
        let output = browser.find(".readout output").await;
        output.text().await.expect("text").replace('\u{a0}', " ")
    };
    let closest = said().await;
    assert!(closest.contains("0.45 m (1 ft 5.8 in)"), "{closest}");
    assert!(closest.contains("135 mm: +4.30 %"), "{closest}");
    browser
        .find(".readout input")
        .await
        .send_keys(HOME)
        .await
        .expect("a slider");
    let far = said().await;
    assert!(far.contains('∞') && far.contains("135 mm: 0.00 %"), "{far}");
    browser
        .find(".readout input")
        .await
        .send_keys(END)
        .await
        .expect("a slider");
    assert_eq!(said().await, closest);
    // The middle of the plot is half of the dioptres: half of 4.3 %.
    let chart = browser.find(".chart-wide svg").await;
    let middle = |x: f64, y: f64| PointerAction::MoveToElement {
        element: chart.clone(),
        duration: None,
        x,
        y,
    };
    let mouse = MouseActions::new("mouse".to_owned()).then(middle(0.0, 0.0));
    browser
        .client
        .perform_actions(mouse)
        .await
        .expect("it moves");
    let pointed = said().await;
    let shift: f64 = pointed
        .split("135 mm: +")
        .nth(1)
        .and_then(|rest| rest.split(' ').next()?.parse().ok())
        .unwrap_or_else(|| panic!("{pointed}"));
    assert!((1.4..2.9).contains(&shift), "about the middle: {pointed}");
    let finger = TouchActions::new("finger".to_owned())
        .then(middle(-150.0, 0.0))
        .then(PointerAction::Down { button: 0 })
        .then(PointerAction::Up { button: 0 });
    browser
        .client
        .perform_actions(finger)
        .await
        .expect("it taps");
    let tapped = said().await;
    assert_ne!(tapped, pointed, "a tap reads the chart too");
    // A comparison has the same, under the names of the lenses.
    let compare = "/compare?lens=brackwell-pier-50-f-1-8&lens=tindra-sound-85-f-1-4";
    browser.go(&format!("{at}{compare}")).await;
    browser.find(".readout input").await;
    let compared = said().await;
    assert!(
        compared.contains("Brackwell Pier 50 f/1.8: +0.30 %"),
        "{compared}"
    );
    assert!(
        compared.contains("Tindra Sound 85 f/1.4: not measured"),
        "{compared}"
    );
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn sentences_can_be_copied_and_no_scripts_leave_nothing_dead() {
    let site = Site::with_lenses().await;
    let at = served(&site).await;
    let browser = Browser::open(1200, 900, false).await;
    browser.go(&format!("{at}{ZOOM}")).await;
    browser.click(".box button").await;
    let text = browser.text().await;
    assert!(
        text.contains("Copied.") || text.contains("It is marked"),
        "{text}"
    );
    browser.close().await;
    let plain = Browser::open_without_scripts(1200, 900).await;
    plain.go(&format!("{at}{ZOOM}")).await;
    let source = plain.client.source().await.expect("the page");
    assert!(!source.contains(">Copy</button>") && !source.contains("type=\"range\""));
    let text = plain.text().await;
    assert!(
        text.contains("The chart in numbers") && text.contains("Cite it"),
        "{text}"
    );
    plain.close().await;
}

/// On the smallest phone a comparison stands in cards, and a table that has to scroll says so.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn tables_fit_a_small_phone_or_say_that_they_scroll() {
    let site = Site::with_lenses().await;
    let at = served(&site).await;
    let wider =
        "const t = document.querySelector(arguments[0]); return t.scrollWidth - t.clientWidth";
    let width = async |browser: &Browser, region: &str| {
        let region = vec![serde_json::json!(region)];
        let found = browser.client.execute(wider, region).await;
        found.expect("a table").as_i64().expect("a number")
    };
    let four = "/compare?lens=ostrel-28-135-f-3-5&lens=tindra-sound-85-f-1-4&lens=brackwell-pier-50-f-1-8&from_m=3&to_m=1";
    for phone in [320, 360] {
        let browser = Browser::open(phone, 740, false).await;
        browser.go(&format!("{at}{four}")).await;
        assert!(browser.overhang().await <= 0, "at {phone} px");
        let compared = "[aria-label='Lenses side by side']";
        assert!(width(&browser, compared).await <= 0, "at {phone} px");
        let named = "return getComputedStyle(document.querySelectorAll('.compared td')[2], '::before').content";
        let named = browser.client.execute(named, Vec::new()).await;
        assert_eq!(named.expect("a card"), "\"Tindra Sound 85 f/1.4\"");
        browser.go(&format!("{at}{ZOOM}/counter-scale")).await;
        assert!(browser.overhang().await <= 0, "at {phone} px");
        let scale = "[aria-label='Counter-scale']";
        assert!(width(&browser, scale).await > 0, "six focal lengths");
        let hint = browser.find(".scroll-hint").await;
        assert!(hint.is_displayed().await.expect("it is there"));
        let region = browser.find(scale).await;
        let focusable = region.attr("tabindex").await.expect("a region");
        assert_eq!(focusable.as_deref(), Some("0"), "the keyboard scrolls it");
        browser
            .go(&format!("{at}/lenses/tindra-sound-85-f-1-4/counter-scale"))
            .await;
        assert!(width(&browser, scale).await <= 0, "one focal length fits");
        assert!(!browser.text().await.contains("Slide the table"));
        browser.close().await;
    }
    let desk = Browser::open(1200, 900, false).await;
    desk.go(&format!("{at}{ZOOM}/counter-scale")).await;
    let hint = desk.find(".scroll-hint").await;
    assert!(!hint.is_displayed().await.expect("it is there"));
    desk.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn another_site_can_frame_the_chart_and_nothing_else() {
    let site = Site::with_lenses().await;
    let at = served(&site).await;
    let browser = Browser::open(1000, 800, false).await;
    for (page, shown) in [("/embed/lens/ostrel-28-135-f-3-5", true), (ZOOM, false)] {
        let other = other_site(format!("<iframe src=\"{at}{page}\"></iframe>")).await;
        browser.go(&other).await;
        let frame = browser.find("iframe").await;
        frame.enter_frame().await.expect("a frame");
        let inside = browser.client.source().await.expect("some page");
        assert_eq!(inside.contains("Ostrel"), shown, "{page}");
        browser
            .client
            .enter_parent_frame()
            .await
            .expect("out again");
    }
    browser.close().await;
}

/// A page of another site: another port is another origin.
pub(super) async fn other_site(body: String) -> String {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0")
        .await
        .expect("a port");
    let address = listener.local_addr().expect("an address");
    let page = axum::response::Html(format!("<!doctype html><title>Other</title>{body}"));
    let router = axum::Router::new().fallback(move || std::future::ready(page.clone()));
    tokio::spawn(async move { axum::serve(listener, router).await });
    format!("http://{address}/")
}
