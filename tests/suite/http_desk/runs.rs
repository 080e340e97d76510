//! Brackets with a rest in them, and brackets without a rest between them, as a camera without distances writes them.

use breathmark::simulate::{ClockJump, Scene, SweepScript};

use super::bench::{Bench, SignedIn};

/// A bracket of eleven frames, 3 s apart, that begins so many frames after the first one.
fn bracket(after: u32) -> SweepScript {
    let mut script = SweepScript::plain(50.0, 2.0, 11);
    script.scene = Scene::two_targets(480, 320);
    script.capture.write_distances = false;
    script.capture.interval_s = 3.0;
    script.capture.first_number += after;
    script.capture.start += time::Duration::seconds(3 * i64::from(after));
    script.seed += u64::from(after);
    script
}

fn files(script: &SweepScript) -> Vec<(String, Vec<u8>)> {
    let file = |frame| {
        let bytes = script.jpeg(frame).expect("rendering to memory");
        (script.file_name(frame), bytes)
    };
    (0..script.frames).map(file).collect()
}

/// The sweeps of the only upload as they were measured: how many frames, worst shift.
async fn measured(reviewer: &SignedIn<'_>) -> Vec<(usize, f64)> {
    let store = &reviewer.bench.app.store;
    let sweeps = store.sweeps_of_upload(1).await.expect("readable");
    let mut found = Vec::new();
    for sweep in sweeps {
        reviewer.wait_until_measured(sweep).await;
        let sweep = store.sweep(sweep).await.expect("readable").expect("there");
        let measured = sweep.result.expect("a result").measurement;
        let summary = measured.summary.expect("no stop");
        found.push((measured.frames.len(), summary.worst_shift_pct.value));
    }
    found
}

fn is_two_pct(sweep: &(usize, f64)) -> bool {
    // 384 px between the targets: 0.05 points are 0.2 px, five times the noise of a centre at quality 90.
    sweep.0 == 11 && (sweep.1 - 2.0).abs() < 0.05
}

#[tokio::test]
async fn a_rest_within_a_bracket_parts_nothing() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let mut rested = bracket(0);
    rested.capture.clock_jump = Some(ClockJump {
        frame: 5,
        seconds: 40.0,
    });
    let sweep = mara.uploaded(&files(&rested)).await;
    mara.wait_until_measured(sweep).await;
    let found = measured(&mara).await;
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found.iter().all(is_two_pct), "{found:?}");
}

/// The first measurement shows that they are two; each gets a result of its own, under a name that tells them apart.
#[tokio::test]
async fn brackets_without_a_rest_between_them_become_sweeps_of_their_own() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let card = [files(&bracket(0)), files(&bracket(11))].concat();
    let sweep = mara.uploaded(&card).await;
    mara.wait_until_measured(sweep).await;
    let found = measured(&mara).await;
    assert_eq!(found.len(), 2, "{found:?}");
    assert!(found.iter().all(is_two_pct), "{found:?}");
    let page = mara.get("/desk/uploads/1").await.text();
    assert!(page.contains("sweep (2)"), "{page}");
    // A sweep that nobody named is called by its number, as on its own page.
    assert!(page.contains(&format!(">sweep {sweep}</a>")), "{page}");
}
