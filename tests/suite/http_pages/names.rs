//! Names that people give: in letters that run from right to left, in one piece without a blank, in capitals, twice.

use axum::http::{StatusCode, header};

use super::reading::served;
use super::sheets::{PAPER_PX, PORTRAIT, widest_on_paper};
use super::site::{Site, curve, off};
use crate::support::browser::Browser;

const QUIET: &str = "brackwell-pier-50-f-1-8";
const LOUD: &str = "tindra-sound-85-f-1-4";

/// In running words a name keeps its direction to itself (U+2068 to U+2069); what programs read is as it was typed.
#[tokio::test]
async fn a_name_that_runs_leftwards_leaves_figures_on_their_side() {
    let site = Site::with_lenses().await;
    let lens = site.lens("Ostrel", "Reef 50 אבג", (50.0, 50.0)).await;
    let mut measured = curve(50.0, 1.2, 0.5);
    measured.camera = Some("Bench דה".to_owned());
    site.publish(&lens, &off(), measured).await;
    let compare = format!("/compare?lens={}&lens={LOUD}&focal_mm=60", lens.slug);
    let name = "\u{2068}Ostrel Reef 50 אבג\u{2069}";
    for (path, words) in [
        (
            compare.clone(),
            format!("{name}: 50 mm; Tindra Sound 85 f/1.4: 85 mm"),
        ),
        (
            compare.clone(),
            "\u{2068}Bench דה\u{2069}; Tindra".to_owned(),
        ),
        (format!("/lenses/{}", lens.slug), format!("<h1>{name}</h1>")),
        (
            format!("/lenses/{}", lens.slug),
            "<dd>\u{2068}Bench דה\u{2069}</dd>".to_owned(),
        ),
        ("/lenses?q=reef+50".to_owned(), format!(">{name}</a>")),
    ] {
        let text = site.get(&path).await.text().replace('\u{a0}', " ");
        assert!(text.contains(&words), "{path}: {words}: {text}");
    }
    let told = site
        .get(&format!("/api/v1/lenses/{}", lens.slug))
        .await
        .json();
    assert_eq!(told["lens"]["model"], "Reef 50 אבג");
    assert_eq!(told["results"][0]["cameras"][0], "Bench דה");
    let rows = site
        .get(&compare.replace("/compare", "/compare.csv"))
        .await
        .text();
    assert!(!rows.contains('\u{2068}'), "{rows}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_long_name_in_one_piece_widens_no_page() {
    let site = Site::with_lenses().await;
    let lens = site
        .lens(&"M".repeat(60), &"w".repeat(80), (85.0, 85.0))
        .await;
    site.publish(&lens, &off(), curve(85.0, 1.2, 0.5)).await;
    let slug = &lens.slug;
    let at = served(&site).await;
    let pages = [
        "/".to_owned(),
        "/lenses".to_owned(),
        format!("/lenses/{slug}?from_m=3&to_m=1"),
        format!("/lenses/{slug}/counter-scale"),
        format!("/compare?lens={slug}&lens={LOUD}&lens={QUIET}"),
        format!("/plan?lens={slug}"),
        format!("/embed/lens/{slug}"),
    ];
    for width in [320, 360, 1280] {
        let browser = Browser::open(width, 740, false).await;
        for page in &pages {
            browser.go(&format!("{at}{page}")).await;
            let over = browser.overhang().await;
            assert!(over <= 0, "{page} stands out by {over} px at {width} px");
        }
        browser.close().await;
    }
    let browser = Browser::open(PORTRAIT.0, PORTRAIT.1, false).await;
    for page in &pages[1..5] {
        browser.go(&format!("{at}{page}")).await;
        let right = widest_on_paper(&browser).await;
        assert!(
            right <= PAPER_PX + 1.0,
            "{page} reaches {right} px on paper"
        );
    }
    browser.close().await;
}

/// What a comparison is asked for, what it answers, and with which words.
#[tokio::test]
async fn a_comparison_says_what_of_its_lenses_can_be_used() {
    let site = Site::with_lenses().await;
    for (query, status, words) in [
        (
            format!("lens=nobody&lens={QUIET}&lens={LOUD}"),
            StatusCode::NOT_FOUND,
            vec![
                "there is no such lens as “nobody”",
                "Brackwell Pier 50 f/1.8 and Tindra",
            ],
        ),
        (
            format!("lens=nobody&lens={QUIET}"),
            StatusCode::NOT_FOUND,
            vec![
                "there is no such lens as “nobody”",
                "Brackwell Pier 50 f/1.8 stands alone",
            ],
        ),
        (
            "lens=nobody".to_owned(),
            StatusCode::NOT_FOUND,
            vec!["there is no such lens as “nobody”"],
        ),
        (
            format!("lens={QUIET}"),
            StatusCode::OK,
            vec!["Brackwell Pier 50 f/1.8 stands alone: choose one more"],
        ),
        (
            format!("lens={QUIET}&lens={QUIET}"),
            StatusCode::OK,
            vec!["Both are the Brackwell Pier 50 f/1.8"],
        ),
        (
            format!("lens={QUIET}&lens={LOUD}&lens={QUIET}"),
            StatusCode::OK,
            vec![
                "Brackwell Pier 50 f/1.8 was given twice",
                "In a sentence each",
            ],
        ),
    ] {
        let answer = site.get(&format!("/compare?{query}")).await;
        let text = answer.text();
        assert_eq!(answer.status, status, "{query}");
        for words in words {
            assert!(text.contains(words), "{query}: {words}: {text}");
        }
        // What can't be compared is offered in the field that it was given in alone.
        let unknown = text.matches("nobody: no such lens</option>").count();
        assert_eq!(unknown, query.matches("nobody").count(), "{query}");
    }
    let twice = site
        .get(&format!("/api/v1/compare?lens={QUIET}&lens={QUIET}"))
        .await;
    assert_eq!(twice.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        twice.text().contains(&format!("not “{QUIET}” twice")),
        "{}",
        twice.text()
    );
}

#[tokio::test]
async fn capitals_in_a_comparison_are_those_of_who_typed_them() {
    let site = Site::with_lenses().await;
    let capitals = format!("lens={}&lens={LOUD}", QUIET.to_uppercase());
    let page = site
        .get(&format!("/compare?tolerance_pct=1&{capitals}"))
        .await;
    assert_eq!(page.status, StatusCode::MOVED_PERMANENTLY);
    let there = format!("/compare?tolerance_pct=1&lens={QUIET}&lens={LOUD}");
    assert_eq!(page.header(header::LOCATION), there);
    let told = site
        .get(&format!("/api/v1/compare?{capitals}"))
        .await
        .json();
    assert_eq!(told["lenses"][0]["lens"]["slug"], QUIET);
}
