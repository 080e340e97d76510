//! Sorting the list of lenses where it has no headings, going on in it, and asking it how far a lens reaches.

use axum::http::StatusCode;

use super::site::Site;

/// Windows too narrow for headings have links instead, and the list itself says nothing without a name beside it.
#[tokio::test]
async fn the_list_is_sorted_without_its_headings_too() {
    let site = Site::with_lenses().await;
    for (query, current) in [
        ("", "worst shift, smallest first"),
        (
            "?sort=tolerance_distance&order=desc",
            "tolerance distance, farthest first",
        ),
        ("?sort=name", "name, A to Z"),
        ("?sort=newest", "date published, newest first"),
    ] {
        let page = site.get(&format!("/lenses{query}")).await.text();
        let (_, nav) = page.split_once("<nav class=\"sorts").expect("links");
        let nav = nav.split("</nav>").next().expect("their end");
        assert_eq!(nav.matches("<li><a href=\"/lenses?").count(), 4, "{nav}");
        let marked: Vec<&str> = nav
            .split("aria-current=\"true\">")
            .skip(1)
            .filter_map(|rest| rest.split('<').next())
            .collect();
        assert_eq!(marked, [current], "{query}");
        // Each leads to a list that is sorted so.
        for link in nav.split("href=\"").skip(1) {
            let href = link.split('"').next().expect("its end");
            let sorted = site.get(&href.replace("&#38;", "&")).await;
            assert_eq!(sorted.status, StatusCode::OK, "{href}");
            let word = href.split("sort=").nth(1).expect("a sort");
            let word = word.split('&').next().expect("a word");
            let links = sorted.text();
            let again = links.split_once("aria-current=\"true\">").expect("a mark");
            let words = word.split('_').next_back().expect("a word");
            let said = if words == "newest" {
                "date published"
            } else {
                words
            };
            let told = again.1.split(',').next().expect("a name");
            assert!(told.ends_with(said), "{word}: {told}");
        }
        assert!(page.contains("<td class=\"number\" data-label=\"Worst shift\">"));
    }
}

#[tokio::test]
async fn how_far_a_lens_reaches_is_asked_for_in_the_form() {
    let site = Site::with_lenses().await;
    let field = |page: &str, name: &str| {
        let from = page
            .find(&format!("<input id=\"{name}\""))
            .expect("a field");
        page[from..].split('>').next().expect("its end").to_owned()
    };
    let asked = site.get("/lenses?min_focal_mm=30&max_focal_mm=100").await;
    let page = asked.text().replace('\u{a0}', " ");
    assert!(
        field(&page, "min_focal_mm").contains("value=\"30\""),
        "{page}"
    );
    assert!(field(&page, "max_focal_mm").contains("value=\"100\""));
    assert!(page.contains(": 1 lens ranked."), "the zoom alone");
    for chip in ["reaches 30 mm or shorter", "reaches 100 mm or longer"] {
        assert!(page.contains(chip), "{chip}");
    }
    // From further rows the first ones are one step away.
    let first = site.get("/lenses?limit=1&sort=name").await.text();
    assert!(!first.contains(">First lenses</a>"));
    let next = first
        .split("<a href=\"")
        .find(|part| part.contains(">Next lenses</a>"));
    let next = next
        .and_then(|part| part.split('"').next())
        .expect("a link");
    let next = site.get(&next.replace("&#38;", "&")).await.text();
    assert!(next.contains("<a href=\"/lenses?limit=1&#38;sort=name\">First lenses</a>"));
    // Complained of where it was typed.
    let turned = site.get("/lenses?min_focal_mm=100&max_focal_mm=50").await;
    assert_eq!(turned.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(field(&turned.text(), "min_focal_mm").contains("aria-invalid"));
}
