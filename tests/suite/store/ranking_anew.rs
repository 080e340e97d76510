//! The ranking at any tolerance, while lenses come and go, and after its read models were made anew.

use breathmark::store::{RankingQuery, RankingSort};
use breathmark::sweep::{CurvePoint, LeftOpen, ShiftCurve, ToleranceOutcome};
use breathmark::units::Measured;
use sqlx::Connection as _;

use super::fixture::{Fresh, NOW, measurement, off};
use super::opening::connect;
use super::ranking::{first_word, key, names, shelf};

/// Rows that come or go before the place where an answer ended change nothing after it.
#[tokio::test]
async fn the_next_page_goes_on_where_the_last_one_ended() {
    let fresh = shelf().await;
    let ask = async |after| {
        let query = RankingQuery {
            conditions: key(),
            limit: 2,
            after,
            ..RankingQuery::default()
        };
        let page = fresh.store.ranking(query).await.expect("a working store");
        let names: Vec<String> = page.rows.iter().map(first_word).collect();
        (names.join(" "), page.next)
    };
    let (first, next) = ask(None).await;
    assert_eq!(first, "Calm Near");
    let new = fresh.lens("Ostrel", "Newest 20 f/2", (20.0, 20.0)).await;
    let sweep = fresh
        .published(&new, &off(), &measurement(20.0, 0.1, 0.01), NOW + 9)
        .await;
    assert_eq!(ask(None).await.0, "Newest Calm");
    assert_eq!(ask(next.clone()).await.0, "Deep Blind");
    fresh
        .store
        .withdraw(sweep, fresh.reviewer, "a loose mount", NOW + 10)
        .await
        .expect("it is public");
    assert_eq!(ask(None).await.0, "Calm Near");
    let calm = fresh.store.lens_by_slug("tindra-calm-50-f-1-8").await;
    let near = fresh.store.lens_by_slug("brackwell-near-150-f-2-8").await;
    let there = |lens: Result<Option<breathmark::store::Lens>, _>| {
        lens.expect("a working store").expect("it is there")
    };
    let (near, calm) = (there(near), there(calm));
    fresh
        .store
        .merge_lenses(&near, &calm, fresh.reviewer.into(), NOW + 11)
        .await
        .expect("two lenses");
    // The lens that the place was of is gone; the place is not, and the other one took it.
    assert_eq!(ask(None).await.0, "Calm Deep");
    assert_eq!(ask(next).await.0, "Deep Blind");
}

/// The ranking at any tolerance says what the curves say that were measured.
#[tokio::test]
async fn any_tolerance_is_judged_from_the_curves() {
    let fresh = shelf().await;
    let mut state = 7_u64;
    for number in 0..40 {
        let lens = fresh
            .lens("Tindra", &format!("Drift{number} 50 f/2"), (50.0, 50.0))
            .await;
        // A walk that goes wider, then tighter: curves that turn are the hard ones.
        let mut measured = measurement(50.0, 1.0, 0.01);
        let mut shift = 0.0;
        let mut points: Vec<CurvePoint> = (0..30)
            .map(|step| {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1);
                shift += (state >> 40) as f64 / f64::from(1 << 24) - 0.47;
                CurvePoint {
                    travel: 1.0 - f64::from(step) / 29.0,
                    dioptres: (number % 7 > 0).then(|| Measured::new(f64::from(step) * 0.1, 0.01)),
                    shift_pct: Measured::new(if step == 0 { 0.0 } else { shift }, 0.01),
                }
            })
            .collect();
        points.reverse();
        if let Some(summary) = &mut measured.summary {
            summary.curve = ShiftCurve::new(points);
        }
        fresh
            .published(&lens, &off(), &measured, NOW + 20 + number)
            .await;
    }
    for tolerance_pct in [0.1, 0.37, 1.0, 2.0, 3.3, 20.0] {
        let ask = RankingQuery {
            conditions: key(),
            tolerance_pct,
            limit: 100,
            sort: RankingSort::ToleranceDistance,
            ..RankingQuery::default()
        };
        let ranking = fresh.store.ranking(ask.clone()).await;
        let ranking = ranking.expect("a working store");
        let (mut farthest, mut surely, mut known) = (Vec::new(), Vec::new(), Vec::new());
        for row in ranking.rows.iter().filter(|row| !row.results.is_empty()) {
            let page = fresh.store.lens_page(&row.lens.slug).await;
            let page = page.expect("a working store").expect("it is there");
            let outcomes: Vec<ToleranceOutcome> = page
                .results
                .iter()
                .map(|result| result.curve.tolerance_outcome(tolerance_pct))
                .collect();
            let shown: Vec<ToleranceOutcome> = row
                .results
                .iter()
                .map(|result| result.curve.tolerance_outcome(tolerance_pct))
                .collect();
            assert_eq!(shown, outcomes, "{}", row.lens.slug);
            let unknown =
                |outcome: &ToleranceOutcome| matches!(outcome, ToleranceOutcome::Unknown { .. });
            let nearest = page.results.iter().filter_map(|result| {
                let (_, near) = result.curve.range_dioptres()?;
                Some(1.0 / near)
            });
            let nearest = nearest.fold(f64::INFINITY, f64::min);
            // Marked at 0.45 m; what begins farther off is known from there on alone.
            let known_from = if nearest > 0.45 * 1.1 && nearest.is_finite() {
                nearest
            } else {
                0.0
            };
            known.push(known_from);
            // Where the curve is uncertain, the lens holds from farther off alone.
            let most = page.results.iter().map(|result| {
                let outcome = result.curve.tolerance_outcome(tolerance_pct);
                let measured = outcome.distance_m().map_or(0.0, |distance| distance.value);
                let open = LeftOpen::default().may_reach_m(&result.curve, tolerance_pct);
                open.unwrap_or(measured)
            });
            surely.push(most.fold(0.0, f64::max));
            farthest.push(if outcomes.iter().any(unknown) {
                f64::INFINITY
            } else {
                let distances = outcomes.iter().filter_map(ToleranceOutcome::distance_m);
                distances.map(|distance| distance.value).fold(0.0, f64::max)
            });
        }
        assert_eq!(farthest.len(), 44);
        assert!(farthest.is_sorted(), "{tolerance_pct}: {farthest:?}");
        for wanted in [0.4, 1.0, 5.0] {
            let holds = RankingQuery {
                holds_from_m: Some(wanted),
                ..ask.clone()
            };
            let found = fresh.store.ranking(holds).await.expect("a working store");
            let each = farthest.iter().zip(&surely).zip(&known);
            let expected = each.filter(|((distance, surely), known)| {
                **distance <= wanted && **surely <= wanted && **known <= wanted + 1e-9
            });
            assert_eq!(
                found.total,
                expected.count() as u64,
                "{tolerance_pct} % from {wanted} m"
            );
        }
    }
}

/// Read models of an older form are made anew when the database is opened.
#[tokio::test]
async fn read_models_of_an_older_form_are_made_anew() {
    let fresh = shelf().await;
    let before = names(&fresh, RankingQuery::default()).await;
    fresh.store.close().await;
    let path = fresh.folder.path().join("breathmark.sqlite");
    let mut other = connect(&fresh).await;
    for sql in [
        "DELETE FROM focal_results",
        "UPDATE content SET read_models = 0",
    ] {
        sqlx::query(sql)
            .execute(&mut other)
            .await
            .expect("a valid statement");
    }
    other.close().await.expect("closed");
    let store = breathmark::store::Store::open(&path).await;
    let opened = Fresh {
        store: store.expect("a whole database"),
        ..fresh
    };
    assert_eq!(names(&opened, RankingQuery::default()).await, before);
}

/// What the ranking knows of a sweep that ends before infinity: from publishing on, and in read models made anew.
#[tokio::test]
async fn a_row_knows_what_its_shifts_are_against() {
    let fresh = Fresh::new().await;
    let lens = fresh.lens("Ostrel", "Short", (40.0, 40.0)).await;
    let mut short = measurement(40.0, 4.4, 0.01);
    let summary = short.summary.as_mut().expect("it was measured");
    summary.relative_to_farthest = true;
    fresh.published(&lens, &off(), &short, NOW).await;
    let knows = async |store: &breathmark::store::Store| {
        let ask = RankingQuery {
            conditions: key(),
            limit: 10,
            ..RankingQuery::default()
        };
        let ranking = store.ranking(ask).await.expect("a working store");
        ranking.rows[0].results[0].relative_to_farthest
    };
    assert!(knows(&fresh.store).await);
    fresh.store.close().await;
    let path = fresh.folder.path().join("breathmark.sqlite");
    let mut other = connect(&fresh).await;
    // The form before this was kept.
    for sql in [
        "DELETE FROM focal_results",
        "UPDATE content SET read_models = 2",
    ] {
        sqlx::query(sql)
            .execute(&mut other)
            .await
            .expect("a valid statement");
    }
    other.close().await.expect("closed");
    let store = breathmark::store::Store::open(&path).await;
    assert!(knows(&store.expect("a whole database")).await);
}
