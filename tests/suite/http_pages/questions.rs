//! What a reader asks goes along: from the ranking to lenses and comparisons, into versions, searches and refusals.

use axum::http::{StatusCode, header};
use breathmark::store::{Conditions, Switch};
use breathmark::sweep::{Code, Finding, Severity};

use super::site::{Site, curve, off, with_finding, without_distances};

const ZOOM: &str = "ostrel-28-135-f-3-5";
const CORRECTED: &str = "correction-on.compensation-off";

async fn text(site: &Site, path: &str) -> String {
    site.get(path).await.text().replace('\u{a0}', " ")
}

fn corrected() -> Conditions {
    Conditions {
        distortion_correction: Switch::On,
        ..off()
    }
}

/// A site where one prime was measured with the correction on, too.
async fn site() -> Site {
    let site = Site::with_lenses().await;
    let both = site.lens("Brackwell", "Fell 50", (50.0, 50.0)).await;
    site.publish(&both, &off(), curve(50.0, 0.8, 0.5)).await;
    site.publish(&both, &corrected(), curve(50.0, 2.8, 0.5))
        .await;
    site
}

/// Lenses that were not measured so stand in the list too: what goes along must not close their pages.
#[tokio::test]
async fn every_lens_of_a_ranking_can_be_opened() {
    let site = site().await;
    for asked in ["", "&focal_mm=50", "&tolerance_pct=1"] {
        let path = format!("/lenses?conditions={CORRECTED}{asked}");
        let ranked = text(&site, &path).await;
        let links = ranked.split("class=\"row-title\" href=\"").skip(1);
        let mut opened = 0;
        for link in links.filter_map(|rest| rest.split('"').next()) {
            let link = link.replace("&#38;", "&");
            assert_eq!(site.get(&link).await.status, StatusCode::OK, "{link}");
            opened += 1;
        }
        assert!(opened > 1, "{ranked}");
    }
}

#[tokio::test]
async fn the_ranking_hands_its_question_on() {
    let site = site().await;
    let usual = text(&site, "/lenses?tolerance_pct=2&q=fell").await;
    assert!(
        usual.contains("href=\"/lenses/brackwell-fell-50\""),
        "nothing to carry"
    );
    let asked = "tolerance_pct=0.5&focal_mm=50&conditions=correction-on.compensation-off";
    let ranked = text(&site, &format!("/lenses?{asked}")).await;
    let link = format!("/lenses/brackwell-fell-50?{}", asked.replace('&', "&#38;"));
    assert!(ranked.contains(&link), "{link}: {ranked}");
    for field in [
        "<input type=\"hidden\" name=\"tolerance_pct\" value=\"0.5\">",
        "<input type=\"hidden\" name=\"focal_mm\" value=\"50\">",
        "<input type=\"hidden\" name=\"conditions\" value=\"correction-on.compensation-off\">",
    ] {
        assert!(ranked.contains(field), "{field}");
    }
    let page = text(&site, &format!("/lenses/brackwell-fell-50?{asked}")).await;
    assert!(
        page.contains("class=\"verdict\">At 50 mm the picture gets tighter by 2.80 %"),
        "{page}"
    );
    assert!(
        page.contains("name=\"conditions\" value=\"correction-on.compensation-off\""),
        "kept by the form"
    );
}

#[tokio::test]
async fn a_lens_leads_with_the_conditions_asked_for() {
    let site = site().await;
    for (query, shift) in [
        ("", "0.80 %"),
        ("?conditions=correction-on.compensation-off", "2.80 %"),
    ] {
        for path in [
            "/lenses/brackwell-fell-50.json",
            "/api/v1/lenses/brackwell-fell-50",
        ] {
            let document = site.get(&format!("{path}{query}")).await.json();
            let verdict = document["verdict"].as_str().expect("words");
            assert!(verdict.contains(shift), "{path}{query}: {verdict}");
            assert_eq!(document["conditions"] == CORRECTED, !query.is_empty());
        }
    }
    let curves = "/api/v1/lenses/brackwell-fell-50/curves";
    let count = async |query: &str| {
        let document = site.get(&format!("{curves}{query}")).await.json();
        document["curves"].as_array().map_or(0, Vec::len)
    };
    assert_eq!(count("").await, 2);
    assert_eq!(count("?conditions=correction-on.compensation-off").await, 1);
    let none = "conditions=correction-unknown.compensation-on";
    for path in [
        format!("{curves}?{none}"),
        format!("/lenses/brackwell-fell-50.csv?{none}"),
        format!("/lenses/brackwell-fell-50?{none}"),
    ] {
        let answer = site.get(&path).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{path}");
        assert!(answer.text().contains("under these conditions"), "{path}");
    }
}

#[tokio::test]
async fn the_focal_length_asked_for_is_answered_first() {
    let site = site().await;
    let page = text(&site, &format!("/lenses/{ZOOM}?focal_mm=50")).await;
    assert!(
        page.contains("<p class=\"lead\">At 50 mm the picture gets tighter by 0.70 %"),
        "{page}"
    );
    let near = text(&site, &format!("/lenses/{ZOOM}?focal_mm=60")).await;
    assert!(
        near.contains("The answer is for 50 mm, the nearest measured to 60 mm. At 50 mm"),
        "{near}"
    );
    let far = site.get(&format!("/lenses/{ZOOM}?focal_mm=500")).await;
    assert_eq!(far.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(far.text().contains("nothing is measured near"));
}

/// On a phone the answer is screens below the form, so sending it leads there.
#[tokio::test]
async fn sending_a_pull_leads_to_its_answer() {
    let site = site().await;
    let page = text(&site, &format!("/lenses/{ZOOM}?from_m=3&to_m=1")).await;
    assert!(
        page.contains(&format!("action=\"/lenses/{ZOOM}#pull\"")),
        "{page}"
    );
    assert_eq!(page.matches("id=\"pull\"").count(), 1);
}

#[tokio::test]
async fn the_change_log_leads_to_each_version_and_says_what_changed() {
    let site = Site::new().await;
    let lens = site.lens("Ostrel", "Quay 85", (85.0, 85.0)).await;
    let sweep = site.publish(&lens, &off(), curve(85.0, 3.6, 0.8)).await;
    site.publish_again(sweep, curve(85.0, 3.43, 0.8)).await;
    let page = text(&site, "/lenses/ostrel-quay-85").await;
    for words in [
        "version 2 published, worst shift +3.60 % → +3.43 %",
        "version 1 published, worst shift +3.60 %",
        &format!("href=\"/sweeps/{sweep}/versions/2\""),
        &format!("href=\"/sweeps/{sweep}/versions/1\""),
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
    let told = site.get("/api/v1/lenses/ostrel-quay-85").await.json();
    let [new, old] = &told["history"].as_array().expect("two")[..] else {
        panic!("{told}");
    };
    assert_eq!((&new["version"], &old["version"]), (&2.into(), &1.into()));
    assert_eq!(new["worst_shift_before_pct"], 3.6);
    for (entry, shift) in [(new, 3.43), (old, 3.6)] {
        let url = entry["version_url"].as_str().expect("readable");
        let path = url.strip_prefix("https://lens.example").expect("ours");
        let version = site.get(path).await.json();
        assert_eq!(version["sweep"]["worst_shift_pct"], shift, "{version}");
        assert_eq!(version["version"], entry["version"]);
    }
    let none = site
        .get(&format!("/api/v1/sweeps/{sweep}/versions/3"))
        .await;
    assert_eq!(none.status, StatusCode::NOT_FOUND);
    let description = site.get("/api/v1/openapi.json").await.json();
    assert!(description["paths"]["/api/v1/sweeps/{id}/versions/{version}"]["get"].is_object());
}

#[tokio::test]
async fn searches_are_understood_as_people_write_them() {
    let site = site().await;
    let found = async |q: &str| {
        let encoded: String = q.bytes().map(|byte| format!("%{byte:02X}")).collect();
        let list = site.get(&format!("/lenses.json?q={encoded}")).await.json();
        let rows = list["lenses"].as_array().cloned().unwrap_or_default();
        let slug = |row: &serde_json::Value| row["lens"]["slug"].as_str().map(str::to_owned);
        rows.iter().filter_map(slug).collect::<Vec<_>>()
    };
    // Its name says 1.8; every lens here is marked 2.8.
    let pier = ["brackwell-pier-50-f-1-8"];
    for words in ["50/1.8", "50 f/1,8", "1,8", "50 1,8", "50mm f/1.8"] {
        assert_eq!(found(words).await, pier, "{words}");
    }
    // Within the range of the zoom, and of nothing else.
    assert_eq!(found("60").await, [ZOOM]);
    assert_eq!(found("100").await, [ZOOM]);
    assert!(found("150").await.is_empty());
    let advice = text(&site, "/lenses?q=50+1.4").await;
    assert!(advice.contains("Perhaps you mean"), "{advice}");
}

#[tokio::test]
async fn what_is_ranked_apart_is_counted_by_the_same_question() {
    let site = site().await;
    let all = site.get("/lenses.json").await.json();
    let others = all["other_conditions"].as_array().expect("a list");
    assert_eq!(
        (&others[0]["code"], &others[0]["lens_count"]),
        (&CORRECTED.into(), &1.into())
    );
    let none = site.get("/lenses.json?q=pier").await.json();
    assert_eq!(none["other_conditions"][0]["lens_count"], 0);
    let page = text(&site, "/lenses?q=pier").await;
    assert!(!page.contains("ranked apart"), "{page}");
}

#[tokio::test]
async fn least_and_most_focal_lengths_are_the_right_way_round() {
    let site = site().await;
    let answer = site
        .ask("/lenses.json?min_focal_mm=100&max_focal_mm=50", &[])
        .await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.text().contains("min_focal_mm"), "{}", answer.text());
    assert_eq!(
        site.get("/lenses.json?min_focal_mm=50&max_focal_mm=50")
            .await
            .status,
        StatusCode::OK
    );
}

#[tokio::test]
async fn lenses_left_out_of_holds_from_are_told_only_where_some_are() {
    let site = site().await;
    let path = "/lenses?holds_from_m=1";
    let words = "they were measured against their farthest frame, not infinity, or not so near";
    assert!(!text(&site, path).await.contains(words));
    let finding = Finding {
        code: Code::ReferenceNotAtInfinity,
        severity: Severity::Warning,
        message: "the last frame is focused at 3 m".to_owned(),
        files: Vec::new(),
    };
    let lens = site.lens("Ostrel", "Quay 85", (85.0, 85.0)).await;
    site.publish(&lens, &off(), with_finding(curve(85.0, 0.2, 0.8), finding))
        .await;
    assert!(text(&site, path).await.contains(words));
    let page = text(&site, "/lenses/ostrel-quay-85").await;
    assert!(
        page.contains(
            "<a href=\"/method#reference_not_at_infinity\">The last frame is not at infinity</a>"
        ),
        "{page}"
    );
}

#[tokio::test]
async fn frames_on_other_sites_show_refusals_too() {
    let site = site().await;
    for path in [
        "/embed/lens/nobody",
        &format!("/embed/lens/{ZOOM}?focal_mm=500"),
    ] {
        let answer = site.get(path).await;
        assert!(answer.status.is_client_error(), "{path}");
        let policy = answer.header(header::CONTENT_SECURITY_POLICY);
        assert!(policy.contains("frame-ancestors *"), "{path}: {policy}");
        assert!(
            !answer.headers.contains_key(header::X_FRAME_OPTIONS),
            "{path}"
        );
        // As small as the chart that belongs there: no head of the site, and every link leads out of the frame.
        let shown = site.ask(path, &[(header::ACCEPT, "text/html")]).await;
        assert_eq!(shown.status, answer.status, "{path}");
        let shown = shown.text();
        assert!(shown.contains("<body class=\"embed\">"), "{shown}");
        for outside in ["<header", "<nav", "<form", "<footer", "Focal_mm"] {
            assert!(!shown.contains(outside), "{path}: {outside}");
        }
        let links = shown.matches("<a ").count();
        let out = "<a href=\"https://lens.example/lenses\" target=\"_blank\" rel=\"noopener\">";
        assert_eq!((links, shown.matches(out).count()), (1, 1), "{shown}");
    }
    // As small as asked for there is no chart, and no dead address.
    let path = format!(
        "/oembed?maxwidth=200&maxheight=150&url=https%3A%2F%2Flens.example%2Flenses%2F{ZOOM}"
    );
    assert!(site.get(&path).await.json()["thumbnail_url"].is_null());
}

#[tokio::test]
async fn addresses_and_copies_are_what_they_seem() {
    let site = site().await;
    let moved = site.get(&format!("/lenses/{ZOOM}/?tolerance_pct=1")).await;
    assert_eq!(moved.status, StatusCode::PERMANENT_REDIRECT);
    assert_eq!(
        moved.header(header::LOCATION),
        format!("/lenses/{ZOOM}?tolerance_pct=1")
    );
    let sweep =
        site.get(&format!("/lenses/{ZOOM}.json")).await.json()["results"][0]["sweeps"][0].clone();
    let path = format!("/sweeps/{sweep}");
    let first = site.get(&path).await;
    let tag = first.header(header::ETAG).to_owned();
    assert!(!tag.is_empty(), "{:?}", first.headers);
    let asked = [(header::ACCEPT, "text/html"), (header::IF_NONE_MATCH, &tag)];
    assert_eq!(
        site.ask(&path, &asked).await.status,
        StatusCode::NOT_MODIFIED
    );
    let scale = format!("/lenses/{ZOOM}/counter-scale.json?step_travel=0.3&focal_mm=28");
    let rows = site.get(&scale).await.json()["tables"][0]["rows"].clone();
    let travels: Vec<_> = rows
        .as_array()
        .expect("rows")
        .iter()
        .map(|row| row["travel"].as_f64())
        .collect();
    assert_eq!(travels, [0.0, 0.3, 0.6, 0.9, 1.0].map(Some));
}

#[tokio::test]
async fn a_chart_invents_no_axis_and_says_what_it_lacks() {
    let site = site().await;
    let lens = site.lens("Ostrel", "Quay 85", (85.0, 85.0)).await;
    site.publish(&lens, &off(), without_distances(curve(85.0, 1.0, 0.8)))
        .await;
    let drawn = text(&site, "/charts/lens/ostrel-quay-85.svg?axis=distance").await;
    let travel = text(&site, "/charts/lens/ostrel-quay-85.svg?axis=travel").await;
    assert_eq!(drawn, travel, "there are no distances to draw against");
    let pulled = text(
        &site,
        "/charts/lens/tindra-sound-85-f-1-4.svg?from_m=3&to_m=0.2",
    )
    .await;
    assert!(
        pulled.contains("not measured closer than 0.8 m"),
        "{pulled}"
    );
    let compared = text(
        &site,
        &format!("/charts/compare.svg?lens={ZOOM}&lens=tindra-reef-35-f-2"),
    )
    .await;
    assert!(
        compared.contains("Tindra Reef 35 f/2: not measured."),
        "{compared}"
    );
}

#[tokio::test]
async fn a_pull_to_where_it_began_changes_nothing() {
    let site = site().await;
    let pull = site
        .get(&format!(
            "/api/v1/lenses/{ZOOM}/pull?focal_mm=135&from_m=1&to_m=1"
        ))
        .await
        .json();
    let pull = &pull["pulls"][0];
    for field in [
        "framing_change_pct",
        "framing_change_u_pct",
        "edge_movement_px",
        "edge_movement_u_px",
    ] {
        assert_eq!(pull[field], 0.0, "{field}: {pull}");
    }
}

#[tokio::test]
async fn what_was_withdrawn_is_told_once_with_the_way_there() {
    let site = site().await;
    let lens = site.lens("Ostrel", "Quay 85", (85.0, 85.0)).await;
    let sweep = site.publish(&lens, &off(), curve(85.0, 1.0, 0.8)).await;
    site.withdraw(sweep, "the tripod was bumped", super::site::NOW + 5)
        .await;
    let page = text(&site, &format!("/compare?lens={ZOOM}&lens=ostrel-quay-85")).await;
    assert_eq!(page.matches("the tripod was bumped").count(), 1, "{page}");
    assert!(
        page.contains("<a href=\"/lenses/ostrel-quay-85\">/lenses/ostrel-quay-85</a>"),
        "{page}"
    );
}
