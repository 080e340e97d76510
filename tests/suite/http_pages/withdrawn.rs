//! A lens of which everything was taken back: gone, with the reason, wherever it is asked for, and in no list.

use axum::http::{StatusCode, header};

use super::site::{NOW, Site, curve, off};

const GONE: &str = "ostrel-weir-40-f-2";
const OTHER: &str = "brackwell-pier-50-f-1-8";
const REASON: &str = "the copy was <decentred>";

/// A site whose lens `GONE` had two sweeps, both withdrawn for one reason, and a third for another.
async fn site() -> Site {
    let site = Site::with_lenses().await;
    let lens = site.lens("Ostrel", "Weir 40 f/2", (40.0, 40.0)).await;
    assert_eq!(lens.slug, GONE);
    let mut sweeps = Vec::new();
    for _ in 0..3 {
        sweeps.push(site.publish(&lens, &off(), curve(40.0, 1.0, 0.4)).await);
    }
    site.withdraw(sweeps[0], "the tripod was bumped", NOW + 1000)
        .await;
    let page = site.get(&format!("/lenses/{GONE}")).await;
    assert_eq!(page.status, StatusCode::OK, "two sweeps are left");
    for sweep in &sweeps[1..] {
        site.withdraw(*sweep, REASON, NOW + 2000).await;
    }
    site
}

#[tokio::test]
async fn programs_are_told_the_reason_at_every_address() {
    let site = site().await;
    for path in [
        format!("/api/v1/lenses/{GONE}"),
        format!("/api/v1/lenses/{GONE}/curves"),
        format!("/api/v1/lenses/{GONE}/pull?from_m=3&to_m=1"),
        format!("/api/v1/lenses/{GONE}/counter-scale"),
        format!("/api/v1/compare?lens={OTHER}&lens={GONE}"),
        format!("/lenses/{GONE}.json"),
        format!("/lenses/{GONE}.csv"),
        format!("/lenses/{GONE}/counter-scale.json"),
        format!("/lenses/{GONE}/counter-scale.csv"),
        format!("/compare.json?lens={OTHER}&lens={GONE}"),
        format!("/compare.csv?lens={OTHER}&lens={GONE}"),
        format!("/charts/lens/{GONE}.svg"),
        format!("/charts/lens/{GONE}.png?width=400&height=300"),
        format!("/charts/compare.svg?lens={OTHER}&lens={GONE}"),
        format!("/oembed?url=https%3A%2F%2Flens.example%2Flenses%2F{GONE}"),
    ] {
        let answer = site.ask(&path, &[]).await;
        assert_eq!(answer.status, StatusCode::GONE, "{path}");
        let problem = answer.json();
        assert_eq!(problem["type"], "/api#problem-gone", "{path}");
        let detail = problem["detail"].as_str().expect("a detail");
        assert!(
            detail.contains(&format!("{REASON}; the tripod was bumped")),
            "each reason once, the last one first: {path}: {detail}"
        );
        assert!(detail.contains(&format!("/lenses/{GONE}")), "{path}");
        assert_eq!(answer.header(header::ACCESS_CONTROL_ALLOW_ORIGIN), "*");
    }
    let compared = format!("/api/v1/compare?lens={OTHER}&lens={GONE}");
    let problem = site.ask(&compared, &[]).await.text();
    assert!(problem.contains(&format!("leave lens={GONE} out")));
}

#[tokio::test]
async fn people_get_a_page_that_says_so_and_keeps_the_history() {
    let site = site().await;
    let page = site.get(&format!("/lenses/{GONE}")).await;
    assert_eq!(page.status, StatusCode::GONE);
    let page = page.text();
    assert!(page.contains("Withdrawn: what was published of this lens was taken back."));
    let reason = "the copy was &#60;decentred&#62;";
    assert!(page.contains(&format!("Why: {reason}")), "{page}");
    assert!(page.contains("version 1 published") && page.contains("version 1 withdrawn"));
    for gone in [".json", ".csv", "oembed", "ld+json", "og:image\""] {
        let found = format!("/lenses/{GONE}{gone}");
        assert!(!page.contains(&found), "{gone} leads nowhere");
    }
    assert!(!page.contains("json+oembed") && !page.contains("application/ld+json"));
    // On another site, where it was embedded before.
    let framed = site.get(&format!("/embed/lens/{GONE}")).await;
    assert_eq!(framed.status, StatusCode::GONE);
    assert!(
        framed
            .header(header::CONTENT_SECURITY_POLICY)
            .contains("frame-ancestors *")
    );
    assert!(framed.text().contains(reason) && !framed.text().contains("<svg"));
    let compared = site
        .get(&format!("/compare?lens={OTHER}&lens={GONE}"))
        .await;
    assert_eq!(compared.status, StatusCode::GONE);
    let compared = compared.text();
    assert!(compared.contains("This part of your question") && compared.contains(reason));
    assert!(
        compared.contains(&format!("value=\"{OTHER}\" selected")),
        "the form goes on with the others"
    );
    let chosen = format!("<option value=\"{GONE}\" selected>");
    let named = compared.split(&chosen).nth(1).expect("chosen");
    let named = named.split("</option>").next().expect("a name");
    assert_eq!(named, "Ostrel Weir 40 f/2: withdrawn");
    // It can be planned to be shot anew.
    let plan = site.get(&format!("/plan?lens={GONE}")).await;
    assert_eq!(plan.status, StatusCode::OK);
}

#[tokio::test]
async fn no_list_leads_to_it_until_something_of_it_is_published_anew() {
    let site = site().await;
    let lists = [
        "/lenses.json?limit=200",
        "/lenses.csv?limit=200",
        "/lenses?limit=200",
        "/sitemap.xml",
    ];
    for path in lists {
        let list = site.get(path).await.text();
        assert!(!list.contains(GONE), "{path}");
        assert!(list.contains(OTHER), "{path}");
    }
    let before = site.get("/lenses.json").await.json()["total"].clone();
    // What became of it is news.
    let feed = site.get("/feed.atom").await.text();
    assert!(feed.contains(GONE) && feed.contains("withdrawn"), "{feed}");
    let lens = site.app.store.lens_by_slug(GONE).await;
    let lens = lens.expect("a working store").expect("it is there");
    site.publish(&lens, &off(), curve(40.0, 1.0, 0.4)).await;
    for path in lists {
        assert!(site.get(path).await.text().contains(GONE), "{path}");
    }
    let after = site.get("/lenses.json").await.json()["total"].clone();
    assert_eq!(after.as_u64(), before.as_u64().map(|total| total + 1));
    let record = site.ask(&format!("/api/v1/lenses/{GONE}"), &[]).await;
    assert_eq!(record.status, StatusCode::OK);
}

/// Who looks for it by name learns what became of it.
#[tokio::test]
async fn a_search_says_what_was_withdrawn() {
    let site = site().await;
    for query in ["weir", "ostrel+weir", "40+weir"] {
        let page = site.get(&format!("/lenses?q={query}")).await.text();
        assert!(page.contains("No lens fits"), "{page}");
        let told = format!("<a href=\"/lenses/{GONE}\">Ostrel Weir 40 f/2</a> was withdrawn");
        assert!(page.contains(&told), "{query}: {page}");
        assert!(!page.contains("is in no name"), "{query}: {page}");
    }
    let other = site.get("/lenses?q=brackwel+40").await.text();
    assert!(!other.contains("was withdrawn"), "{other}");
}

#[tokio::test]
async fn a_lens_that_waits_for_its_first_result_is_not_gone() {
    let site = Site::with_lenses().await;
    let list = site.get("/lenses.json").await.json();
    let rows = list["lenses"].as_array().expect("rows");
    let last = rows.last().expect("a row");
    assert_eq!(last["lens"]["slug"], "tindra-reef-35-f-2");
    assert_eq!(last["measured"], false);
    let record = site.ask("/api/v1/lenses/tindra-reef-35-f-2", &[]).await;
    assert_eq!(record.status, StatusCode::OK);
    assert_eq!(record.json()["history"], serde_json::json!([]));
}
