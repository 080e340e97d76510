//! Publishing, withdrawing, versions, repeats.

use breathmark::store::StoreError;
use breathmark::sweep::{Code, Severity, ToleranceOutcome};

use super::fixture::{Fresh, NOW, measurement, off, with_finding};

fn conflict<T: std::fmt::Debug>(outcome: Result<T, StoreError>) -> String {
    match outcome {
        Err(StoreError::Conflict(words)) => words,
        other => panic!("expected a conflict, not {other:?}"),
    }
}

#[tokio::test]
async fn a_published_sweep_is_on_the_page_of_its_lens() {
    let fresh = Fresh::new().await;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let sweep = fresh
        .published(&lens, &off(), &measurement(85.0, 2.5, 0.01), NOW)
        .await;

    let page = fresh
        .store
        .lens_page(&lens.slug)
        .await
        .expect("a working store")
        .expect("the lens");
    assert_eq!(page.results.len(), 1);
    let result = &page.results[0];
    assert_eq!(result.sweeps, [sweep]);
    assert_eq!(result.reviewers, ["Ines"]);
    assert_eq!(
        result.worst_shift_pct,
        measurement(85.0, 2.5, 0.01)
            .summary
            .expect("a verdict")
            .worst_shift_pct
    );
    assert_eq!(result.target_distance_m, Some(2.0));
    // 2.5 % at 2 dioptres in a straight line: 2 % is reached at 1.6.
    let ToleranceOutcome::Exceeded { dioptres, .. } = result.tolerance else {
        panic!("2.5 % exceeds 2 %: {:?}", result.tolerance);
    };
    assert!((dioptres.value - 1.6).abs() < 0.02, "{dioptres:?}");
    assert_eq!(
        page.history,
        [(NOW, sweep, "version 1 published".to_owned())]
    );

    let published = fresh
        .store
        .published_sweep(sweep)
        .await
        .expect("a working store")
        .expect("public");
    assert_eq!(published.version, 1);
    assert_eq!(
        published.sweep.result.expect("its result").measurement,
        measurement(85.0, 2.5, 0.01)
    );
    assert!(
        published.sweep.job.is_none(),
        "jobs are nobody else's business"
    );
}

#[tokio::test]
async fn what_cannot_be_published_is_refused_with_the_reason() {
    let fresh = Fresh::new().await;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let publish = async |sweep| conflict(fresh.store.publish(sweep, fresh.reviewer, NOW).await);
    assert!(publish(404).await.contains("no such sweep"));

    let sweep = fresh.sweep(&lens, &off()).await;
    assert!(publish(sweep).await.contains("being measured"));

    let stopped = with_finding(
        measurement(85.0, 1.0, 0.01),
        Code::TooFewFrames,
        Severity::Stop,
    );
    fresh.measured(sweep, &stopped).await;
    assert!(publish(sweep).await.contains("stops"));

    let sweep = fresh.sweep(&lens, &off()).await;
    let mut unknown = measurement(85.0, 1.0, 0.01);
    unknown.focal_length = None;
    fresh.measured(sweep, &unknown).await;
    assert!(publish(sweep).await.contains("focal length"));

    let sweep = fresh
        .published(&lens, &off(), &measurement(85.0, 1.0, 0.01), NOW)
        .await;
    assert!(publish(sweep).await.contains("public already"));
    assert!(
        fresh
            .store
            .integrity_check()
            .await
            .expect("a working store")
            .is_empty()
    );
}
