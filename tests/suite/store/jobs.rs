//! Jobs: claimed once, kept alive, given back, set aside, finished once.

use breathmark::store::{ClaimedJob, JobState, StoreError};
use breathmark::sweep::{SweepMeasurement, SweepSettings};

use super::fixture::{Fresh, NOW, measurement, off};

const LEASE: i64 = 30_000;

#[tokio::test]
async fn a_job_is_claimed_once_oldest_first() {
    let fresh = Fresh::new().await;
    let store = &fresh.store;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let first = fresh.sweep(&lens, &off()).await;
    let second = fresh.sweep(&lens, &off()).await;
    let claim = async |now| {
        store
            .claim_job(LEASE, 3, now)
            .await
            .expect("a working store")
    };

    let one = claim(NOW).await.expect("two wait");
    let two = claim(NOW).await.expect("one waits");
    assert_eq!((one.sweep, two.sweep), (first, second));
    assert_eq!((one.attempt, two.attempt), (1, 1));
    assert_ne!(one.lease_token, two.lease_token);
    assert!(claim(NOW + LEASE - 1).await.is_none(), "both are held");

    assert!(
        store
            .heartbeat(&two, 2, 3, LEASE, NOW + 20_000)
            .await
            .expect("a working store")
    );
    let view = store
        .job_view(second)
        .await
        .expect("a working store")
        .expect("a job");
    assert_eq!(
        (
            view.state,
            view.attempts,
            view.frames_done,
            view.frames_total
        ),
        (JobState::Running, 1, 2, 3)
    );

    let taken = claim(NOW + LEASE).await.expect("the first lease ran out");
    assert_eq!((taken.sweep, taken.attempt), (first, 2));
    assert!(
        !store
            .heartbeat(&one, 1, 3, LEASE, NOW + LEASE)
            .await
            .expect("a working store"),
        "the lease was lost"
    );
    assert!(
        claim(NOW + LEASE).await.is_none(),
        "the second was kept alive"
    );
}

#[tokio::test]
async fn many_claims_at_once_never_give_one_job_twice() {
    let fresh = Fresh::new().await;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let mut sweeps = Vec::new();
    for _ in 0..6 {
        sweeps.push(fresh.sweep(&lens, &off()).await);
    }
    let claims = (0..12).map(|_| {
        let store = fresh.store.clone();
        tokio::spawn(async move {
            store
                .claim_job(LEASE, 3, NOW)
                .await
                .expect("a working store")
        })
    });
    let mut claimed = Vec::new();
    for claim in claims.collect::<Vec<_>>() {
        claimed.extend(claim.await.expect("no panic").map(|job| job.sweep));
    }
    claimed.sort_unstable();
    assert_eq!(claimed, sweeps);
}

#[tokio::test]
async fn three_failures_set_a_job_aside_and_a_retry_starts_from_none() {
    let fresh = Fresh::new().await;
    let store = &fresh.store;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let sweep = fresh.sweep(&lens, &off()).await;
    assert!(
        matches!(
            store.retry_job(sweep, NOW).await,
            Err(StoreError::Conflict(_))
        ),
        "nothing to retry yet"
    );
    for attempt in 1..=3 {
        let job = store
            .claim_job(LEASE, 3, NOW)
            .await
            .expect("a working store")
            .expect("it waits again");
        assert_eq!(job.attempt, attempt);
        store
            .fail_job(&job, "a frame broke it", 3, NOW)
            .await
            .expect("a working store");
    }
    assert!(
        store
            .claim_job(LEASE, 3, NOW)
            .await
            .expect("a working store")
            .is_none()
    );
    let view = store
        .job_view(sweep)
        .await
        .expect("a working store")
        .expect("a job");
    assert_eq!(
        (view.state, view.attempts, view.error.as_deref()),
        (JobState::SetAside, 3, Some("a frame broke it"))
    );
    assert_eq!(store.job_counts().await.expect("a working store"), (0, 1));
    let stuck = store.stuck_jobs(NOW).await.expect("a working store");
    assert_eq!(
        (stuck.len(), stuck[0].sweep, stuck[0].state),
        (1, sweep, JobState::SetAside)
    );

    store.retry_job(sweep, NOW).await.expect("it is set aside");
    let job = store
        .claim_job(LEASE, 3, NOW)
        .await
        .expect("a working store")
        .expect("it waits");
    assert_eq!(job.attempt, 1);
}

#[tokio::test]
async fn a_job_whose_worker_vanishes_three_times_is_set_aside() {
    let fresh = Fresh::new().await;
    let store = &fresh.store;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let sweep = fresh.sweep(&lens, &off()).await;
    for crash in 0..3 {
        let job = store
            .claim_job(LEASE, 3, NOW + crash * LEASE)
            .await
            .expect("a working store");
        assert_eq!(job.expect("its lease ran out").sweep, sweep);
    }
    assert_eq!(
        store
            .stuck_jobs(NOW + 4 * LEASE)
            .await
            .expect("a working store")
            .len(),
        1,
        "its lease ran out"
    );
    assert!(
        store
            .claim_job(LEASE, 3, NOW + 4 * LEASE)
            .await
            .expect("a working store")
            .is_none()
    );
    let view = store
        .job_view(sweep)
        .await
        .expect("a working store")
        .expect("a job");
    assert_eq!(view.state, JobState::SetAside);
    assert!(view.error.expect("a reason").contains("ended every time"));
}

#[tokio::test]
async fn leases_of_a_program_that_died_end_at_the_next_start_and_tries_stay_counted() {
    let fresh = Fresh::new().await;
    let store = &fresh.store;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let sweep = fresh.sweep(&lens, &off()).await;
    let claim = async || {
        store
            .claim_job(LEASE, 3, NOW)
            .await
            .expect("a working store")
    };
    for attempt in 1..=3 {
        let job = claim().await.expect("it is free");
        assert_eq!((job.sweep, job.attempt), (sweep, attempt));
        assert!(claim().await.is_none(), "it is held");
        store.end_leases().await.expect("a working store");
    }
    assert!(claim().await.is_none(), "three programs died of it");
    let view = store.job_view(sweep).await.expect("a working store");
    assert_eq!(view.expect("a job").state, JobState::SetAside);
}

#[tokio::test]
async fn a_job_given_back_waits_with_no_try_counted() {
    let fresh = Fresh::new().await;
    let store = &fresh.store;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    fresh.sweep(&lens, &off()).await;
    for _ in 0..5 {
        let job = store
            .claim_job(LEASE, 3, NOW)
            .await
            .expect("a working store")
            .expect("it waits");
        assert_eq!(job.attempt, 1);
        store.give_back_job(&job).await.expect("a working store");
        store
            .give_back_job(&job)
            .await
            .expect("given back already: no matter");
    }
}

#[tokio::test]
async fn a_result_is_stored_once_and_only_by_the_holder_of_the_lease() {
    let fresh = Fresh::new().await;
    let store = &fresh.store;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let sweep = fresh.sweep(&lens, &off()).await;
    let input = store
        .sweep_input(sweep)
        .await
        .expect("a working store")
        .expect("there");
    let lost = store
        .claim_job(LEASE, 3, NOW)
        .await
        .expect("a working store")
        .expect("it waits");
    let held = store
        .claim_job(LEASE, 3, NOW + LEASE)
        .await
        .expect("a working store")
        .expect("its lease ran out");
    let measured = measurement(85.0, 2.5, 0.01);
    let finish = async |job: &ClaimedJob, version: u32, measured: &SweepMeasurement, now: i64| {
        store
            .finish_job(job, &input, version, measured, now)
            .await
            .expect("a working store")
    };

    assert!(
        !finish(&lost, 1, &measured, NOW).await,
        "not with a lost lease"
    );
    assert!(
        store
            .sweep(sweep)
            .await
            .expect("a working store")
            .expect("there")
            .result
            .is_none()
    );
    assert!(finish(&held, 1, &measured, NOW + 1).await);
    assert!(
        !finish(&held, 1, &measured, NOW + 2).await,
        "the job is over"
    );
    let result = store
        .sweep(sweep)
        .await
        .expect("a working store")
        .expect("there")
        .result
        .expect("stored");
    assert_eq!((result.algorithm_version, result.measured_ms), (1, NOW + 1));
    assert_eq!(result.measurement, measured);

    let again = async |version, now| {
        store
            .queue_measurement(sweep, now)
            .await
            .expect("the sweep is there");
        store
            .queue_measurement(sweep, now)
            .await
            .expect("one waits already");
        assert_eq!(store.job_counts().await.expect("a working store"), (1, 0));
        let job = store
            .claim_job(LEASE, 3, now)
            .await
            .expect("a working store")
            .expect("it waits");
        assert!(finish(&job, version, &measured, now).await);
        store
            .sweep(sweep)
            .await
            .expect("a working store")
            .expect("there")
            .result
            .expect("stored")
    };
    let same = again(1, NOW + 5).await;
    assert_eq!(
        (same.id, same.measured_ms),
        (result.id, NOW + 1),
        "the same input: the same row"
    );
    assert_eq!(
        store.outdated_sweeps(2).await.expect("a working store"),
        [sweep]
    );
    let newer = again(2, NOW + 6).await;
    assert!(newer.id != result.id && newer.algorithm_version == 2);
    assert!(
        store
            .outdated_sweeps(2)
            .await
            .expect("a working store")
            .is_empty()
    );
}

#[tokio::test]
async fn the_input_hash_follows_frames_and_settings() {
    let fresh = Fresh::new().await;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let sweep = fresh.sweep(&lens, &off()).await;
    let input = fresh
        .store
        .sweep_input(sweep)
        .await
        .expect("a working store")
        .expect("there");
    let hash = input.sha256().expect("finite numbers");
    assert_eq!(hash.len(), 64);
    assert_eq!(input.clone().sha256().expect("finite numbers"), hash);
    let mut other = input.clone();
    other.frames[0].sha256 = "f".repeat(64);
    assert_ne!(other.sha256().expect("finite numbers"), hash);
    let mut other = input.clone();
    other.settings = SweepSettings {
        last_not_at_infinity: true,
        ..other.settings
    };
    assert_ne!(other.sha256().expect("finite numbers"), hash);
    let mut other = input;
    other.frames[0].info.lens = Some("another".to_owned());
    assert_ne!(other.sha256().expect("finite numbers"), hash);
    assert!(
        fresh
            .store
            .sweep_input(404)
            .await
            .expect("a working store")
            .is_none()
    );
}

#[tokio::test]
async fn a_result_with_a_number_that_is_none_is_refused() {
    let fresh = Fresh::new().await;
    let store = &fresh.store;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let sweep = fresh.sweep(&lens, &off()).await;
    let job = store
        .claim_job(LEASE, 3, NOW)
        .await
        .expect("a working store")
        .expect("it waits");
    let input = store
        .sweep_input(sweep)
        .await
        .expect("a working store")
        .expect("there");
    let refused = store
        .finish_job(&job, &input, 1, &measurement(85.0, 1.0, f64::NAN), NOW)
        .await;
    assert!(matches!(refused, Err(StoreError::Damaged(_))));
    let view = store
        .job_view(sweep)
        .await
        .expect("a working store")
        .expect("a job");
    assert_eq!(view.state, JobState::Running, "the job is still held");
}
