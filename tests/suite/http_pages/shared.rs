//! What other pages and people are given of a page when it is shared.

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
