//! How many bytes a page costs its reader, with everything that it loads.

use std::collections::BTreeSet;

use axum::http::{StatusCode, header};
use breathmark::store::Switch;

use super::site::{Site, curve, off};

/// Most bytes of a page with a chart: it has to open on a phone in a hall with a poor network.
const MOST_BYTES: usize = 150_000;

/// Addresses on this site that a page loads by itself: scripts, styles, icons, and the numbers of its charts; not what waits,
/// out of sight, until it is unfolded.
fn loaded(page: &str) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    for tag in page.split('<').skip(1) {
        let tag = tag.split('>').next().unwrap_or_default();
        let value = |name: &str| {
            let start = tag.find(&format!("{name}=\""))? + name.len() + 2;
            Some(tag[start..].split('"').next()?.replace("&#38;", "&"))
        };
        let is_loaded = tag.starts_with("script")
            || (tag.starts_with("img") && value("loading").is_none_or(|when| when != "lazy"))
            || (tag.starts_with("link")
                && value("rel").is_some_and(|rel| rel == "stylesheet" || rel == "icon"));
        if is_loaded {
            found.extend(value("src").or_else(|| value("href")));
        }
        for part in value("data-curves").unwrap_or_default().split("&#34;") {
            if part.starts_with("/api/") {
                found.insert(part.to_owned());
            }
        }
    }
    found
}

/// Bytes of an answer as a browser asks for it.
async fn sent(site: &Site, path: &str) -> (usize, String) {
    let asked = [
        (header::ACCEPT, "text/html,*/*"),
        (header::ACCEPT_ENCODING, "gzip"),
    ];
    let answer = site.ask(path, &asked).await;
    assert_eq!(answer.status, StatusCode::OK, "{path}");
    let head: usize = answer
        .headers
        .iter()
        .map(|(name, value)| name.as_str().len() + value.len() + 4)
        .sum();
    (head + answer.body.len(), site.get(path).await.text())
}

#[tokio::test]
async fn a_page_with_a_chart_is_light() {
    let site = Site::with_lenses().await;
    // A zoom with as many marked focal lengths and frames as anybody has shot.
    let large = site
        .lens("Ostrel", "Long 18-300 f/3.5", (18.0, 300.0))
        .await;
    // The same under a second set of conditions, which has a chart and tables of its own.
    let twice = site
        .lens("Ostrel", "Twice 18-300 f/3.5", (18.0, 300.0))
        .await;
    let mut on = off();
    on.breathing_compensation = Switch::On;
    for focal in [
        18.0, 24.0, 28.0, 35.0, 50.0, 70.0, 85.0, 105.0, 135.0, 200.0, 250.0, 300.0,
    ] {
        let worst = focal / 60.0 - 2.0;
        site.publish(&large, &off(), curve(focal, worst, 0.45))
            .await;
        for (conditions, part) in [(&off(), 1.0), (&on, 0.2)] {
            site.publish(&twice, conditions, curve(focal, worst * part, 0.45))
                .await;
        }
    }
    for path in [
        "/lenses/ostrel-28-135-f-3-5".to_owned(),
        format!("/lenses/{}?from_m=3&to_m=1", large.slug),
        format!(
            "/compare?lens={}&lens=ostrel-28-135-f-3-5&lens=tindra-sound-85-f-1-4&lens=brackwell-pier-50-f-1-8&from_m=3&to_m=1",
            large.slug
        ),
        format!("/lenses/{}?from_m=3&to_m=1", twice.slug),
        format!("/embed/lens/{}", large.slug),
        format!("/lenses/{}/counter-scale?step_m=0.05&far_m=10", large.slug),
        "/lenses".to_owned(),
        "/".to_owned(),
    ] {
        let (mut bytes, page) = sent(&site, &path).await;
        let loaded = loaded(&page);
        assert!(
            loaded.iter().any(|path| path.contains(".css")),
            "{loaded:?}"
        );
        for part in &loaded {
            bytes += sent(&site, part).await.0;
        }
        println!("{path}: {bytes} bytes with {} more answers", loaded.len());
        assert!(bytes <= MOST_BYTES, "{path}: {bytes} bytes with {loaded:?}");
    }
}

/// Also for those whose way compresses nothing: a zoom of eight focal lengths, whose three charts are most of its page.
#[tokio::test]
async fn a_page_with_eight_curves_is_light_uncompressed() {
    let site = Site::new().await;
    let lens = site.lens("Ostrel", "28-135 f/4", (28.0, 135.0)).await;
    for focal in [28.0, 35.0, 40.0, 50.0, 70.0, 85.0, 100.0, 135.0] {
        site.publish(&lens, &off(), curve(focal, focal / 40.0 - 2.0, 0.45))
            .await;
    }
    let page = site.get(&format!("/lenses/{}", lens.slug)).await.text();
    let mut bytes = page.len();
    // The numbers for the read-out come after the page is there, and only where scripts run.
    for part in loaded(&page)
        .iter()
        .filter(|part| !part.starts_with("/api/"))
    {
        bytes += site.get(part).await.body.len();
    }
    println!("{bytes} bytes, {} of them the page", page.len());
    assert!(bytes <= MOST_BYTES * 4 / 5, "{bytes} bytes");
}
