//! Nothing is claimed beyond what was measured: the part of a zoom, the nearest frames, what perspective and the uncertainty
//! leave open, the focal length that was asked for.

use axum::http::StatusCode;
use breathmark::store::{Conditions, Switch};
use breathmark::sweep::{BudgetLine, Part, ShiftCurve, SweepMeasurement};

use super::site::{Site, curve, off};

async fn text(site: &Site, path: &str) -> String {
    let answer = site.get(path).await;
    assert_eq!(answer.status, StatusCode::OK, "{path}: {}", answer.text());
    answer.text().replace('\u{a0}', " ")
}

/// A measurement whose budget states this bound of perspective, percentage points.
fn bounded(mut measured: SweepMeasurement, bound_pct: f64) -> SweepMeasurement {
    if let Some(summary) = &mut measured.summary {
        let part = Part::EntrancePupil;
        summary.budget.systematic = vec![BudgetLine {
            part,
            pct: bound_pct,
        }];
    }
    measured
}

/// Conditions with the correction on.
fn corrected() -> Conditions {
    Conditions {
        distortion_correction: Switch::On,
        ..off()
    }
}

#[tokio::test]
async fn a_part_of_a_zoom_does_not_stand_for_the_whole() {
    let site = Site::new().await;
    let lens = site.lens("Ostrel", "Quay", (28.0, 135.0)).await;
    site.publish(&lens, &off(), curve(28.0, -1.4, 0.45)).await;
    let row = text(&site, "/lenses").await;
    assert!(row.contains("; measured at 28 mm only"), "{row}");
    assert!(
        row.contains("at 28 mm</span>"),
        "the shift says where: {row}"
    );
    let start = text(&site, "/").await;
    assert!(start.contains("measured at 28 mm only"), "{start}");
    let page = text(&site, "/lenses/ostrel-quay").await;
    assert!(
        page.contains("No other focal length was measured."),
        "{page}"
    );
    for path in ["/api/v1/lenses/ostrel-quay", "/lenses.json"] {
        let document = site.get(path).await.json();
        let told = document.pointer("/lenses/0").unwrap_or(&document);
        assert_eq!(told["nothing_measured_above_mm"], 28.0, "{path}: {told}");
        assert!(told["nothing_measured_below_mm"].is_null(), "{path}");
    }
    // Ranked at 28 mm it is judged at that alone, and nothing is missing.
    let at = site.get("/lenses.json?focal_mm=28").await.json();
    assert!(at["lenses"][0]["nothing_measured_above_mm"].is_null());
    site.publish(&lens, &off(), curve(100.0, 1.0, 0.45)).await;
    let page = text(&site, "/lenses/ostrel-quay").await;
    assert!(
        page.contains("Nothing was measured above 100 mm."),
        "{page}"
    );
    // 130 mm stands for the end marked 135: marks are good to 5 %.
    site.publish(&lens, &off(), curve(130.0, 1.0, 0.45)).await;
    let page = text(&site, "/lenses/ostrel-quay").await;
    assert!(!page.contains("Nothing was measured"), "{page}");
}

#[tokio::test]
async fn what_is_nearer_than_the_nearest_measured_frame_is_left_open() {
    let mut late = curve(50.0, 1.5, 0.4);
    let summary = late.summary.as_mut().expect("measured");
    let kept = summary.curve.points()[1..].to_vec();
    summary.worst = 1;
    summary.worst_shift_pct = kept[0].shift_pct;
    summary.curve = ShiftCurve::new(kept);
    let site = Site::new().await;
    let lens = site.lens("Ostrel", "Quay", (50.0, 50.0)).await;
    site.publish(&lens, &off(), late).await;
    let page = text(&site, "/lenses/ostrel-quay").await;
    // The next of 25 frames to 0.4 m is at 0.4 · 24 / 23.
    let from = "measured from 0.418 m (1 ft 4.5 in) on; the lens focuses to 0.4 m (1 ft 3.8 in); the shift may be larger nearer";
    assert!(page.contains(from), "{page}");
    assert!(
        page.contains(
            "Nothing is measured nearer than 0.418 m (1 ft 4.5 in), where it may shift more."
        ),
        "{page}"
    );
    let row = text(&site, "/lenses").await;
    assert!(
        row.contains("not measured at its nearest, where it may shift more"),
        "{row}"
    );
    let result = site.get("/lenses/ostrel-quay.json").await.json()["results"][0].clone();
    let measured = result["closest_focus_m"].as_f64().expect("known");
    assert!((measured - 0.4 * 24.0 / 23.0).abs() < 1e-9, "{measured}");
    assert_eq!(result["focuses_to_m"], 0.4);
}

#[tokio::test]
async fn a_shift_at_the_tolerance_is_not_said_to_hold_it() {
    let site = Site::new().await;
    let lens = site.lens("Tindra", "Cine 18 T2", (18.0, 18.0)).await;
    // 0.749 % ± 0.008 (k = 2).
    site.publish(&lens, &off(), curve(18.0, 0.749, 0.4)).await;
    let page = text(&site, &format!("/lenses/{}?tolerance_pct=0.75", lens.slug)).await;
    assert!(page.contains("it may stay within 0.75 %"), "{page}");
    assert!(page.contains("never as measured, in question"), "{page}");
    let twin = format!("/lenses/{}.json?tolerance_pct=", lens.slug);
    for (tolerance, doubt) in [("0.75", Some("uncertainty")), ("0.8", None)] {
        let told = site.get(&format!("{twin}{tolerance}")).await.json();
        assert_eq!(told["results"][0]["tolerance_doubt"].as_str(), doubt);
    }
    let row = site.get("/lenses.json?tolerance_pct=0.75").await.json();
    assert_eq!(row["lenses"][0]["tolerance_doubt"], "uncertainty");
    let along = &row["lenses"][0]["results"][0];
    assert_eq!(along["tolerance_doubt"], "uncertainty");
}

#[tokio::test]
async fn a_tolerance_distance_says_what_perspective_may_add() {
    let site = Site::new().await;
    let wider = site.lens("Tindra", "Sound 50", (50.0, 50.0)).await;
    site.publish(&wider, &off(), bounded(curve(50.0, -4.0, 0.5), 0.3175))
        .await;
    let tighter = site.lens("Ostrel", "Quay 50", (50.0, 50.0)).await;
    site.publish(&tighter, &off(), bounded(curve(50.0, 4.0, 0.5), 0.3175))
        .await;
    let page = text(&site, &format!("/lenses/{}", wider.slug)).await;
    // 2 % at 1 m as measured; with the 0.14 points that perspective may hide there, at about 1.07 m, and with the expanded
    // uncertainty of 0.008 points and 0.002 dioptres at 1.075 m.
    assert!(
        page.contains("beyond 1 m (3 ft 3.4 in) it may stay within 2 %, beyond 1.08 m"),
        "{page}"
    );
    assert!(page.contains("perhaps up to 1.08 m"), "{page}");
    let rows = text(&site, "/lenses").await;
    assert!(
        rows.contains("beyond 1 m (3 ft 3.4 in), perhaps only beyond 1.08 m"),
        "{rows}"
    );
    for (slug, most) in [(&wider.slug, true), (&tighter.slug, false)] {
        let told = site.get(&format!("/lenses/{slug}.json")).await.json();
        let told = told["results"][0]["tolerance_distance_most_m"].as_f64();
        assert_eq!(told.is_some(), most, "{slug}");
        assert!(told.is_none_or(|m| (m - 1.075).abs() < 0.003), "{told:?}");
        let list = site.get(&format!("/lenses.json?q={slug}")).await.json();
        let along = list["lenses"][0]["results"][0]["tolerance_distance_most_m"].as_f64();
        assert_eq!(along, told, "{slug}");
    }
}

#[tokio::test]
async fn the_bound_of_perspective_goes_with_every_number_read_from_a_curve() {
    let site = Site::new().await;
    let one = site.lens("Tindra", "Sound 50", (50.0, 50.0)).await;
    site.publish(&one, &off(), bounded(curve(50.0, -4.0, 0.5), 0.3175))
        .await;
    let other = site.lens("Ostrel", "Quay 50", (50.0, 50.0)).await;
    site.publish(&other, &off(), curve(50.0, 4.0, 0.5)).await;
    let slug = &one.slug;
    let compared = text(
        &site,
        &format!("/compare?lens={slug}&lens={}&from_m=1&to_m=0.5", other.slug),
    )
    .await;
    for words in [
        "Perspective may change it by",
        "up to 0.32 points",
        "how much is not known",
        "up to 0.18 points",
    ] {
        assert!(compared.contains(words), "{words}: {compared}");
    }
    // 0.3175 · (1 − 0.0557 / 0.127): the bounds of both ends, which the same pupil moves between.
    for (from, to, bound) in [("1", "0.5", 0.1782), ("0.5", "1", -0.1782)] {
        let path = format!("/api/v1/lenses/{slug}/pull?from_m={from}&to_m={to}");
        let told = site.get(&path).await.json()["pulls"][0]["perspective_bound_pct"].as_f64();
        assert!(
            told.is_some_and(|told| (told - bound).abs() < 4e-4),
            "{told:?}"
        );
    }
    let page = text(&site, &format!("/lenses/{slug}?from_m=1&to_m=0.5")).await;
    assert!(
        page.contains("may be part of each change: up to 0.18 percentage points at 50 mm."),
        "{page}"
    );
    let csv = site
        .get(&format!("/lenses/{slug}.csv?from_m=1&to_m=0.5"))
        .await
        .text();
    assert!(
        csv.lines()
            .next()
            .is_some_and(|head| head.contains("pull_perspective_bound_pct"))
    );
    let scale = text(&site, &format!("/lenses/{slug}/counter-scale")).await;
    assert!(
        scale.contains("Perspective may make a factor wrong by up to 0.32 % at 50 mm."),
        "{scale}"
    );
    let scale = site
        .get(&format!("/lenses/{slug}/counter-scale.json"))
        .await
        .json();
    let rows = &scale["tables"][0]["rows"];
    let nearest = rows[0]["perspective_bound_pct"].as_f64();
    assert!(
        nearest.is_some_and(|told| (told - 0.3175).abs() < 1e-9),
        "{rows}"
    );
}

#[tokio::test]
async fn another_focal_length_is_never_put_in_the_place_of_the_one_asked_for() {
    let site = Site::with_lenses().await;
    let zoom = "ostrel-28-135-f-3-5";
    let prime = "brackwell-pier-50-f-1-8";
    for path in [
        format!("/lenses/{zoom}/counter-scale.json?focal_mm=500"),
        format!("/api/v1/lenses/{zoom}/counter-scale?focal_mm=500"),
        format!("/api/v1/lenses/{zoom}/pull?focal_mm=500&from_m=3&to_m=1"),
        format!("/api/v1/lenses/{zoom}/curves?focal_mm=500"),
        format!("/embed/lens/{zoom}?focal_mm=500"),
        format!("/charts/lens/{zoom}.svg?focal_mm=500"),
        format!("/api/v1/compare?lens={zoom}&lens={prime}&focal_mm=500"),
    ] {
        let answer = site.get(&path).await;
        let words = answer.text().replace('\u{a0}', " ");
        assert_eq!(
            answer.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{path}: {words}"
        );
        assert!(
            words.contains("nothing is measured near 500 mm"),
            "{path}: {words}"
        );
        assert!(
            words.contains("28 mm") && words.contains("135 mm"),
            "{path}: {words}"
        );
    }
    let near = "at 50 mm, the nearest measured to 60 mm";
    for path in [
        format!("/lenses/{zoom}/counter-scale?focal_mm=60"),
        format!("/embed/lens/{zoom}?focal_mm=60"),
        format!("/charts/lens/{zoom}.svg?focal_mm=60"),
        format!("/compare?lens={zoom}&lens={prime}&focal_mm=60"),
    ] {
        let page = text(&site, &path).await;
        assert!(page.contains(near), "{path}: {page}");
    }
    for path in [
        format!("/lenses/{zoom}/counter-scale?focal_mm=50"),
        format!("/embed/lens/{zoom}?focal_mm=50"),
    ] {
        assert!(
            !text(&site, &path).await.contains("nearest measured to"),
            "{path}"
        );
    }
}

/// 60 mm is nearer to 70 than to 50 by ratio, but both have 50 mm.
#[tokio::test]
async fn lenses_are_compared_at_a_focal_length_that_both_have() {
    let site = Site::with_lenses().await;
    let short = site.lens("Brackwell", "Fell", (24.0, 70.0)).await;
    for focal in [24.0, 50.0, 70.0] {
        site.publish(&short, &off(), curve(focal, 1.0, 0.5)).await;
    }
    let path = format!(
        "/compare.json?lens=ostrel-28-135-f-3-5&lens={}&focal_mm=60",
        short.slug
    );
    let twin = site.get(&path).await.json();
    for at in [0, 1] {
        assert_eq!(
            twin["lenses"][at]["result"]["focal_length_mm"], 50.0,
            "{twin}"
        );
    }
    assert_eq!(twin["focal_mm"], 50.0);
    assert_eq!(twin["asked_focal_mm"], 60.0);
}

#[tokio::test]
async fn a_lens_has_the_same_number_on_every_page() {
    let site = Site::with_lenses().await;
    // Two sets of conditions; more focal lengths under the one that no other lens has.
    let both = site.lens("Brackwell", "Fell", (24.0, 70.0)).await;
    site.publish(&both, &off(), curve(50.0, 0.8, 0.5)).await;
    for (focal, worst) in [(24.0, 2.8), (50.0, 3.8)] {
        site.publish(&both, &corrected(), curve(focal, worst, 0.5))
            .await;
    }
    let unmeasured = "tindra-reef-35-f-2";
    let ranked = site.get("/lenses.json?q=fell").await.json();
    assert_eq!(ranked["lenses"][0]["worst_shift_pct"], 0.8);
    let page = site
        .get(&format!("/lenses/{}.json", both.slug))
        .await
        .json();
    let verdict = page["verdict"].as_str().expect("words");
    assert!(verdict.contains("0.80 %"), "{verdict}");
    for others in [
        "lens=brackwell-pier-50-f-1-8",
        &format!("lens={unmeasured}"),
    ] {
        let query = format!("lens={}&{others}", both.slug);
        let twin = site.get(&format!("/compare.json?{query}")).await.json();
        assert_eq!(
            twin["lenses"][0]["result"]["worst_shift_pct"], 0.8,
            "{others}"
        );
        let page = text(&site, &format!("/compare?{query}")).await;
        assert!(
            page.contains("<th scope=\"row\">Measured with</th>"),
            "{page}"
        );
        let (_, row) = page.split_once("Measured with</th>").expect("a row");
        let row = row.split("</tr>").next().unwrap_or_default();
        let words = "distortion correction off, breathing compensation off";
        assert!(row.contains(words), "{row}");
    }
}

/// A table without rows says why, also to programs that read CSV.
#[tokio::test]
async fn a_counter_scale_without_rows_says_why() {
    let site = Site::with_lenses().await;
    let path = "/lenses/brackwell-pier-50-f-1-8/counter-scale.csv?hold_m=0.2";
    let csv = site.get(path).await.text();
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let header = reader.headers().expect("a header").clone();
    let at = header
        .iter()
        .position(|name| name == "outside")
        .expect("a column");
    let row = reader.records().next().expect("a row").expect("whole");
    assert!(row[at].contains("not measured closer than 0.4"), "{csv}");
}
