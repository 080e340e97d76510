//! The ranking at the focal length that a reader wants.

use axum::http::StatusCode;
use serde_json::Value;

use super::site::{Site, curve, off};

const ZOOM: &str = "ostrel-28-135-f-3-5";
const PIER: &str = "brackwell-pier-50-f-1-8";

/// A site with two more zooms that cover 50 mm: one loud at 50 and quiet at its ends, one measured at its ends only.
async fn site() -> Site {
    let site = Site::with_lenses().await;
    let loud = site.lens("Tindra", "Bay 24-70", (24.0, 70.0)).await;
    for (focal, worst) in [(24.0, 0.1), (45.0, -1.2), (70.0, 0.2)] {
        site.publish(&loud, &off(), curve(focal, worst, 0.4)).await;
    }
    let ends = site.lens("Tindra", "Gap 28-135", (28.0, 135.0)).await;
    for (focal, worst) in [(28.0, 0.1), (135.0, 0.2)] {
        site.publish(&ends, &off(), curve(focal, worst, 0.4)).await;
    }
    site
}

/// The rows of an answer.
async fn rows(site: &Site, query: &str) -> Vec<Value> {
    let answer = site.get(&format!("/api/v1/lenses?{query}")).await;
    assert_eq!(answer.status, StatusCode::OK, "{query}: {}", answer.text());
    answer.json()["lenses"].as_array().expect("rows").clone()
}

fn slugs(rows: &[Value]) -> Vec<&str> {
    let slug = |row: &'_ Value| row["lens"]["slug"].as_str().expect("a slug").to_owned();
    rows.iter().map(slug).map(|slug| &*slug.leak()).collect()
}

#[tokio::test]
async fn lenses_are_ranked_by_what_was_measured_nearest_to_it() {
    let site = site().await;
    let asked = rows(&site, "focal_mm=50").await;
    // 0.3 % at 50, 0.7 % at 50, 1.2 % at 45; the last has nothing between 28 and 135. What does not cover 50 is left out.
    let expected = [PIER, ZOOM, "tindra-bay-24-70", "tindra-gap-28-135"];
    assert_eq!(slugs(&asked), expected);
    for (row, at, worst, whole, whole_at) in [
        (0, Some(50.0), Some(0.3), 0.3, 50.0),
        (1, Some(50.0), Some(0.7), 4.3, 135.0),
        (2, Some(45.0), Some(-1.2), -1.2, 45.0),
        (3, None, None, 0.2, 135.0),
    ] {
        let row = &asked[row];
        assert_eq!(row["ranked_focal_length_mm"].as_f64(), at, "{row}");
        assert_eq!(row["worst_focal_length_mm"].as_f64(), at, "{row}");
        assert_eq!(row["worst_shift_pct"].as_f64(), worst, "{row}");
        assert_eq!(row["measured"], at.is_some(), "{row}");
        assert_eq!(row["whole_lens_worst_shift_pct"], whole, "{row}");
        assert_eq!(row["whole_lens_worst_focal_length_mm"], whole_at, "{row}");
    }
    assert_eq!(asked[1]["results"].as_array().map(Vec::len), Some(6));
    assert_eq!(asked[1]["tolerance_outcome"], "within", "at 50 mm");
    // A factor of 1.25 is near: 28 up to 35 mm, and 135 down to 108 mm.
    for (mm, near) in [
        (35.0, Some(28.0)),
        (35.5, None),
        (107.5, None),
        (108.0, Some(135.0)),
    ] {
        let asked = rows(&site, &format!("focal_mm={mm}&q=gap")).await;
        assert_eq!(asked[0]["ranked_focal_length_mm"].as_f64(), near, "{mm}");
    }
    // As it was: the whole lens.
    let whole = rows(&site, "min_focal_mm=50&max_focal_mm=50").await;
    let expected = ["tindra-gap-28-135", PIER, "tindra-bay-24-70", ZOOM];
    assert_eq!(slugs(&whole), expected);
    assert!(whole[0]["ranked_focal_length_mm"].is_null());
}

#[tokio::test]
async fn way_and_distance_are_judged_there_too() {
    let site = site().await;
    // The zoom is tighter at its worst, but wider at 28 mm.
    let wider = rows(&site, "focal_mm=28&direction=wider").await;
    assert_eq!(slugs(&wider), [ZOOM]);
    let tighter = rows(&site, "focal_mm=100&direction=tighter").await;
    assert_eq!(slugs(&tighter), [ZOOM], "what nobody measured goes no way");
    // 0.7 % at 0.45 m is within 0.5 % beyond 0.63 m; 1.2 % at 0.4 m beyond 0.96 m.
    let near = rows(&site, "focal_mm=50&tolerance_pct=0.5&holds_from_m=0.64").await;
    assert_eq!(slugs(&near), [PIER, ZOOM]);
    let far = rows(&site, "focal_mm=50&tolerance_pct=0.5&holds_from_m=0.97").await;
    assert_eq!(slugs(&far), [PIER, ZOOM, "tindra-bay-24-70"]);
    let distance = far[1]["tolerance_distance_m"].as_f64();
    assert!(distance.is_some_and(|m| (m - 0.63).abs() < 1e-9));
    let by_distance = rows(
        &site,
        "focal_mm=50&tolerance_pct=0.5&sort=tolerance_distance",
    )
    .await;
    let expected = [PIER, ZOOM, "tindra-bay-24-70", "tindra-gap-28-135"];
    assert_eq!(slugs(&by_distance), expected);
}

#[tokio::test]
async fn one_by_one_through_cursors_the_order_is_the_same() {
    let site = site().await;
    for sort in ["worst_shift", "tolerance_distance", "name", "newest"] {
        for order in ["asc", "desc"] {
            let query = format!("focal_mm=50&sort={sort}&order={order}");
            let all = rows(&site, &query).await;
            assert_eq!(slugs(&all).last(), Some(&"tindra-gap-28-135"), "{query}");
            let mut paged = Vec::new();
            let mut cursor = String::new();
            loop {
                let path = format!("/api/v1/lenses?{query}&limit=1{cursor}");
                let page = site.get(&path).await.json();
                paged.push(page["lenses"][0].clone());
                match page["next"].as_str() {
                    Some(next) => cursor = format!("&cursor={next}"),
                    None => break,
                }
            }
            assert_eq!(paged, all, "{query}");
        }
    }
    let page = site.get("/api/v1/lenses?focal_mm=50&limit=1").await.json();
    let next = page["next"].as_str().expect("more rows");
    let other = format!("/api/v1/lenses?focal_mm=85&limit=1&cursor={next}");
    let refused = site.get(&other).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
}

#[tokio::test]
async fn the_page_says_which_focal_length_it_ranks_by() {
    let site = site().await;
    let page = site.get("/lenses?focal_mm=50&min_focal_mm=35").await.text();
    let page = page.replace('\u{a0}', " ");
    assert!(page.contains("each at the measured focal length nearest to 50 mm"));
    let whole = "href=\"/lenses?min_focal_mm=35&#38;max_focal_mm=50\">Rank them by the whole lens";
    assert!(page.contains(whole), "{page}");
    assert!(page.contains("whole lens +4.30 %, at 135 mm"), "{page}");
    assert!(page.contains("not measured near 50 mm, but at 28 mm, 135 mm"));
    let rows = site.get("/lenses.csv?focal_mm=50").await.text();
    let mut rows = rows.lines();
    let header = rows.next().expect("a header");
    let begin =
        "ranked_focal_length_mm,whole_lens_worst_shift_pct,whole_lens_worst_focal_length_mm";
    let at = header
        .split(',')
        .position(|name| name == "ranked_focal_length_mm");
    let at = at.expect("the column");
    assert!(header.contains(begin), "{header}");
    let zoom: Vec<&str> = rows.nth(1).expect("a zoom").split(',').collect();
    assert_eq!(zoom[at..at + 3], ["50", "4.3", "135"]);
    let plain = site.get("/lenses").await.text();
    assert!(!plain.contains("Rank them by the whole lens") && !plain.contains("whole lens +"));
}
