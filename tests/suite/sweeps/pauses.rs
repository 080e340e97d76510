//! Pauses within a sweep and between sweeps, and sweeps without a pause between them.

use breathmark::simulate::{Breathing, LensModel};
use breathmark::sweep::Severity;

use super::rig::codes;
use super::*;

/// Sweeps of 24 frames, 3 s apart, without distances; blur at infinity over that at closest focus is from a half to one and
/// a half.
fn untold(closest_m: f64, worst_pct: f64) -> SweepScript {
    let mut script = small(85.0, worst_pct);
    script.frames = 24;
    script.closest_focus_m = closest_m;
    script.lens = LensModel {
        f_number: 5.6,
        breathing: Breathing::reaching(worst_pct, closest_m),
        ..LensModel::still(85.0)
    };
    script.capture.write_distances = false;
    script.capture.interval_s = 3.0;
    script
}

/// Frames of brackets one after another, each begun so many seconds after the one before would have gone on.
fn one_after_another(script: &SweepScript, pauses_s: &[f64]) -> Files {
    let mut all = Files {
        infos: Vec::new(),
        bytes: Vec::new(),
    };
    for pause_s in std::iter::once(&0.0).chain(pauses_s) {
        let mut next = script.clone();
        next.capture.first_number += all.infos.len() as u32;
        next.seed += all.infos.len() as u64;
        let begun_s = 3.0 * all.infos.len() as f64 + pause_s;
        next.capture.start += time::Duration::seconds_f64(begun_s);
        let files = Files::of(&next);
        all.infos.extend(files.infos);
        all.bytes.extend(files.bytes);
    }
    all
}

fn sizes(files: &Files) -> Vec<usize> {
    let groups = sweep::split_looking(&files.infos, "card", &|frame| files.load(frame));
    groups.iter().map(|group| group.frames.len()).collect()
}

/// Half a minute's rest in the middle of a bracket parts nothing; the same rest between two brackets parts them.
#[test]
fn a_rest_within_a_bracket_is_told_from_one_between_two() {
    for (closest_m, worst_pct) in [(0.85, 2.0), (1.1, -1.0), (1.2, 4.0)] {
        let script = untold(closest_m, worst_pct);
        let name = format!("{closest_m} m, {worst_pct} %");
        for rests in [vec![1], vec![2], vec![12], vec![21], vec![6, 15]] {
            let mut files = Files::of(&script);
            for rest in &rests {
                for info in &mut files.infos[*rest..] {
                    let time = info.captured_at.as_mut().expect("a time");
                    time.local += time::Duration::seconds(30);
                }
            }
            assert_eq!(sizes(&files), [24], "{name}, rests before {rests:?}");
        }
        let twice = one_after_another(&script, &[30.0]);
        assert_eq!(sizes(&twice), [24, 24], "{name}");
        // To infinity, a rest, and back: that is no sweep.
        let mut back = twice;
        back.bytes[24..].reverse();
        assert_eq!(sizes(&back), [24, 24], "{name}, back");
    }
}

/// Pictures that can't be read leave what the files say.
#[test]
fn pictures_that_cannot_be_read_join_nothing() {
    let files = one_after_another(&untold(0.85, 2.0), &[30.0]);
    let broken = |_| Err(Unmeasurable::NoTargets);
    assert_eq!(sweep::split_looking(&files.infos, "card", &broken).len(), 2);
}

/// Brackets one after the other without a pause are one group of files. Measuring finds that they are several, and where each
/// begins; alone, each is a sweep.
#[test]
fn runs_without_a_pause_are_found_and_named() {
    for (closest_m, worst_pct, repeats) in [(0.85, 2.0, 1), (1.1, -1.0, 1), (1.2, 4.0, 2)] {
        let script = untold(closest_m, worst_pct);
        let name = format!("{closest_m} m, {worst_pct} %");
        let files = one_after_another(&script, &vec![0.0; repeats]);
        assert_eq!(sizes(&files), [24 * (repeats + 1)], "{name}");
        let settings = SweepSettings::default();
        let (measured, runs) = files.measure_runs(&settings);
        assert!(measured.summary.is_none(), "{name}");
        assert!(
            codes(&measured).contains(&("several_runs", "stop")),
            "{name}: {:?}",
            codes(&measured)
        );
        let slipped = |(code, _): &(&str, &str)| *code == "focal_length_changed";
        assert!(!codes(&measured).iter().any(slipped), "{name}");
        let said = message(&measured, Code::SeveralRuns);
        let begins = &files.infos[24].file;
        assert!(said.contains(begins), "{name}: {said}");
        assert_eq!(runs.len(), repeats + 1, "{name}");
        for run in runs {
            let infos: Vec<_> = run.iter().map(|&at| files.infos[at].clone()).collect();
            let alone = sweep::measure(
                "run",
                &infos,
                &|at| files.load(run[at]),
                &settings,
                &|_, _| {},
            );
            let worst = alone.summary.as_ref().expect("a result").worst_shift_pct;
            assert!(
                (worst.value - worst_pct).abs() < HARD_PCT,
                "{name}: {worst:?}"
            );
        }
    }
}

/// To infinity and back without a pause is named as well, and mended by leaving out the way back.
#[test]
fn a_run_to_infinity_and_back_is_named() {
    let script = untold(0.85, 2.0);
    let mut files = one_after_another(&script, &[0.0]);
    files.bytes[24..].reverse();
    let measured = files.measure(&SweepSettings::default());
    let said = message(&measured, Code::SeveralRuns);
    assert!(said.contains("to infinity and back"), "{said}");
    let stopped = |finding: &&sweep::Finding| finding.severity == Severity::Stop;
    assert_eq!(measured.findings.iter().filter(stopped).count(), 1);
    let back = files.infos[24..].iter();
    let mended = files.measure(&SweepSettings {
        left_out: back
            .map(|info| (info.file.clone(), "way back".to_owned()))
            .collect(),
        ..SweepSettings::default()
    });
    let worst = mended.summary.as_ref().expect("a result").worst_shift_pct;
    assert!((worst.value - 2.0).abs() < HARD_PCT, "{worst:?}");
}
