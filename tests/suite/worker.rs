//! The worker on a real data folder: rendered frames go in as an upload, results come out of the database.

use std::sync::OnceLock;
use std::time::{Duration, Instant};

use breathmark::app::{App, AppError};
use breathmark::config::Config;
use breathmark::measure::Toned;
use breathmark::simulate::{Scene, SweepScript};
use breathmark::store::{Conditions, JobState, JobView, Kind, LensDraft, Role, SweepId, now_ms};
use breathmark::sweep::{self, FrameState};
use breathmark::worker::{Timing, Worker};
use clap::{Args, FromArgMatches};

/// Nothing here takes long: what is not done after this never will be.
const SOON: Duration = Duration::from_secs(20);

const QUICK: Timing = Timing {
    lease: Duration::from_millis(400),
    heartbeat: Duration::from_millis(50),
    poll: Duration::from_millis(20),
    shortest_pause: Duration::from_millis(5),
    longest_pause: Duration::from_millis(20),
};

/// Twelve small frames of an 85 mm lens that breathes by 2.5 %, as files with their metadata.
fn frames() -> &'static [(String, Vec<u8>)] {
    static FRAMES: OnceLock<Vec<(String, Vec<u8>)>> = OnceLock::new();
    FRAMES.get_or_init(|| {
        let mut script = SweepScript::plain(85.0, 2.5, 12);
        script.scene = Scene::two_targets(640, 480);
        let render = |frame| {
            let bytes = script.jpeg(frame).expect("a small picture");
            (script.file_name(frame), bytes)
        };
        (0..12).map(render).collect()
    })
}

struct Bench {
    app: App,
    upload_account: i64,
    lens: i64,
    data: tempfile::TempDir,
}

fn config(data: &std::path::Path) -> Config {
    let command = Config::augment_args(clap::Command::new("serve"));
    let arguments = ["serve", "--data", data.to_str().expect("a plain path")];
    let matches = command
        .try_get_matches_from(arguments)
        .expect("valid arguments");
    Config::from_arg_matches(&matches).expect("defaults for the rest")
}

impl Bench {
    async fn new() -> Self {
        let data = tempfile::tempdir().expect("a temporary folder");
        let app = App::open(config(data.path()))
            .await
            .expect("a new data folder");
        let upload_account = app
            .store
            .add_account("Ines", Role::Reviewer, "not a hash", now_ms())
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
            closest_focus_m: Some(0.85),
        };
        let lens = app
            .store
            .add_lens(&lens, None, now_ms())
            .await
            .expect("a new lens")
            .id;
        Self {
            app,
            upload_account,
            lens,
            data,
        }
    }

    /// Uploads the frames as one sweep.
    async fn upload(&self, frames: &[(String, Vec<u8>)]) -> SweepId {
        let store = &self.app.store;
        let id = store
            .open_upload(
                self.upload_account,
                self.lens,
                &Conditions::default(),
                now_ms(),
            )
            .await
            .expect("an account and a lens");
        for (name, bytes) in frames {
            self.app
                .receive_file(id, name, bytes.clone(), now_ms())
                .await
                .expect("a new file");
        }
        let upload = store
            .upload(id)
            .await
            .expect("a working store")
            .expect("just opened");
        let sweeps = self
            .app
            .finish_upload(&upload, now_ms())
            .await
            .expect("an open upload");
        assert_eq!(sweeps.len(), 1, "one sweep");
        sweeps[0]
    }

    fn worker(&self, timing: Timing) -> Worker {
        Worker {
            store: self.app.store.clone(),
            originals: self.app.originals.clone(),
            limits: self.app.config.limits(),
            wake: self.app.wake.clone(),
            threads: 2,
            timing,
        }
    }

    async fn job(&self, sweep: SweepId) -> JobView {
        self.app
            .store
            .job_view(sweep)
            .await
            .expect("a working store")
            .expect("a job")
    }

    /// Waits until the job of the sweep is in this state.
    async fn until(&self, sweep: SweepId, state: JobState) -> JobView {
        let started = Instant::now();
        loop {
            let view = self.job(sweep).await;
            if view.state == state {
                return view;
            }
            assert!(started.elapsed() < SOON, "still {view:?}");
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
    }

    async fn result(&self, sweep: SweepId) -> sweep::SweepMeasurement {
        let sweep = self.app.store.sweep(sweep).await.expect("a working store");
        sweep.expect("there").result.expect("measured").measurement
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_upload_is_measured_at_once_and_exactly_as_by_hand() {
    let bench = Bench::new().await;
    // Nobody looks for work by himself in this test: the bell alone brings the worker.
    let deaf = Timing {
        poll: Duration::from_secs(3600),
        ..Timing::default()
    };
    let running = tokio::spawn(bench.worker(deaf).run(bench.app.stop.clone()));
    tokio::time::sleep(Duration::from_millis(50)).await;
    let sweep = bench.upload(frames()).await;
    let view = bench.until(sweep, JobState::Done).await;
    assert_eq!(
        (view.attempts, view.frames_done, view.frames_total),
        (1, 12, 12)
    );

    let stored = bench.result(sweep).await;
    let input = bench
        .app
        .store
        .sweep_input(sweep)
        .await
        .expect("a working store")
        .expect("there");
    let infos: Vec<_> = input
        .frames
        .iter()
        .map(|frame| frame.info.clone())
        .collect();
    let limits = bench.app.config.limits();
    let load = |index: usize| {
        let bytes = bench
            .app
            .originals
            .read(&input.frames[index].sha256)
            .expect("kept");
        Ok(breathmark::intake::decode_plane(&bytes, &limits).expect("a picture"))
    };
    let mut by_hand = sweep::measure(&input.name, &infos, &load, &input.settings, &|_, _| {});
    // What only judging a sweep takes of a target is not stored.
    for target in by_hand
        .frames
        .iter_mut()
        .flat_map(|frame| &mut frame.targets)
    {
        target.spots.clear();
        target.beside.clear();
        target.toned = Toned::default();
    }
    assert_eq!(stored, by_hand);
    let worst = stored.summary.expect("a good sweep").worst_shift_pct.value;
    // A third of the usual width and blur: a fifth of a point is far above the noise and far below the shift.
    assert!((worst - 2.5).abs() < 0.2, "{worst}");

    bench.app.stop.cancel();
    tokio::time::timeout(SOON, running)
        .await
        .expect("it ends")
        .expect("no panic");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broken_picture_costs_its_frame_only() {
    let bench = Bench::new().await;
    let mut files = frames().to_vec();
    let half = files[5].1.len() / 2;
    files[5].1.truncate(half);
    let sweep = bench.upload(&files).await;
    let running = tokio::spawn(bench.worker(QUICK).run(bench.app.stop.clone()));
    bench.until(sweep, JobState::Done).await;
    let measured = bench.result(sweep).await;
    let failed: Vec<_> = measured
        .frames
        .iter()
        .filter(|frame| matches!(frame.state, FrameState::Failed(_)))
        .map(|frame| frame.info.file.clone())
        .collect();
    // A reader that salvages what is there may measure it; one that does not has to name it.
    assert!(
        failed.is_empty() || failed == [files[5].0.clone()],
        "{failed:?}"
    );
    assert!(measured.summary.is_some());
    bench.app.stop.cancel();
    running.await.expect("no panic");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_workers_never_do_one_job_twice() {
    let bench = Bench::new().await;
    let mut sweeps = Vec::new();
    for skipped in 0..4 {
        // Different frames, so different sweeps.
        sweeps.push(bench.upload(&frames()[skipped..]).await);
    }
    let workers = [1, 2].map(|_| {
        tokio::spawn(
            bench
                .worker(Timing {
                    poll: QUICK.poll,
                    ..Timing::default()
                })
                .run(bench.app.stop.clone()),
        )
    });
    for sweep in &sweeps {
        assert_eq!(bench.until(*sweep, JobState::Done).await.attempts, 1);
    }
    bench.app.stop.cancel();
    for worker in workers {
        worker.await.expect("no panic");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_job_whose_worker_vanished_goes_on_when_its_lease_runs_out() {
    let bench = Bench::new().await;
    let sweep = bench.upload(frames()).await;
    let lease = i64::try_from(QUICK.lease.as_millis()).expect("short");
    let lost = bench
        .app
        .store
        .claim_job(lease, 3, now_ms())
        .await
        .expect("a working store")
        .expect("it waits");
    let running = tokio::spawn(bench.worker(QUICK).run(bench.app.stop.clone()));
    tokio::time::sleep(QUICK.lease / 4).await;
    assert_eq!(
        bench.job(sweep).await.state,
        JobState::Running,
        "not before its lease runs out"
    );
    assert_eq!(bench.until(sweep, JobState::Done).await.attempts, 2);
    assert!(
        !bench
            .app
            .store
            .heartbeat(&lost, 0, 12, lease, now_ms())
            .await
            .expect("a working store")
    );
    bench.app.stop.cancel();
    running.await.expect("no panic");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stop_is_quick_and_the_work_is_done_at_the_next_start() {
    let bench = Bench::new().await;
    let mut sweeps = Vec::new();
    for skipped in 0..3 {
        sweeps.push(bench.upload(&frames()[skipped..]).await);
    }
    let first = tokio::spawn(bench.worker(QUICK).run(bench.app.stop.clone()));
    tokio::time::sleep(Duration::from_millis(30)).await;
    bench.app.stop.cancel();
    let stopped = Instant::now();
    tokio::time::timeout(SOON, first)
        .await
        .expect("it ends")
        .expect("no panic");
    // One frame of 640 × 480 px takes some milliseconds; the whole program has 15 s to stop in, the worker a third of it.
    assert!(
        stopped.elapsed() < Duration::from_secs(5),
        "{:?}",
        stopped.elapsed()
    );
    for sweep in &sweeps {
        let view = bench.job(*sweep).await;
        let untouched = view.state == JobState::Waiting && view.attempts == 0;
        assert!(untouched || view.state == JobState::Done, "{view:?}");
    }

    let stop = tokio_util::sync::CancellationToken::new();
    let second = tokio::spawn(bench.worker(QUICK).run(stop.clone()));
    for sweep in &sweeps {
        assert_eq!(bench.until(*sweep, JobState::Done).await.attempts, 1);
    }
    stop.cancel();
    second.await.expect("no panic");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_missing_original_sets_the_job_aside_and_others_go_on() {
    let bench = Bench::new().await;
    let broken = bench.upload(frames()).await;
    let good = bench.upload(&frames()[1..]).await;
    let input = bench
        .app
        .store
        .sweep_input(broken)
        .await
        .expect("a working store")
        .expect("there");
    // The first frame belongs to the broken sweep alone.
    let original = bench.app.originals.path(&input.frames[0].sha256);
    let elsewhere = bench.data.path().join("elsewhere");
    std::fs::rename(&original, &elsewhere).expect("it is kept there");

    let running = tokio::spawn(bench.worker(QUICK).run(bench.app.stop.clone()));
    let view = bench.until(broken, JobState::SetAside).await;
    assert_eq!(view.attempts, 3);
    let words = view.error.expect("a reason");
    assert!(words.contains(&input.frames[0].info.file), "{words}");
    bench.until(good, JobState::Done).await;

    std::fs::rename(&elsewhere, &original).expect("put back");
    bench
        .app
        .store
        .retry_job(broken, now_ms())
        .await
        .expect("it is set aside");
    bench.app.wake.notify_one();
    assert_eq!(bench.until(broken, JobState::Done).await.attempts, 1);
    bench.app.stop.cancel();
    running.await.expect("no panic");
}

#[tokio::test]
async fn a_data_folder_has_one_owner() {
    let bench = Bench::new().await;
    let second = App::open(config(bench.data.path())).await;
    let Err(error @ AppError::Owned(_)) = second else {
        panic!("{second:?}");
    };
    assert!(
        error
            .to_string()
            .starts_with("another breathmark owns the data folder"),
        "{error}"
    );
    let Bench { app, data, .. } = bench;
    drop(app);
    App::open(config(data.path()))
        .await
        .expect("the first one is gone");
}
