//! Held jobs on a real database: how each of them ends.

use super::*;
use crate::intake::Originals;
use crate::store::{Conditions, JobState, Kind, LensDraft, Role, Said, SweepDraft, UploadFile};
use crate::sweep::{DistanceSource, FrameInfo, SweepSettings};

const TIMING: Timing = Timing {
    lease: Duration::from_secs(30),
    heartbeat: Duration::from_millis(10),
    poll: Duration::from_millis(10),
    shortest_pause: Duration::from_millis(1),
    longest_pause: Duration::from_millis(5),
};

/// A store with one sweep of one frame that waits to be measured.
async fn one_waiting(folder: &tempfile::TempDir) -> (Store, SweepId) {
    let store = Store::open(&folder.path().join("breathmark.sqlite"))
        .await
        .expect("a new database");
    let account = store
        .add_account("Ines", Role::Reviewer, "not a hash", 0)
        .await
        .expect("a first account");
    let lens = LensDraft {
        maker: "Tindra".to_owned(),
        model: "Sound 85 f/1.8".to_owned(),
        mount: "Harrow lock".to_owned(),
        kind: Kind::Prime,
        focal_min_mm: 85.0,
        focal_max_mm: 85.0,
        max_aperture: 1.8,
        closest_focus_m: None,
    };
    let lens = store.add_lens(&lens, None, 0).await.expect("a new lens");
    let upload = store
        .open_upload(account, lens.id, &Conditions::default(), 0)
        .await
        .expect("an upload");
    let file = UploadFile {
        name: "SWP_0001.JPG".to_owned(),
        sha256: "a".repeat(64),
        bytes: 1,
        info: FrameInfo::default(),
    };
    store
        .add_upload_file(upload, &file, 0)
        .await
        .expect("a new file");
    let draft = SweepDraft {
        lens: None,
        name: "card".to_owned(),
        settings: SweepSettings::default(),
        files: vec![file],
    };
    let sweeps = store
        .finish_upload(upload, 1, &[draft], 0)
        .await
        .expect("an open upload");
    (store, sweeps[0])
}

async fn claim(store: &Store) -> (Held, Arc<SweepInput>) {
    let job = store
        .claim_job(TIMING.lease_ms(), MAX_ATTEMPTS, now_ms())
        .await
        .expect("a working store")
        .expect("a waiting job");
    let input = store
        .sweep_input(job.sweep)
        .await
        .expect("a working store")
        .expect("the sweep is there");
    let held = Held {
        store: store.clone(),
        timing: TIMING,
        job,
    };
    (held, Arc::new(input))
}

fn nothing_measured(input: &SweepInput) -> Outcome {
    let measurement = SweepMeasurement {
        name: input.name.clone(),
        focal_length: None,
        f_number: None,
        camera: None,
        lens: None,
        captured_at: None,
        picture_size_px: None,
        frames: Vec::new(),
        summary: None,
        distance_source: DistanceSource::None,
        closest_focus: None,
        findings: Vec::new(),
    };
    (measurement, Vec::new())
}

/// Runs until the course is dropped, as a long measurement does.
fn until_dropped(input: &SweepInput, course: &Course) -> Outcome {
    while !course.is_dropped() {
        std::thread::sleep(Duration::from_millis(1));
    }
    nothing_measured(input)
}

async fn job(store: &Store, sweep: SweepId) -> crate::store::JobView {
    store
        .job_view(sweep)
        .await
        .expect("a working store")
        .expect("a job")
}

#[tokio::test]
async fn a_panic_fails_its_job_with_words_and_the_third_sets_it_aside() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (store, sweep) = one_waiting(&folder).await;
    let stop = CancellationToken::new();
    for attempt in 1..=MAX_ATTEMPTS {
        let (held, input) = claim(&store).await;
        let ended = held
            .carry_out(input, |_, _| panic!("a defect"), &stop)
            .await;
        assert_eq!(ended, Ended::Over);
        let view = job(&store, sweep).await;
        assert_eq!(view.attempts, attempt);
        let words = view.error.expect("what went wrong");
        assert!(words.contains("a defect"), "{words}");
    }
    assert_eq!(job(&store, sweep).await.state, JobState::SetAside);
}

#[tokio::test]
async fn at_a_shutdown_the_job_is_given_back_uncounted() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (store, sweep) = one_waiting(&folder).await;
    let (held, input) = claim(&store).await;
    let stop = CancellationToken::new();
    let stopping = stop.clone();
    tokio::spawn(async move {
        tokio::time::sleep(Duration::from_millis(30)).await;
        stopping.cancel();
    });
    held.carry_out(input, until_dropped, &stop).await;
    let view = job(&store, sweep).await;
    assert_eq!((view.state, view.attempts), (JobState::Waiting, 0));
    let stored = store.sweep(sweep).await.expect("a working store");
    assert!(stored.expect("the sweep").result.is_none());
}

#[tokio::test]
async fn a_changed_sweep_takes_its_job_away_and_the_old_measurement_is_dropped() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (store, sweep) = one_waiting(&folder).await;
    let (held, input) = claim(&store).await;
    store
        .change_sweep(sweep, |said| *said = Said::default(), now_ms())
        .await
        .expect("the sweep is there");
    let ended = held
        .carry_out(input, until_dropped, &CancellationToken::new())
        .await;
    assert_eq!(ended, Ended::Over);
    let view = job(&store, sweep).await;
    assert_eq!((view.state, view.attempts), (JobState::Waiting, 0));
}

/// Measures with the originals of a folder that has none for the sweep; the job afterwards.
async fn without_its_original(
    folder: &tempfile::TempDir,
    originals: Originals,
) -> crate::store::JobView {
    let (store, sweep) = one_waiting(folder).await;
    let (held, input) = claim(&store).await;
    let threads = rayon::ThreadPoolBuilder::new().num_threads(1).build();
    let measuring = crate::worker::measuring::with_originals(
        originals,
        crate::intake::Limits::default(),
        Arc::new(threads.expect("a thread")),
    );
    let ended = held
        .carry_out(input, measuring, &CancellationToken::new())
        .await;
    assert_eq!(ended, Ended::Faulted, "it asks for a rest");
    job(&store, sweep).await
}

#[tokio::test]
async fn a_missing_original_counts_a_try() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let originals = Originals::open(folder.path()).expect("a writable folder");
    originals
        .keep(&mut &b"another one"[..], 100)
        .expect("a disk that works");
    let view = without_its_original(&folder, originals).await;
    assert_eq!((view.state, view.attempts), (JobState::Waiting, 1));
    let words = view.error.expect("what went wrong");
    assert!(
        words.contains("SWP_0001.JPG") || words.contains(&"a".repeat(64)),
        "{words}"
    );
}

#[tokio::test]
async fn a_disk_that_is_away_costs_no_try() {
    let kept = |folder: &tempfile::TempDir| {
        let originals = Originals::open(folder.path()).expect("a writable folder");
        let other = originals.keep(&mut &b"another one"[..], 100);
        other.expect("a disk that works");
        originals
    };
    let unmounted = |originals: &Originals| {
        std::fs::remove_dir_all(originals.folder()).expect("removed");
        std::fs::create_dir(originals.folder()).expect("where it was mounted");
    };
    let gone = |originals: &Originals| {
        std::fs::remove_dir_all(originals.folder()).expect("removed");
    };
    let dead = |originals: &Originals| {
        std::fs::remove_dir(originals.tmp()).expect("nothing can be written");
    };
    for away in [&unmounted as &dyn Fn(&Originals), &gone, &dead] {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let originals = kept(&folder);
        away(&originals);
        let view = without_its_original(&folder, originals).await;
        assert_eq!((view.state, view.attempts), (JobState::Waiting, 0));
    }
}

#[tokio::test]
async fn the_heartbeat_carries_progress() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (store, sweep) = one_waiting(&folder).await;
    let (held, input) = claim(&store).await;
    let stop = CancellationToken::new();
    let watched = async {
        loop {
            let view = job(&store, sweep).await;
            if view.frames_done == 1 {
                assert_eq!((view.state, view.frames_total), (JobState::Running, 1));
                stop.cancel();
                return;
            }
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
    };
    let measuring = |input: &SweepInput, course: &Course| {
        course.note(1);
        until_dropped(input, course)
    };
    tokio::time::timeout(Duration::from_secs(5), async {
        tokio::join!(held.carry_out(input, measuring, &stop), watched)
    })
    .await
    .expect("progress is seen");
}
