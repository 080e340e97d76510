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

/// Away from its page a chart says how it was measured, what its numbers are against, and where it is from; its words are
/// outlines, so they are read in the description that lies in the file.
#[tokio::test]
async fn a_chart_that_is_taken_away_says_where_it_is_from() {
    let site = Site::with_lenses().await;
    let base = "/charts/lens/ostrel-28-135-f-3-5";
    let svg = site.get(&format!("{base}.svg")).await.text();
    assert!(
        svg.contains("Distortion correction off, breathing compensation off, f/5.6."),
        "{svg}"
    );
    let source = "Breathmark · lens.example/lenses/ostrel-28-135-f-3-5 · CC BY 4.0";
    assert!(svg.contains(source), "{svg}");
    assert!(!svg.contains("farthest frame"), "all reach infinity");
    let plain = site.get(&format!("{base}.svg?notes=off")).await.text();
    assert!(!plain.contains("CC BY"), "the page around it says so");
    let paths = |svg: &str| svg.matches("<path ").count();
    assert_eq!(
        paths(&svg),
        paths(&plain) + 2,
        "two lines more in the picture"
    );
    let page = site.get("/lenses/ostrel-28-135-f-3-5").await.text();
    let alone = page.matches(".svg?focal_mm=").count();
    assert_eq!(
        page.matches("&#38;notes=off").count(),
        alone,
        "in the page they are not said twice"
    );
    let mut short = curve(40.0, 2.5, 0.4);
    short
        .summary
        .as_mut()
        .expect("a summary")
        .relative_to_farthest = true;
    short.distance_source = breathmark::sweep::DistanceSource::Blur;
    let lens = site.lens("Brackwell", "Slim 40 f/2.8", (40.0, 40.0)).await;
    site.publish(&lens, &off(), short).await;
    let svg = site
        .get(&format!("/charts/lens/{}.svg", lens.slug))
        .await
        .text();
    assert!(
        svg.contains("Against the farthest frame, not infinity: the true figures may be larger."),
        "{svg}"
    );
    assert!(
        svg.contains("Distances are estimated from the blur of the targets."),
        "{svg}"
    );
    let both = format!("lens={}&lens=tindra-sound-85-f-1-4", lens.slug);
    let both = site
        .get(&format!(
            "/charts/compare.svg?{both}&theme=dark&width=900&from_m=3&to_m=1"
        ))
        .await
        .text();
    assert!(
        both.contains("Brackwell Slim 40 f/2.8: against the farthest frame, not infinity"),
        "{both}"
    );
    let address = format!(
        "lens.example/compare?lens={}&amp;lens=tindra-sound-85-f-1-4&amp;from_m=3&amp;to_m=1 · CC BY 4.0",
        lens.slug
    );
    assert!(
        both.contains(&address),
        "what is compared, without the picture's size: {both}"
    );
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
    assert_eq!(asked.text(), chart, "no axis is invented");
    let page = site.get(&format!("/lenses/{slug}")).await.text();
    assert!(page.contains("data-axis=\"travel\""));
}
