//! Focus distances: from blur, given, from the files.

use super::rig::{Files, message, rms, set_up, small};
use super::*;

/// Ideal pupil, no distances in the files, closest focus and target distance given: dioptres within 1.5 % of the range
/// (rms), tolerance distance within 4 %.
#[test]
fn distances_from_blur() {
    for (focal, f_number) in [(50.0, 2.0), (85.0, 4.0), (105.0, 5.6)] {
        let mut script = small(focal, 3.0);
        script.frames = 18;
        script.lens.f_number = f_number;
        script.capture.write_distances = false;
        let measured = Files::of(&script).measure(&set_up(&script));
        assert_eq!(measured.distance_source, DistanceSource::Blur);
        assert_eq!(measured.findings, [], "{focal}");
        let range = 1.0 / script.closest_focus_m;
        let off: Vec<f64> = measured
            .frames
            .iter()
            .zip(script.truth())
            .map(|(frame, truth)| {
                frame.focus_dioptres.expect("estimated").value - truth.focus_dioptres
            })
            .collect();
        assert!(rms(&off) < 0.015 * range, "{focal}: {}", rms(&off) / range);
        let summary = measured.summary.expect("a result");
        let found = summary
            .curve
            .tolerance_outcome(2.0)
            .distance_m()
            .expect("exceeded");
        let true_t = (1.0 + 6.0 / 3.0_f64).sqrt() - 1.0;
        assert!((found.value * true_t / script.closest_focus_m - 1.0).abs() < 0.04);
        // The band is at least 5 % near: 2.5 % as a standard uncertainty.
        assert!(found.std_error > 0.02 * found.value);
    }
}

/// No distance data but closest focus and target distance.
#[test]
fn a_sweep_that_ends_at_three_metres_is_named() {
    for focal in [50.0, 85.0, 105.0] {
        let mut script = small(focal, 2.0);
        script.scene.targets[0].y_px += 1.0;
        script.lens.f_number = 4.0;
        script.capture.write_distances = false;
        script.last = FocusDistance::At(Metres::new(3.0).expect("in range"));
        let measured = Files::of(&script).measure(&set_up(&script));
        let said = message(&measured, Code::ReferenceNotAtInfinity);
        assert!(said.contains("farthest frame"), "{said}");
        assert!(measured.summary.expect("a result").relative_to_farthest);
    }
}

#[test]
fn given_distances_count_before_those_in_the_files() {
    let script = small(85.0, 3.0);
    let files = Files::of(&script);
    let mut settings = SweepSettings::default();
    for (frame, d) in [(0, 2.0), (6, 1.0)] {
        settings.distances.insert(
            script.file_name(frame),
            FocusDistance::At(Metres::new(1.0 / d).expect("in range")),
        );
    }
    settings
        .distances
        .insert(script.file_name(12), FocusDistance::Infinity);
    let measured = files.measure(&settings);
    assert_eq!(measured.distance_source, DistanceSource::Entered);
    let at = |i: usize| {
        measured.frames[i]
            .focus_dioptres
            .expect("between given ones")
    };
    assert!((at(3).value - 1.5).abs() < 1e-6 && at(3).std_error > at(6).std_error);
    assert!(at(12).value.abs() < 1e-12);
    // They contradict the files by a factor, which is said.
    message(&measured, Code::DistanceDisagrees);
}

#[test]
fn closest_focus_alone_gives_no_distances() {
    let mut script = small(85.0, 3.0);
    script.capture.write_distances = false;
    let settings = SweepSettings {
        closest_focus: Metres::new(script.closest_focus_m).ok(),
        ..SweepSettings::default()
    };
    let measured = Files::of(&script).measure(&settings);
    assert_eq!(measured.distance_source, DistanceSource::None);
    assert!(
        measured
            .frames
            .iter()
            .all(|frame| frame.focus_dioptres.is_none())
    );
    let summary = measured.summary.as_ref().expect("a result");
    assert!(matches!(
        summary.curve.tolerance_outcome(2.0),
        ToleranceOutcome::Unknown { .. }
    ));
    message(&measured, Code::DistanceUnknown);
}
