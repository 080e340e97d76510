//! Sweeps, the desk, changes.

use breathmark::store::{Conditions, JobState, Role, Said, StoreError, Switch, Whose};
use breathmark::sweep::{Code, Severity, SweepSettings};
use breathmark::units::{FocusDistance, Metres};

use super::fixture::{Fresh, NOW, measurement, off, with_finding};

#[tokio::test]
async fn a_sweep_is_read_with_all_that_is_known_of_it() {
    let fresh = Fresh::new().await;
    let store = &fresh.store;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let id = fresh.sweep(&lens, &off()).await;
    let sweep = store
        .sweep(id)
        .await
        .expect("a working store")
        .expect("made");
    assert_eq!(
        (sweep.account, sweep.reviewer.as_str(), sweep.name.as_str()),
        (fresh.reviewer, "Ines", "card")
    );
    assert_eq!((&sweep.lens, &sweep.conditions), (&lens, &off()));
    assert_eq!(sweep.files.len(), 3);
    assert_eq!(sweep.job.expect("queued").state, JobState::Waiting);
    assert!(sweep.result.is_none() && sweep.publications.is_empty());

    assert!(store.sweep(404).await.expect("a working store").is_none());
    assert_eq!(
        store.lens_of_sweep(id).await.expect("a working store"),
        Some(lens.id)
    );
    let whose = async |id| store.whose_sweep(id).await.expect("a working store");
    let own = Whose {
        account: fresh.reviewer,
        public_version: None,
    };
    assert_eq!((whose(id).await, whose(404).await), (Some(own), None));
    let frame = async |number| {
        let found = store.frame_original(id, number).await;
        found.expect("a working store")
    };
    assert_eq!(frame(2).await.as_ref(), Some(&sweep.files[1]));
    assert_eq!((frame(0).await, frame(4).await), (None, None));
}

#[tokio::test]
async fn the_desk_shows_own_sweeps_newest_first() {
    let fresh = Fresh::new().await;
    let store = &fresh.store;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let warned = with_finding(
        measurement(85.0, -1.5, 0.02),
        Code::CameraMoved,
        Severity::Warning,
    );
    let published = fresh.published(&lens, &off(), &warned, NOW).await;
    let waiting = fresh.sweep(&lens, &off()).await;

    let rows = store
        .desk(Some(fresh.reviewer), 10)
        .await
        .expect("a working store");
    assert_eq!(
        rows.iter().map(|row| row.id).collect::<Vec<_>>(),
        [waiting, published]
    );
    let (new, old) = (&rows[0], &rows[1]);
    assert_eq!(
        (
            new.lens.as_str(),
            new.lens_slug.as_str(),
            new.focal_length_mm
        ),
        ("Tindra Sound 85 f/1.8", lens.slug.as_str(), Some(85.0))
    );
    assert_eq!(
        (
            new.measured,
            new.worst_shift_pct,
            new.published,
            new.stopped
        ),
        (None, None, false, false)
    );
    assert_eq!(new.job.as_ref().expect("queued").state, JobState::Waiting);
    assert_eq!(
        (old.measured, old.worst_shift_pct, old.warnings),
        (Some(3), Some((-1.5, 0.02)), 1)
    );
    assert!(old.published && old.published_is_newest);
    assert_eq!(
        (new.frames, old.frames),
        (3, 3),
        "also before it is measured"
    );

    let other = store
        .add_account("Bo", Role::Reviewer, "x", NOW)
        .await
        .expect("a new name");
    assert!(
        store
            .desk(Some(other), 10)
            .await
            .expect("a working store")
            .is_empty()
    );
    assert_eq!(
        store.desk(None, 1).await.expect("a working store")[0].id,
        waiting,
        "everybody's, the newest"
    );
}

#[tokio::test]
async fn a_change_is_kept_and_measured_anew() {
    let fresh = Fresh::new().await;
    let store = &fresh.store;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let id = fresh
        .published(&lens, &off(), &measurement(85.0, 2.5, 0.01), NOW)
        .await;
    let settings = SweepSettings {
        closest_focus: Metres::new(0.8).ok(),
        ..SweepSettings::default()
    };
    store
        .change_sweep(
            id,
            |said| {
                said.settings = settings.clone();
                said.notes = "the ring slipped".to_owned();
            },
            NOW,
        )
        .await
        .expect("the sweep is there");

    let sweep = store
        .sweep(id)
        .await
        .expect("a working store")
        .expect("there");
    assert_eq!(
        (&sweep.settings, sweep.notes.as_str()),
        (&settings, "the ring slipped")
    );
    assert_eq!(sweep.job.expect("queued").state, JobState::Waiting);
    let public = store
        .published_sweep(id)
        .await
        .expect("a working store")
        .expect("still public")
        .sweep;
    assert_eq!(
        (public.settings, public.notes.as_str()),
        (SweepSettings::default(), ""),
        "what is public stays"
    );

    let running = store
        .claim_job(30_000, 3, NOW)
        .await
        .expect("a working store")
        .expect("it waits");
    let conditions = Conditions {
        breathing_compensation: Switch::On,
        ..off()
    };
    store
        .change_sweep(id, |said| said.conditions = conditions, NOW)
        .await
        .expect("the sweep is there");
    assert!(
        !store
            .heartbeat(&running, 1, 3, 30_000, NOW)
            .await
            .expect("a working store"),
        "it measures what is no longer so"
    );
    assert_eq!(store.job_counts().await.expect("a working store"), (1, 0));
    let input = store
        .sweep_input(id)
        .await
        .expect("a working store")
        .expect("there");
    assert_eq!(
        input.settings.closest_focus, settings.closest_focus,
        "the sweep's own word is the stronger one"
    );

    for refused in [
        store.change_sweep(404, |_| {}, NOW).await,
        store.queue_measurement(404, NOW).await,
    ] {
        assert!(
            matches!(refused, Err(StoreError::Conflict(_))),
            "{refused:?}"
        );
    }
}

/// Each change is made of what is said when its turn has come, not of what its writer had read.
#[tokio::test]
async fn changes_at_the_same_time_all_stand() {
    let fresh = Fresh::new().await;
    let store = &fresh.store;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let other = fresh.lens("Ostrel", "Tern 85", (85.0, 85.0)).await;
    let id = fresh.sweep(&lens, &off()).await;
    let leave_out = |file: &'static str| {
        let change = move |said: &mut Said| {
            said.settings
                .left_out
                .insert(file.to_owned(), "a hand".to_owned());
        };
        store.change_sweep(id, change, NOW)
    };
    let note = |said: &mut Said| said.notes = "the ring slipped".to_owned();
    let (one, two, moved) = tokio::join!(
        leave_out("SWP_0001.JPG"),
        leave_out("SWP_0002.JPG"),
        store.move_sweep(id, &other, note, fresh.reviewer.into(), NOW),
    );
    one.and(two).and(moved).expect("the sweep is there");
    let sweep = store.sweep(id).await.expect("a working store");
    let sweep = sweep.expect("there");
    let left_out: Vec<&String> = sweep.settings.left_out.keys().collect();
    assert_eq!(left_out, ["SWP_0001.JPG", "SWP_0002.JPG"]);
    assert_eq!(sweep.lens, other);
    assert_eq!(sweep.notes, "the ring slipped");

    // What can't be moved is not changed either.
    let back = |said: &mut Said| said.notes = "moved back".to_owned();
    let refused = store
        .move_sweep(id, &other, back, fresh.reviewer.into(), NOW)
        .await;
    assert!(matches!(refused, Err(StoreError::Conflict(_))));
    let sweep = store.sweep(id).await.expect("a working store");
    assert_eq!(sweep.expect("there").notes, "the ring slipped");
}

/// Distances from blur start at the closest focus marked on the lens, unless the sweep says another, or a distance.
#[tokio::test]
async fn the_lens_says_where_a_sweep_without_distances_starts() {
    let fresh = Fresh::new().await;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let id = fresh.sweep(&lens, &off()).await;
    let starts = async |settings: &SweepSettings| {
        let store = &fresh.store;
        store
            .change_sweep(id, |said| said.settings = settings.clone(), NOW)
            .await
            .expect("the sweep is there");
        let input = store.sweep_input(id).await.expect("a working store");
        input.expect("there").settings.closest_focus
    };
    let silent = SweepSettings::default();
    assert_eq!(starts(&silent).await, Metres::new(0.45).ok());
    let said_so = SweepSettings {
        closest_focus: Metres::new(0.8).ok(),
        ..silent.clone()
    };
    assert_eq!(starts(&said_so).await, Metres::new(0.8).ok());
    let infinity = [("SWP_0003.JPG".to_owned(), FocusDistance::Infinity)];
    let with_distance = SweepSettings {
        distances: infinity.into(),
        ..silent
    };
    assert_eq!(starts(&with_distance).await, None);
}
