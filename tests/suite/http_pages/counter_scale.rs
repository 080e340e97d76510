//! The counter-scale table: the same numbers on the page, as CSV and as JSON, and nothing extrapolated.

use axum::http::{StatusCode, header};

use super::site::{Site, ZOOM, curve, off, without_distances};

const ZOOM_SLUG: &str = "ostrel-28-135-f-3-5";

/// The shift of the zoom's curves at a distance, per cent: a straight line over dioptres that reaches `worst` at 0.45 m.
fn shift(worst: f64, distance_m: f64) -> f64 {
    worst * 0.45 / distance_m
}

fn number(value: &serde_json::Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

#[tokio::test]
async fn every_factor_undoes_the_shift_at_its_distance() {
    let site = Site::with_lenses().await;
    let path = format!("/api/v1/lenses/{ZOOM_SLUG}/counter-scale?step_m=0.5&far_m=5");
    let document = site.get(&path).await.json();
    let tables = document["tables"].as_array().expect("tables");
    assert_eq!(tables.len(), ZOOM.len());
    for (table, (focal, worst)) in tables.iter().zip(ZOOM) {
        assert!((number(&table["focal_length_mm"]) - focal).abs() < 1e-9);
        let rows = table["rows"].as_array().expect("rows");
        // 0.45 m, 0.5 m to 5 m, infinity.
        assert_eq!(rows.len(), 12, "{table}");
        for row in rows {
            let expected = match row["focus_distance_m"].as_f64() {
                Some(m) => 1.0 / (1.0 + shift(worst, m) / 100.0),
                None => 1.0,
            };
            // Raw numbers pass through JSON without rounding.
            assert!((number(&row["scale"]) - expected).abs() < 1e-9, "{row}");
            assert!(number(&row["scale_u"]) < 2e-4, "{row}");
        }
        assert!((number(&rows[0]["focus_distance_m"]) - 0.45).abs() < 1e-9);
        assert!(
            (number(&rows[11]["scale_u"])).abs() < f64::EPSILON,
            "one by definition"
        );
    }
}

#[tokio::test]
async fn page_csv_and_json_say_the_same() {
    let site = Site::with_lenses().await;
    let base = format!("/lenses/{ZOOM_SLUG}/counter-scale");
    let query = "step_m=1&focal_mm=135&hold_m=3";
    let json = site.get(&format!("{base}.json?{query}")).await;
    let api = site.get(&format!("/api/v1{base}?{query}")).await;
    assert_eq!(json.body, api.body);
    let csv = site.get(&format!("{base}.csv?{query}")).await;
    assert!(csv.header(header::CONTENT_TYPE).starts_with("text/csv"));
    let page = site.get(&format!("{base}?{query}")).await.text();
    let page = page.replace('\u{a0}', " ");
    assert!(page.contains("the framing at 3 m is held"), "{page}");
    let document = json.json();
    let rows = document["tables"][0]["rows"].as_array().expect("rows");
    let text = csv.text();
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let records: Vec<_> = reader.records().map(|r| r.expect("a row")).collect();
    assert_eq!(records.len(), rows.len());
    for (record, row) in records.iter().zip(rows) {
        let scale = number(&row["scale"]);
        // The same digits, as they stand in the two texts.
        let digits = format!("\"scale\":{}", &record[11]);
        assert!(json.text().contains(&digits), "{digits}");
        let distance = row["focus_distance_m"].as_f64().unwrap_or(f64::INFINITY);
        let expected = (1.0 + shift(4.3, 3.0) / 100.0) / (1.0 + shift(4.3, distance) / 100.0);
        assert!((scale - expected).abs() < 1e-9, "{row}");
        assert!(page.contains(&format!("{scale:.4}")), "{scale} on the page");
    }
}

#[tokio::test]
async fn feet_and_travel_are_steps_too() {
    let site = Site::with_lenses().await;
    let base = format!("/lenses/{ZOOM_SLUG}/counter-scale");
    let feet = site.get(&format!("{base}?step_m=1+ft&far_m=30+ft")).await;
    let feet = feet.text().replace('\u{a0}', " ");
    assert!(
        feet.contains("<th scope=\"row\">2 ft (0.61 m)</th>"),
        "{feet}"
    );
    let travel = site
        .get(&format!("{base}.json?step_travel=0.25&focal_mm=28"))
        .await
        .json();
    let rows = travel["tables"][0]["rows"].as_array().expect("rows");
    assert_eq!(rows.len(), 5);
    for (row, at) in rows.iter().zip([0.0, 0.25, 0.5, 0.75, 1.0]) {
        assert!((number(&row["travel"]) - at).abs() < 1e-9);
        let expected = 1.0 / (1.0 - 1.4 * (1.0 - at) / 100.0);
        assert!((number(&row["scale"]) - expected).abs() < 1e-9, "{row}");
    }
}

#[tokio::test]
async fn the_tightest_framing_is_held_without_uncovering_an_edge() {
    let site = Site::with_lenses().await;
    let base = format!("/lenses/{ZOOM_SLUG}/counter-scale");
    let shrinking = site.get(&base).await.text();
    assert!(
        shrinking.contains("uncover its edges"),
        "135 mm gets tighter"
    );
    let page = site.get(&format!("{base}?hold_m=tightest")).await.text();
    assert!(!page.contains("uncover its edges"), "{page}");
    let held = site
        .get(&format!("{base}.json?hold_m=tightest"))
        .await
        .json();
    for table in held["tables"].as_array().expect("tables") {
        for row in table["rows"].as_array().expect("rows") {
            assert!(number(&row["scale"]) >= 1.0, "{row}");
        }
    }
}

#[tokio::test]
async fn nothing_is_said_where_nothing_was_measured() {
    let site = Site::with_lenses().await;
    let base = "/lenses/tindra-sound-85-f-1-4/counter-scale";
    let page = site.get(&format!("{base}?step_m=0.25")).await.text();
    let page = page.replace('\u{a0}', " ");
    assert!(
        page.contains("85 mm: not measured closer than 0.8 m (2 ft 7.5 in)"),
        "{page}"
    );
    assert!(
        !page.contains("<th scope=\"row\">0.75 m"),
        "nearer than 0.8 m"
    );
    assert!(
        page.contains("<th scope=\"row\">0.8 m"),
        "the closest frame"
    );
    let near = site.get(&format!("{base}.json?hold_m=0.5")).await.json();
    assert!(
        near["tables"][0]["rows"]
            .as_array()
            .expect("rows")
            .is_empty()
    );
    assert!(near["tables"][0]["reference"].is_null());
    let why = near["tables"][0]["outside"].as_str().expect("a reason");
    assert!(why.contains("not measured closer than 0.8 m"), "{why}");
}

#[tokio::test]
async fn a_lens_without_distances_is_listed_by_travel() {
    let site = Site::new().await;
    let lens = site.lens("Ostrel", "Wide 16 f/2.8", (16.0, 16.0)).await;
    let unknown = without_distances(curve(16.0, 2.8, 0.3));
    site.publish(&lens, &off(), unknown).await;
    let base = format!("/lenses/{}/counter-scale", lens.slug);
    let page = site.get(&base).await.text();
    assert!(page.contains(">Travel</th>"), "{page}");
    let asked = site.get(&format!("{base}?step_m=1")).await.text();
    assert!(
        asked.contains("distances of this sweep are not known"),
        "{asked}"
    );
}

#[tokio::test]
async fn what_is_out_of_range_is_named_and_what_is_unknown_not_found() {
    let site = Site::with_lenses().await;
    let base = format!("/lenses/{ZOOM_SLUG}/counter-scale");
    for (query, field) in [
        ("step_m=0", "step_m"),
        ("step_m=0.01&far_m=1000", "step_m"),
        ("step_m=1&step_travel=0.1", "step_travel"),
        ("hold_m=soon", "hold_m"),
        ("conditions=correction-on.compensation-on", "conditions"),
    ] {
        for path in [
            format!("{base}?{query}"),
            format!("{base}.csv?{query}"),
            format!("/api/v1{base}?{query}"),
        ] {
            let answer = site.get(&path).await;
            assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{path}");
            assert!(answer.text().contains(field), "{path}: {}", answer.text());
        }
    }
    for path in [
        "/lenses/ostrel-99/counter-scale",
        "/lenses/ostrel-99/counter-scale.csv",
        "/api/v1/lenses/ostrel-99/counter-scale",
    ] {
        assert_eq!(site.get(path).await.status, StatusCode::NOT_FOUND, "{path}");
    }
}
