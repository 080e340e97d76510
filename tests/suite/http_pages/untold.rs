//! What results can't tell is said, and ranks behind what they can: nearer than the nearest frame, beyond the farthest one, and
//! where a number is lost in its uncertainty.

use breathmark::sweep::ShiftCurve;
use breathmark::units::Measured;

use super::site::{Answer, Site, curve, off};

async fn text(site: &Site, path: &str) -> String {
    let answer: Answer = site.get(path).await;
    answer.text().replace('\u{a0}', " ")
}

/// Marked at 0.45 m, measured from 2 m on: what it does between nobody knows, so it is not said to hold there.
#[tokio::test]
async fn a_closest_focus_that_was_not_reached_is_told_and_not_held() {
    let site = Site::new().await;
    let late = site.lens("Tindra", "Sound 85", (85.0, 85.0)).await;
    site.publish(&late, &off(), curve(85.0, 1.2, 2.0)).await;
    let page = text(&site, "/lenses/tindra-sound-85").await;
    assert!(
        page.contains("Nothing is measured nearer than 2 m (6 ft 7 in), where it may shift more."),
        "{page}"
    );
    let told = site.get("/lenses/tindra-sound-85.json").await.json();
    assert_eq!(told["results"][0]["focuses_to_m"], 0.45);
    let row = text(&site, "/lenses").await;
    assert!(row.contains("not measured at its nearest, where it may shift more"));
    // Nor is it among the best, whatever it does where it was measured.
    let start = text(&site, "/").await;
    let (best, newest) = start.split_once("id=\"newest\"").expect("two lists");
    assert!(!best.contains("Sound 85"), "{best}");
    assert!(
        newest.contains("tighter, not measured at its nearest"),
        "{newest}"
    );
    for (from, count) in [("1.9", 0), ("2", 1)] {
        let held = site
            .get(&format!("/lenses.json?holds_from_m={from}"))
            .await
            .json();
        assert_eq!(held["total"], count, "{from}");
    }
    // At 28 mm it is reached, so 135 mm begins where it focuses no nearer.
    let zoom = site.lens("Ostrel", "Quay", (28.0, 135.0)).await;
    site.publish(&zoom, &off(), curve(28.0, 1.0, 0.45)).await;
    site.publish(&zoom, &off(), curve(135.0, 1.0, 0.9)).await;
    let page = text(&site, "/lenses/ostrel-quay").await;
    assert!(!page.contains("may shift more"), "{page}");
}

#[tokio::test]
async fn what_is_lost_in_its_uncertainty_is_neither_best_nor_held() {
    let site = Site::with_lenses().await;
    let poor = site.lens("Ostrel", "Mist 35", (35.0, 35.0)).await;
    let mut sweep = curve(35.0, 0.2, 0.45);
    if let Some(summary) = &mut sweep.summary {
        summary.worst_shift_pct.std_error = 1.2;
    }
    site.publish(&poor, &off(), sweep).await;
    let order = |document: &serde_json::Value| -> Vec<String> {
        let rows = document["lenses"].as_array().expect("rows").iter();
        rows.filter(|row| row["measured"] == true)
            .map(|row| row["lens"]["slug"].as_str().expect("a slug").to_owned())
            .collect()
    };
    let list = site.get("/lenses.json").await.json();
    assert_eq!(
        order(&list).last(),
        Some(&poor.slug),
        "behind what was told"
    );
    for query in ["holds_from_m=5", "direction=none"] {
        let list = site.get(&format!("/lenses.json?{query}")).await.json();
        assert!(!order(&list).contains(&poor.slug), "{query}");
    }
    let start = text(&site, "/").await;
    let best = start.split("id=\"newest\"").next().expect("the best");
    assert!(!best.contains(&poor.slug), "{best}");
}

#[tokio::test]
async fn what_holds_as_far_as_it_was_measured_is_not_said_to_hold_beyond() {
    let site = Site::new().await;
    let lens = site.lens("Brackwell", "Slim 40", (40.0, 40.0)).await;
    let mut sweep = curve(40.0, 4.0, 0.45);
    if let Some(summary) = &mut sweep.summary {
        // It ends at 3 m.
        let points = summary.curve.points().iter();
        let ended = points.map(|point| breathmark::sweep::CurvePoint {
            dioptres: point
                .dioptres
                .map(|at| Measured::new(at.value + 1.0 / 3.0, at.std_error)),
            ..*point
        });
        summary.curve = ShiftCurve::new(ended.collect());
        summary.relative_to_farthest = true;
    }
    site.publish(&lens, &off(), sweep).await;
    let page = text(&site, "/lenses/brackwell-slim-40?tolerance_pct=0.1").await;
    assert!(
        page.contains(
            "it may stay within 0.1 % up to 3 m (9 ft 10 in), the farthest that was measured."
        ),
        "{page}"
    );
    let row = text(&site, "/lenses?tolerance_pct=0.1").await;
    assert!(
        row.contains(" as far as it was measured; against the farthest frame"),
        "{row}"
    );
}

/// A list by date compares nothing, so the newest stands there whatever it was measured under.
#[tokio::test]
async fn what_was_measured_under_other_conditions_is_newest_too() {
    let site = Site::with_lenses().await;
    let lens = site.lens("Ostrel", "Reef 24", (24.0, 24.0)).await;
    let mut on = off();
    on.breathing_compensation = breathmark::store::Switch::On;
    site.publish(&lens, &on, curve(24.0, 1.0, 0.45)).await;
    let start = text(&site, "/").await;
    let newest = start.split("id=\"newest\"").nth(1).expect("a list");
    let code = "correction-off.compensation-on";
    assert!(
        newest.contains(&format!("/lenses/ostrel-reef-24?conditions={code}")),
        "{newest}"
    );
    assert!(
        newest.contains("breathing compensation on</span>"),
        "{newest}"
    );
    let list = site.get("/lenses.json?q=reef+24").await.json();
    let row = &list["lenses"][0];
    assert_eq!(row["measured"], false);
    assert_eq!(row["measured_under"], serde_json::json!([code]));
    let csv = site.get("/lenses.csv?q=reef+24").await.text();
    assert!(csv.lines().nth(1).expect("a row").ends_with(code), "{csv}");
}
