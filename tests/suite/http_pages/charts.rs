//! Charts by address.

use axum::http::{StatusCode, header};

use super::site::{Site, curve, off, without_distances};

#[tokio::test]
async fn charts_come_in_the_size_theme_and_form_asked_for() {
    let site = Site::with_lenses().await;
    let base = "/charts/lens/ostrel-28-135-f-3-5";
    let svg = site.get(&format!("{base}.svg?width=900&height=500")).await;
    assert_eq!(svg.header(header::CONTENT_TYPE), "image/svg+xml");
    assert!(svg.text().contains("width=\"900\" height=\"500\""));
    assert!(svg.text().contains(" 135 mm: worst shift"));
    let one = site.get(&format!("{base}.svg?focal_mm=50")).await.text();
    assert!(one.contains(" 50 mm: worst shift") && !one.contains("135 mm: worst shift"));
    let dark = site.get(&format!("{base}.svg?theme=dark")).await.text();
    assert!(dark.contains("#14181B"), "the dark ground");
    let png = site.get(&format!("{base}.png?width=640&height=360")).await;
    assert_eq!(png.header(header::CONTENT_TYPE), "image/png");
    let picture = image::load_from_memory(&png.body).expect("a PNG");
    assert_eq!((picture.width(), picture.height()), (640, 360));
    let both = "/charts/compare.svg?lens=ostrel-28-135-f-3-5&lens=tindra-sound-85-f-1-4";
    let compared = site.get(both).await.text();
    assert!(compared.contains("Tindra Sound 85 f/1.4"));
    assert!(compared.contains("at 75 mm"));
}

#[tokio::test]
async fn a_chart_of_nothing_is_404() {
    let site = Site::with_lenses().await;
    for path in [
        "/charts/lens/tindra-reef-35-f-2.svg",
        "/charts/lens/ostrel-28-135-f-3-5.gif",
        "/charts/lens/ostrel-28-135-f-3-5",
    ] {
        assert_eq!(site.get(path).await.status, StatusCode::NOT_FOUND, "{path}");
    }
}

#[tokio::test]
async fn a_lens_without_distances_is_drawn_against_travel() {
    let site = Site::new().await;
    let lens = site.lens("Ostrel", "Wide 16 f/2.8", (16.0, 16.0)).await;
    let unknown = without_distances(curve(16.0, 2.8, 0.3));
    site.publish(&lens, &off(), unknown).await;
    let slug = &lens.slug;
    let chart = site.get(&format!("/charts/lens/{slug}.svg")).await.text();
    assert!(
        chart.contains("against place in the focusing range"),
        "{chart}"
    );
    let asked = site
        .get(&format!("/charts/lens/{slug}.svg?axis=distance"))
        .await;
    assert!(asked.text().contains("distances unknown"));
    let page = site.get(&format!("/lenses/{slug}")).await.text();
    assert!(page.contains("data-axis=\"travel\""));
}
