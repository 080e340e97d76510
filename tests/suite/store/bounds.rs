//! Bounds that no scatter shows: published with the result, the largest of the repeats, and given to what is older.

use breathmark::store::{FocalResult, RankingQuery, Store};
use breathmark::sweep::{BudgetLine, Part, SweepMeasurement};
use sqlx::Connection as _;

use super::fixture::{Fresh, NOW, measurement, off};
use super::opening::connect;
use super::ranking::key;

const SLUG: &str = "tindra-sound-85-f-1-8";

/// A measurement whose budget states these bounds, percentage points.
fn bounded(worst_pct: f64, bounds: &[(Part, f64)]) -> SweepMeasurement {
    let mut measured = measurement(85.0, worst_pct, 0.01);
    if let Some(summary) = &mut measured.summary {
        let line = |&(part, pct)| BudgetLine { part, pct };
        summary.budget.systematic = bounds.iter().map(line).collect();
    }
    measured
}

async fn result(store: &Store) -> FocalResult {
    let page = store.lens_page(SLUG).await.expect("a working store");
    page.expect("the lens").results.remove(0)
}

async fn ranked(store: &Store) -> Option<f64> {
    let ask = RankingQuery {
        conditions: key(),
        limit: 10,
        ..RankingQuery::default()
    };
    let ranking = store.ranking(ask).await.expect("a working store");
    ranking.rows[0].results[0].perspective_pct
}

#[tokio::test]
async fn the_largest_bound_of_each_part_stands_for_the_repeats() {
    let fresh = Fresh::new().await;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let repeats = [
        bounded(2.05, &[(Part::EntrancePupil, 0.31)]),
        // What is lacking has a sign; the largest is so by size.
        bounded(
            2.05,
            &[
                (Part::EntrancePupil, 0.47),
                (Part::ReferenceNotAtInfinity, -0.12),
            ],
        ),
        bounded(2.05, &[(Part::ReferenceNotAtInfinity, 0.08)]),
    ];
    for (at, repeat) in (NOW..).zip(&repeats) {
        fresh.published(&lens, &off(), repeat, at).await;
    }
    let result = result(&fresh.store).await;
    assert_eq!(result.sweeps.len(), 3);
    assert_eq!(result.bound_pct(Part::EntrancePupil), Some(0.47));
    assert_eq!(result.bound_pct(Part::ReferenceNotAtInfinity), Some(-0.12));
    assert_eq!(result.systematic.len(), 2, "one line a part");
    assert_eq!(ranked(&fresh.store).await, Some(0.47));
}

/// A bound that is not known is not 0.
#[tokio::test]
async fn no_bound_is_none() {
    let fresh = Fresh::new().await;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    fresh
        .published(&lens, &off(), &bounded(2.05, &[]), NOW)
        .await;
    assert_eq!(
        result(&fresh.store).await.bound_pct(Part::EntrancePupil),
        None
    );
    assert_eq!(ranked(&fresh.store).await, None);
}

/// Publications of a program that did not publish bounds get those of the very result that they published.
#[tokio::test]
async fn what_was_published_without_bounds_gets_its_own() {
    let fresh = Fresh::new().await;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let measured = bounded(2.05, &[(Part::EntrancePupil, 0.468_123_456_789)]);
    let sweep = fresh.published(&lens, &off(), &measured, NOW).await;
    let before = result(&fresh.store).await;
    fresh.store.close().await;
    let mut other = connect(&fresh).await;
    for sql in [
        "UPDATE publications SET document = json_remove(document, '$.result.systematic')",
        "UPDATE focal_results SET document = json_remove(document, '$.systematic'), packed = x''",
        "UPDATE content SET read_models = 4",
    ] {
        let changed = sqlx::query(sql).execute(&mut other).await;
        assert_eq!(
            changed.expect("a valid statement").rows_affected(),
            1,
            "{sql}"
        );
    }
    other.close().await.expect("closed");
    let path = fresh.folder.path().join("breathmark.sqlite");
    let store = Store::open(&path).await.expect("a whole database");
    assert_eq!(result(&store).await, before);
    assert_eq!(ranked(&store).await, Some(0.468_123_456_789));
    // It says what it said, so there is nothing new to publish.
    let again = store.publish(sweep, fresh.reviewer, NOW + 1).await;
    assert!(
        matches!(again, Err(breathmark::store::StoreError::AlreadyPublic)),
        "{again:?}"
    );
}
