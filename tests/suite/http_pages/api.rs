//! Twins and the read API: raw numbers under names that stay put.

use axum::http::{StatusCode, header};
use breathmark::sweep::{Code, Finding, Severity};

use super::site::{Site, ZOOM, curve, off, with_finding};

const ZOOM_SLUG: &str = "ostrel-28-135-f-3-5";

fn close(value: &serde_json::Value, expected: f64) -> bool {
    // Raw numbers pass through JSON without rounding.
    value
        .as_f64()
        .is_some_and(|value| (value - expected).abs() < 1e-6)
}

#[tokio::test]
async fn a_lens_is_the_same_as_page_twin_and_api() {
    let site = Site::with_lenses().await;
    let api = site.get(&format!("/api/v1/lenses/{ZOOM_SLUG}")).await;
    let twin = site.get(&format!("/lenses/{ZOOM_SLUG}.json")).await;
    assert_eq!(api.status, StatusCode::OK);
    assert_eq!(api.body, twin.body);
    assert_eq!(api.header(header::CONTENT_TYPE), "application/json");
    assert_eq!(api.header(header::ACCESS_CONTROL_ALLOW_ORIGIN), "*");
    let document = api.json();
    assert_eq!(document["lens"]["slug"], ZOOM_SLUG);
    assert_eq!(document["licence"], "CC BY 4.0");
    let results = document["results"].as_array().expect("results");
    assert_eq!(results.len(), ZOOM.len());
    for (result, (focal, worst)) in results.iter().zip(ZOOM) {
        assert!(close(&result["focal_length_mm"], focal));
        assert!(close(&result["worst_shift_pct"], worst), "{result}");
        assert!(close(
            &result["equivalent_focal_length_mm"],
            focal * (1.0 + worst / 100.0)
        ));
        let exceeded = worst.abs() > 2.0;
        let outcome = if exceeded { "exceeded" } else { "within" };
        assert_eq!(result["tolerance_outcome"], outcome);
        assert_eq!(result["tolerance_distance_m"].is_null(), !exceeded);
        if exceeded {
            assert!(close(&result["tolerance_distance_m"], 0.45 * worst / 2.0));
        }
        assert_eq!(
            result["direction"],
            if worst > 0.0 { "tighter" } else { "wider" }
        );
        assert_eq!(result["distance_source"], "exif");
        assert_eq!(result["relative_to"], "infinity");
    }
}

#[tokio::test]
async fn the_list_pages_through_without_loss_or_repetition() {
    let site = Site::with_lenses().await;
    let all = site.get("/api/v1/lenses").await.json();
    assert_eq!(all["total"], 4);
    assert!(all["next"].is_null());
    let mut slugs = Vec::new();
    let mut cursor = String::new();
    for _ in 0..4 {
        let page = site
            .get(&format!("/api/v1/lenses?limit=1{cursor}"))
            .await
            .json();
        slugs.push(page["lenses"][0]["lens"]["slug"].clone());
        match page["next"].as_str() {
            Some(next) => cursor = format!("&cursor={next}"),
            None => break,
        }
    }
    let expected: Vec<_> = all["lenses"]
        .as_array()
        .expect("lenses")
        .iter()
        .map(|row| row["lens"]["slug"].clone())
        .collect();
    assert_eq!(slugs, expected);
    assert_eq!(all["lenses"][3]["measured"], false);
    assert!(all["lenses"][3]["worst_shift_pct"].is_null());
}

#[tokio::test]
async fn the_way_to_the_next_rows_is_in_body_and_link() {
    let site = Site::with_lenses().await;
    for list in ["/api/v1/lenses", "/lenses.json", "/lenses.csv"] {
        let mut path = format!("{list}?limit=3&sort=name&q=&mount=Skerry%20bayonet");
        let mut pages = 0;
        loop {
            let page = site.get(&path).await;
            assert_eq!(page.status, StatusCode::OK, "{}", page.text());
            pages += 1;
            let links = page.headers.get_all(header::LINK).iter();
            let next = links
                .filter_map(|link| link.to_str().ok())
                .find_map(|link| link.strip_suffix(">; rel=\"next\""));
            if !list.ends_with("csv") {
                assert_eq!(page.json()["next"].is_null(), next.is_none());
            }
            match next {
                Some(next) => {
                    path = next.replace("<https://lens.example", "");
                    assert!(path.starts_with(&format!("{list}?limit=3&sort=name&mount=Skerry")));
                }
                None => break,
            }
        }
        assert_eq!(pages, 2, "{list}");
    }
}

#[tokio::test]
async fn a_wrong_cursor_is_refused_with_the_way_out() {
    let site = Site::with_lenses().await;
    let next = site.get("/api/v1/lenses?limit=1").await.json()["next"].clone();
    let next = next.as_str().expect("there are more rows").to_owned();
    let page = site
        .get(&format!("/api/v1/lenses?limit=2&cursor={next}"))
        .await;
    assert_eq!(
        page.json()["before"],
        1,
        "another limit goes on all the same"
    );
    for wrong in ["1", "abc", "%00", &next[2..], &next[..next.len() - 2]] {
        let answer = site.get(&format!("/api/v1/lenses?cursor={wrong}")).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{wrong}");
        let error = answer.json()["errors"][0].clone();
        assert_eq!(error["field"], "cursor");
        let detail = error["detail"].as_str().expect("words");
        assert!(detail.contains("leave it out"), "{detail}");
    }
    for other in ["sort=name", "tolerance_pct=1", "q=zoom", "order=desc"] {
        let path = format!("/api/v1/lenses?{other}&cursor={next}");
        let answer = site.get(&path).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{other}");
        assert!(answer.text().contains("another question"));
    }
}

/// A program mends all its fields in one go.
#[tokio::test]
async fn every_wrong_parameter_is_named_at_once() {
    let site = Site::with_lenses().await;
    let lens = format!("/api/v1/lenses/{ZOOM_SLUG}");
    for (path, fields) in [
        (
            "/api/v1/lenses?limit=0&kind=x&tolerance_pct=2&sort=up".to_owned(),
            &["kind", "sort", "limit"][..],
        ),
        ("/lenses.csv?limit=0&kind=x".to_owned(), &["kind", "limit"]),
        (
            format!("{lens}/pull?from_m=x&focal_mm=0&conditions=y"),
            &["conditions", "focal_mm", "from_m", "to_m"],
        ),
        (
            format!("{lens}/curves?focal_mm=0&tolerance_pct=x"),
            &["focal_mm", "tolerance_pct"],
        ),
        (
            format!("{lens}/counter-scale?focal_mm=0&hold_m=x"),
            &["focal_mm", "hold_m"],
        ),
        (
            "/api/v1/compare?lens=a&tolerance_pct=101".to_owned(),
            &["tolerance_pct", "lens"],
        ),
        (
            format!("/charts/lens/{ZOOM_SLUG}.svg?width=1&theme=red&focal_mm=x"),
            &["focal_mm", "theme", "width"],
        ),
    ] {
        let answer = site.ask(&path, &[]).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{path}");
        let problem = answer.json();
        let errors = problem["errors"].as_array().expect("a list");
        let mut named: Vec<&str> = errors
            .iter()
            .filter_map(|error| error["field"].as_str())
            .collect();
        named.sort_unstable();
        let mut fields = fields.to_vec();
        fields.sort_unstable();
        assert_eq!(named, fields, "{path}");
        let detail = problem["detail"].as_str().expect("words");
        assert!(
            fields.iter().all(|field| detail.contains(field)),
            "{detail}"
        );
    }
}

#[tokio::test]
async fn curves_hold_dioptres_travel_and_uncertainty() {
    let site = Site::with_lenses().await;
    let path = format!("/api/v1/lenses/{ZOOM_SLUG}/curves?focal_mm=130");
    let document = site.get(&path).await.json();
    let curves = document["curves"].as_array().expect("curves");
    assert_eq!(curves.len(), 1, "the nearest focal length only");
    assert!(close(&curves[0]["focal_length_mm"], 135.0));
    let points = curves[0]["points"].as_array().expect("points");
    assert_eq!(points.len(), 25);
    assert!(close(&points[0]["focus_distance_m"], 0.45));
    assert!(close(&points[0]["shift_pct"], 4.3));
    assert!(close(&points[24]["focus_dioptres"], 0.0));
    assert!(points[24]["focus_distance_m"].is_null(), "infinity");
    let all = site
        .get(&format!("/api/v1/lenses/{ZOOM_SLUG}/curves"))
        .await;
    assert_eq!(all.json()["curves"].as_array().expect("curves").len(), 6);
}

#[tokio::test]
async fn a_pull_has_change_edge_and_crop_or_says_why_not() {
    let site = Site::with_lenses().await;
    let path =
        "/api/v1/lenses/tindra-sound-85-f-1-4/pull?from_m=inf&to_m=1.6&picture_width_px=4000";
    let pulls = site.get(path).await.json()["pulls"].clone();
    assert!(close(&pulls[0]["framing_change_pct"], -2.6), "{pulls}");
    assert!(close(&pulls[0]["edge_movement_px"], -52.0));
    assert!(close(&pulls[0]["scale_to_hide"], 1.0 / 0.974));
    assert!(close(&pulls[0]["crop_to_hide_pct"], 2.6));
    assert!(pulls[0]["from_m"].is_null() && close(&pulls[0]["to_m"], 1.6));
    let near = "/api/v1/lenses/tindra-sound-85-f-1-4/pull?from_m=3&to_m=0.5";
    let pulls = site.get(near).await.json()["pulls"].clone();
    assert!(pulls[0]["framing_change_pct"].is_null());
    let outside = pulls[0]["outside"].as_str().expect("a reason");
    assert!(outside.contains("not measured closer than"), "{outside}");
}

#[tokio::test]
async fn a_comparison_takes_the_nearest_focal_length_of_each() {
    let site = Site::with_lenses().await;
    let path = format!("/api/v1/compare?lens={ZOOM_SLUG}&lens=tindra-sound-85-f-1-4");
    let document = site.get(&path).await.json();
    // Of 75 and 100 mm the former is nearer to 85 mm by ratio.
    assert!(close(
        &document["lenses"][0]["result"]["focal_length_mm"],
        75.0
    ));
    assert!(close(
        &document["lenses"][1]["result"]["focal_length_mm"],
        85.0
    ));
    let differences = document["differences"].as_array().expect("differences");
    assert_eq!(differences.len(), 1, "{differences:?}");
    assert!(differences[0].as_str().expect("words").contains("75 mm"));
    let twin = site
        .get(&format!(
            "/compare.json?lens={ZOOM_SLUG}&lens=tindra-sound-85-f-1-4"
        ))
        .await;
    assert_eq!(twin.json(), document);
}

#[tokio::test]
async fn a_published_sweep_has_all_its_frames() {
    let site = Site::new().await;
    let lens = site.lens("Tindra", "Sound 85 f/1.4", (85.0, 85.0)).await;
    let finding = Finding {
        code: Code::CameraMoved,
        severity: Severity::Warning,
        message: "the mid-point jumps by 3 px at SWP_0007.JPG".to_owned(),
        files: vec!["SWP_0007.JPG".to_owned()],
    };
    let measured = with_finding(curve(85.0, 3.0, 0.8), finding);
    let sweep = site.publish(&lens, &off(), measured).await;
    let document = site.get(&format!("/api/v1/sweeps/{sweep}")).await.json();
    assert_eq!(document["version"], 1);
    assert_eq!(
        document["sweep"]["frames"]
            .as_array()
            .expect("frames")
            .len(),
        25
    );
    assert_eq!(document["sweep"]["findings"][0]["code"], "camera_moved");
    let page = site.get("/lenses/tindra-sound-85-f-1-4").await.text();
    assert!(page.contains("the mid-point jumps by 3\u{a0}px"));
    assert!(page.contains("1 warning"));
}

#[tokio::test]
async fn csv_has_a_row_for_each_and_no_formulas() {
    let site = Site::with_lenses().await;
    let evil = site.lens("=1+1", "@Pier 20", (20.0, 20.0)).await;
    site.publish(&evil, &off(), curve(20.0, -1.0, 0.3)).await;
    for (path, rows) in [
        ("/lenses.csv".to_owned(), 5),
        (format!("/lenses/{ZOOM_SLUG}.csv"), 6),
        (
            format!("/compare.csv?lens={ZOOM_SLUG}&lens={}", evil.slug),
            2,
        ),
    ] {
        let answer = site.get(&path).await;
        assert!(answer.header(header::CONTENT_TYPE).starts_with("text/csv"));
        let text = answer.text();
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let columns = reader.headers().expect("a header").len();
        let records: Vec<_> = reader.records().map(|r| r.expect("a row")).collect();
        assert_eq!(records.len(), rows, "{path}");
        assert!(records.iter().all(|record| record.len() == columns));
        assert!(!text.contains(",=1+1"), "{path}");
        assert!(
            text.contains(",-") || !text.contains("wider"),
            "negative numbers stay numbers"
        );
    }
}

#[tokio::test]
async fn unchanged_answers_are_304() {
    let site = Site::with_lenses().await;
    for path in [
        format!("/api/v1/lenses/{ZOOM_SLUG}"),
        "/lenses.json".to_owned(),
        format!("/lenses/{ZOOM_SLUG}.csv"),
        format!("/charts/lens/{ZOOM_SLUG}.svg"),
        format!("/charts/lens/{ZOOM_SLUG}.png?width=400&height=300"),
    ] {
        let first = site.ask(&path, &[]).await;
        assert_eq!(first.status, StatusCode::OK, "{path}");
        let tag = first.header(header::ETAG).to_owned();
        assert!(tag.starts_with('"'), "{path}: {tag}");
        let again = site.ask(&path, &[(header::IF_NONE_MATCH, &tag)]).await;
        assert_eq!(again.status, StatusCode::NOT_MODIFIED, "{path}");
        assert!(again.body.is_empty());
        let other = site.ask(&path, &[(header::IF_NONE_MATCH, "\"x\"")]).await;
        assert_eq!(other.status, StatusCode::OK);
    }
}

#[tokio::test]
async fn the_description_names_every_route_of_the_read_api() {
    let site = Site::with_lenses().await;
    let document = site.get("/api/v1/openapi.json").await.json();
    assert_eq!(document["openapi"], "3.1.0");
    assert_eq!(document["servers"][0]["url"], "https://lens.example");
    let paths = document["paths"].as_object().expect("paths");
    for path in [
        "/api/v1/lenses",
        "/api/v1/lenses/{slug}",
        "/api/v1/lenses/{slug}/curves",
        "/api/v1/lenses/{slug}/pull",
        "/api/v1/compare",
        "/api/v1/sweeps/{id}",
    ] {
        assert!(paths.contains_key(path), "{path}");
    }
    // As many as the program has, methods included.
    let top = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    for file in ["src/web/api/v1.rs", "src/web/routes.rs"] {
        let source = std::fs::read_to_string(top.join(file)).expect("a source file is text");
        let routes = source.split(".route(").skip(1).filter_map(|route| {
            let mut parts = route.splitn(3, '"');
            Some((parts.nth(1)?, parts.next()?))
        });
        for (path, handlers) in routes.filter(|(path, _)| path.starts_with("/api/v1/")) {
            if path == "/api/v1/openapi.json" {
                continue;
            }
            let item = &paths[&path.replace("{*", "{")];
            let handlers = handlers.split(".route").next().expect("a part");
            let handlers = handlers.split(".layer").next().expect("a part");
            for method in ["get", "post", "put", "patch"] {
                let called = format!("{method}(");
                let served = handlers.contains(&format!(" {called}"))
                    || handlers.contains(&format!(").{called}"));
                assert!(!served || item[method].is_object(), "{method} {path}");
            }
        }
    }
    let frame = &document["components"]["schemas"]["FrameDocument"]["properties"];
    assert!(frame["shift_u_pct"].is_object(), "{frame}");
    let focal = &document["components"]["schemas"]["FocalDocument"]["properties"];
    assert!(focal["result"].is_null(), "inner values stay inside");
}
