//! The ranking and what the front page takes from it.

use breathmark::store::{
    Conditions, ConditionsKey, Kind, RankedLens, RankingQuery, RankingSort, Switch,
};

use super::fixture::{Fresh, NOW, measurement, off};

pub(super) fn key() -> ConditionsKey {
    ConditionsKey {
        distortion_correction: Switch::Off,
        breathing_compensation: Switch::Off,
    }
}

/// Four published lenses, one that is not, one under other conditions only; each named by what it does.
pub(super) async fn shelf() -> Fresh {
    let fresh = Fresh::new().await;
    let zoom = fresh
        .lens("Ostrel", "Deep 24-105 f/2.8", (24.0, 105.0))
        .await;
    fresh
        .published(&zoom, &off(), &measurement(105.0, 3.8, 0.01), NOW + 5)
        .await;
    fresh
        .published(&zoom, &off(), &measurement(24.0, -1.0, 0.01), NOW + 1)
        .await;
    let calm = fresh.lens("Tindra", "Calm 50 f/1.8", (50.0, 50.0)).await;
    fresh
        .published(&calm, &off(), &measurement(50.0, 0.3, 0.01), NOW + 2)
        .await;
    let near = fresh
        .lens("Brackwell", "Near 150 f/2.8", (150.0, 150.0))
        .await;
    fresh
        .published(&near, &off(), &measurement(150.0, -2.1, 0.01), NOW + 3)
        .await;
    let blind = fresh
        .lens("Brackwell", "Blind 35 f/2.8", (35.0, 35.0))
        .await;
    let mut no_distances = measurement(35.0, 5.0, 0.01);
    if let Some(summary) = &mut no_distances.summary {
        let points = summary
            .curve
            .points()
            .iter()
            .map(|point| breathmark::sweep::CurvePoint {
                dioptres: None,
                ..*point
            });
        summary.curve = breathmark::sweep::ShiftCurve::new(points.collect());
    }
    fresh
        .published(&blind, &off(), &no_distances, NOW + 4)
        .await;
    let corrected = fresh
        .lens("Tindra", "Corrected 85 f/2.8", (85.0, 85.0))
        .await;
    let on = Conditions {
        distortion_correction: Switch::On,
        ..off()
    };
    fresh
        .published(&corrected, &on, &measurement(85.0, 0.1, 0.01), NOW + 6)
        .await;
    fresh
        .lens("Brackwell", "Absent 20 f/2.8", (20.0, 20.0))
        .await;
    fresh
}

/// The first word of a model.
pub(super) fn first_word(row: &RankedLens) -> String {
    let word = row.lens.about.model.split(' ').next();
    word.expect("a word").to_owned()
}

pub(super) async fn names(fresh: &Fresh, query: RankingQuery) -> Vec<String> {
    let query = RankingQuery {
        conditions: key(),
        limit: if query.limit == 0 { 50 } else { query.limit },
        ..query
    };
    let ranking = fresh.store.ranking(query).await.expect("a working store");
    ranking.rows.iter().map(first_word).collect()
}

#[tokio::test]
async fn every_sort_goes_both_ways_with_the_unmeasured_last() {
    let fresh = shelf().await;
    let sorted = async |sort, descending| {
        names(
            &fresh,
            RankingQuery {
                sort,
                descending,
                ..RankingQuery::default()
            },
        )
        .await
        .join(" ")
    };
    let last = "Absent Corrected";
    assert_eq!(
        sorted(RankingSort::WorstShift, false).await,
        format!("Calm Near Deep Blind {last}")
    );
    assert_eq!(
        sorted(RankingSort::WorstShift, true).await,
        format!("Blind Deep Near Calm {last}")
    );
    // Never beyond; beyond only nearer than 0.53 m; nearer than 0.95 m; unknown.
    assert_eq!(
        sorted(RankingSort::ToleranceDistance, false).await,
        format!("Calm Near Deep Blind {last}")
    );
    assert_eq!(
        sorted(RankingSort::ToleranceDistance, true).await,
        format!("Deep Near Calm Blind {last}")
    );
    assert_eq!(
        sorted(RankingSort::Name, false).await,
        format!("Blind Near Deep Calm {last}")
    );
    assert_eq!(
        sorted(RankingSort::Name, true).await,
        format!("Calm Deep Near Blind {last}")
    );
    assert_eq!(
        sorted(RankingSort::Newest, false).await,
        format!("Deep Blind Near Calm {last}")
    );
    assert_eq!(
        sorted(RankingSort::Newest, true).await,
        format!("Calm Near Blind Deep {last}")
    );
}

#[tokio::test]
async fn filters_narrow_and_count() {
    let fresh = shelf().await;
    let words = |text: &str| text.split(' ').map(str::to_owned).collect::<Vec<_>>();
    let found = async |query: RankingQuery| {
        let query = RankingQuery {
            conditions: key(),
            limit: 50,
            ..query
        };
        let ranking = fresh.store.ranking(query.clone()).await;
        let ranking = ranking.expect("a working store");
        assert_eq!(ranking.rows.len() as u64, ranking.total);
        names(&fresh, query).await.join(" ")
    };
    let ask = |text: &str| RankingQuery {
        words: words(text),
        ..RankingQuery::default()
    };
    assert_eq!(found(ask("50 1.8")).await, "Calm", "150 is not 50");
    assert_eq!(found(ask("24-105")).await, "Deep");
    assert_eq!(found(ask("brack")).await, "Near Blind Absent");
    assert_eq!(found(ask("brack 35mm f/2.8")).await, "Blind");
    assert_eq!(found(ask("nothing")).await, "");
    assert_eq!(found(ask("' OR 1=1 --")).await, "");
    assert_eq!(
        found(RankingQuery {
            kind: Some(Kind::Zoom),
            ..RankingQuery::default()
        })
        .await,
        "Deep"
    );
    assert_eq!(
        found(RankingQuery {
            kind: Some(Kind::CineZoom),
            ..RankingQuery::default()
        })
        .await,
        ""
    );
    assert_eq!(
        found(RankingQuery {
            focal_mm: Some(50.0),
            ..RankingQuery::default()
        })
        .await,
        "Calm Deep"
    );
    assert_eq!(
        found(RankingQuery {
            focal_mm: Some(-1.0),
            ..RankingQuery::default()
        })
        .await,
        ""
    );
    assert_eq!(
        found(RankingQuery {
            mount: Some("Harrow lock".to_owned()),
            ..RankingQuery::default()
        })
        .await,
        ""
    );
    let mount = RankingQuery {
        mount: Some("skerry bayonet".to_owned()),
        ..ask("tindra")
    };
    assert_eq!(found(mount).await, "Calm Corrected");
}

#[tokio::test]
async fn pages_join_without_gap_or_double() {
    let fresh = shelf().await;
    let all = names(&fresh, RankingQuery::default()).await;
    assert_eq!(all.len(), 6);
    for sort in [RankingSort::WorstShift, RankingSort::Name] {
        for limit in 1..=6 {
            let whole = RankingQuery {
                sort,
                ..RankingQuery::default()
            };
            let all = names(&fresh, whole.clone()).await;
            let mut joined = Vec::new();
            let mut after = None;
            loop {
                let query = RankingQuery {
                    conditions: key(),
                    limit,
                    after,
                    ..whole.clone()
                };
                let page = fresh.store.ranking(query).await.expect("a working store");
                assert_eq!((page.total, page.before), (6, joined.len() as u64));
                joined.extend(page.rows.iter().map(first_word));
                after = page.next;
                if after.is_none() {
                    break;
                }
            }
            assert_eq!(joined, all, "pages of {limit}");
        }
    }
}

#[tokio::test]
async fn a_row_has_the_results_of_its_conditions_shortest_focal_length_first() {
    let fresh = shelf().await;
    let query = RankingQuery {
        conditions: key(),
        limit: 3,
        ..RankingQuery::default()
    };
    let ranking = fresh.store.ranking(query).await.expect("a working store");
    let deep = &ranking.rows[2];
    assert_eq!(deep.published_ms, Some(NOW + 5));
    let shifts: Vec<_> = deep
        .results
        .iter()
        .map(|result| (result.focal_length_mm, result.worst_shift_pct.value))
        .collect();
    assert_eq!(shifts, [(24.0, -1.0), (105.0, 3.8)]);
}

#[tokio::test]
async fn conditions_are_kept_apart() {
    let fresh = shelf().await;
    let on = ConditionsKey {
        distortion_correction: Switch::On,
        ..key()
    };
    let in_use = fresh.store.conditions_in_use().await;
    assert_eq!(in_use.expect("a working store"), [(key(), 4), (on, 1)]);
    let corrected = RankingQuery {
        conditions: on,
        limit: 1,
        ..RankingQuery::default()
    };
    let ranking = fresh.store.ranking(corrected).await;
    let ranking = ranking.expect("a working store");
    assert_eq!(ranking.rows[0].lens.about.model, "Corrected 85 f/2.8");
    assert_eq!(ranking.rows[0].results.len(), 1);
}
