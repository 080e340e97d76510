//! What other pages and people are given of a page when it is shared.

use axum::http::{StatusCode, header};

use super::site::{Site, curve, off};

const SITE: &str = "https://lens.example";

/// What is shared of a question is about that question: words, picture and address.
#[tokio::test]
async fn a_shared_answer_leads_back_to_its_question() {
    let site = Site::with_lenses().await;
    let lens = site.lens("Ostrel", "Reef 35", (35.0, 35.0)).await;
    let mut on = off();
    on.breathing_compensation = breathmark::store::Switch::On;
    site.publish(&lens, &off(), curve(35.0, 5.0, 0.3)).await;
    site.publish(&lens, &on, curve(35.0, 0.6, 0.3)).await;
    let question = "conditions=correction-off.compensation-on&#38;tolerance_pct=0.5";
    let address = format!("{SITE}/lenses/ostrel-reef-35?{question}");
    let path = address.replace("&#38;", "&");
    let path = path.strip_prefix(SITE).expect("public");
    let text = site.get(&format!("{path}&from_m=3&to_m=1")).await.text();
    for line in [
        format!("<link rel=\"canonical\" href=\"{SITE}/lenses/ostrel-reef-35\">"),
        format!("<meta property=\"og:url\" content=\"{address}\">"),
        format!("<a href=\"{address}\">{address}</a>. Data:"),
        format!("width=1200&#38;height=630&#38;{question}\">"),
        format!("href=\"/lenses/ostrel-reef-35.csv?{question}"),
    ] {
        assert!(text.contains(&line), "{line}: {text}");
    }
    let told = text
        .split("<meta property=\"og:description\" content=\"")
        .nth(1);
    let told = told.and_then(|rest| rest.split('"').next()).expect("words");
    assert!(told.contains("by 0.60 %"), "{told}");
    assert!(
        told.ends_with("Measured with distortion correction off, breathing compensation on."),
        "{told}"
    );
}

/// What stands for a list is the curves of those that come first in it, as it was asked for.
#[tokio::test]
async fn a_shared_list_has_a_picture_of_its_first_lenses() {
    let site = Site::with_lenses().await;
    let two = "lens=brackwell-pier-50-f-1-8&lens=ostrel-28-135-f-3-5";
    let off = "conditions=correction-off.compensation-off";
    for (page, picture) in [
        (
            "/",
            format!("/charts/compare.png?{two}&width=1200&height=630&{off}&tolerance_pct=2"),
        ),
        (
            "/lenses?q=tindra&tolerance_pct=0,5+%25",
            format!(
                "/charts/lens/tindra-sound-85-f-1-4.png?width=1200&height=630&{off}&tolerance_pct=0.5"
            ),
        ),
        (
            "/lenses?focal_mm=50",
            format!(
                "/charts/compare.png?{two}&width=1200&height=630&{off}\
                 &tolerance_pct=2&focal_mm=50"
            ),
        ),
        (
            "/lenses/tindra-sound-85-f-1-4/counter-scale",
            format!("/charts/lens/tindra-sound-85-f-1-4.png?width=1200&height=630&{off}"),
        ),
    ] {
        let text = site.get(page).await.text().replace("&#38;", "&");
        let line = format!("<meta property=\"og:image\" content=\"{SITE}{picture}\">");
        assert!(text.contains(&line), "{page}: {line}: {text}");
        let drawn = site.get(&picture).await;
        assert_eq!(drawn.status, StatusCode::OK, "{picture}");
        assert_eq!(drawn.header(header::CONTENT_TYPE), "image/png");
    }
    let nothing = site.get("/lenses?q=no+such+glass").await.text();
    assert!(!nothing.contains("og:image"), "there is nothing to show");
}
