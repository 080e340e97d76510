//! Focus distances: from blur, given, from the files.

use super::rig::{Files, codes, line, message, rms, set_up, small};
use super::*;
use breathmark::simulate::Scene;
use breathmark::sweep::Part;

/// Ideal pupil, no distances in the files, closest focus and target distance given: dioptres within 1.5 % of the range
/// (rms), tolerance distance within 4 %. At 1920 px as it is promised, at a third of it for more set-ups.
#[test]
fn distances_from_blur() {
    for (width, focal, f_number, target_m, frames) in [
        (1920, 50.0, 2.8, 2.0, 12),
        (1920, 85.0, 5.6, 1.5, 12),
        (1920, 105.0, 5.6, 3.0, 12),
        (640, 50.0, 2.0, 1.2, 18),
        (640, 85.0, 4.0, 2.0, 18),
        (640, 85.0, 2.8, 4.0, 18),
        (640, 105.0, 5.6, 2.0, 18),
    ] {
        let mut script = small(focal, 3.0);
        script.scene = Scene {
            target_distance_m: target_m,
            ..Scene::two_targets(width, width * 2 / 3)
        };
        script.frames = frames;
        script.lens.f_number = f_number;
        script.capture.write_distances = false;
        let name = format!("{focal} mm, targets at {target_m} m, {width} px");
        let measured = Files::of(&script).measure(&set_up(&script));
        assert_eq!(measured.distance_source, DistanceSource::Blur);
        assert_eq!(measured.findings, [], "{name}");
        let range = 1.0 / script.closest_focus_m;
        let off: Vec<f64> = measured
            .frames
            .iter()
            .zip(script.truth())
            .map(|(frame, truth)| {
                frame.focus_dioptres.expect("estimated").value - truth.focus_dioptres
            })
            .collect();
        assert!(rms(&off) < 0.015 * range, "{name}: {}", rms(&off) / range);
        let summary = measured.summary.expect("a result");
        let found = summary
            .curve
            .tolerance_outcome(2.0)
            .distance_m()
            .expect("exceeded");
        let true_t = (1.0 + 6.0 / 3.0_f64).sqrt() - 1.0;
        let share = found.value * true_t / script.closest_focus_m;
        assert!((share - 1.0).abs() < 0.04, "{name}: {share}");
        // The band is at least 5 % near: 2.5 % as a standard uncertainty.
        assert!(found.std_error > 0.02 * found.value);
    }
}

/// No distance data but closest focus and target distance; with targets nearer than twice closest focus the blur at 3 m
/// looks like that of a sweep which runs backwards.
#[test]
fn a_sweep_that_ends_at_three_metres_is_named() {
    for (focal, target_m) in [
        (50.0, 2.0),
        (85.0, 2.0),
        (105.0, 2.0),
        (85.0, 1.5),
        (105.0, 1.5),
    ] {
        let mut script = small(focal, 2.0);
        script.scene.targets[0].y_px += 1.0;
        script.scene.target_distance_m = target_m;
        script.lens.f_number = 4.0;
        script.capture.write_distances = false;
        script.last = FocusDistance::At(Metres::new(3.0).expect("in range"));
        let measured = Files::of(&script).measure(&set_up(&script));
        let said = message(&measured, Code::ReferenceNotAtInfinity);
        assert!(said.contains("farthest frame"), "{said}");
        assert_eq!(measured.frames[0].info.file, script.file_name(0));
        // Targets so near 3 m hardly blur there, so that distances stay unknown; nothing else is remarked on.
        let others = measured.findings.iter().map(|finding| finding.code);
        let expected = [Code::ReferenceNotAtInfinity, Code::DistanceUnknown];
        assert!(
            others.into_iter().all(|code| expected.contains(&code)),
            "{:?}",
            measured.findings
        );
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

/// What is missing for an estimate from blur is named, and how to give it.
#[test]
fn too_little_known_gives_no_distances() {
    let mut script = small(85.0, 3.0);
    script.lens.f_number = 2.8;
    script.capture.write_distances = false;
    let files = Files::of(&script);
    let both = set_up(&script);
    type Forget = fn(&mut SweepSettings);
    let cases: [(Forget, &str); 4] = [
        (
            |s| s.target_distance = None,
            "the distance to the targets, which is not known (closest focus is)",
        ),
        (
            |s| s.closest_focus = None,
            "closest focus, which is not known",
        ),
        (
            |s| (s.closest_focus, s.target_distance) = (None, None),
            "neither is known",
        ),
        // Said to stand nearer than the lens focuses.
        (
            |s| s.target_distance = Metres::new(0.5).ok(),
            "nearer than closest focus",
        ),
    ];
    for (forget, named) in cases {
        let mut settings = both.clone();
        forget(&mut settings);
        let measured = files.measure(&settings);
        assert_eq!(measured.distance_source, DistanceSource::None);
        let unknown = |frame: &sweep::FrameResult| frame.focus_dioptres.is_none();
        assert!(measured.frames.iter().all(unknown));
        let summary = measured.summary.as_ref().expect("a result");
        assert!(matches!(
            summary.curve.tolerance_outcome(2.0),
            ToleranceOutcome::Unknown { .. }
        ));
        let said = message(&measured, Code::DistanceUnknown);
        assert!(said.contains(named), "{said}");
        assert!(said.contains("give distances for some frames"), "{said}");
    }
    // Stopped down so far that the last frame is hardly blurred.
    script.lens.f_number = 16.0;
    let measured = Files::of(&script).measure(&both);
    let said = message(&measured, Code::DistanceUnknown);
    assert!(said.contains("open the aperture"), "{said}");
}

/// A 50 mm lens at f/2.8 that focuses to 0.45 m, nothing stated in the files.
fn fifty() -> SweepScript {
    let mut script = small(50.0, 2.6);
    script.closest_focus_m = 0.45;
    script.lens.f_number = 2.8;
    script.capture.write_distances = false;
    script
}

/// Closest focus said to be a third farther than it is: the blur at the last frame would be that of a sweep which ends at 6 m, if the
/// f-number did not say that it is at infinity. The shift stays against infinity, and the set-up is doubted.
#[test]
fn a_closest_focus_told_too_far_is_a_contradiction() {
    let script = fifty();
    let files = Files::of(&script);
    let mut settings = set_up(&script);
    settings.closest_focus = Metres::new(0.6).ok();
    let measured = files.measure(&settings);
    let said = message(&measured, Code::DistanceDisagrees);
    assert!(said.contains("may not be at closest focus"), "{said}");
    assert_eq!(codes(&measured), [("distance_disagrees", "warning")]);
    assert!(!measured.summary.expect("a result").relative_to_farthest);
}

/// A list in feet or centimetres under the heading of metres: the blur changes by far more than a pupil f/N makes over such distances. One in
/// metres says nothing.
#[test]
fn distances_in_another_unit_are_named() {
    let script = fifty();
    let files = Files::of(&script);
    for (unit_m, named) in [(1.0, None), (0.3048, Some("feet")), (0.01, Some("no lens"))] {
        let mut settings = SweepSettings::default();
        for truth in script.truth() {
            let metres = Metres::new(1.0 / (truth.focus_dioptres * unit_m));
            let distance = metres.map_or(FocusDistance::Infinity, FocusDistance::At);
            settings.distances.insert(truth.file, distance);
        }
        let measured = files.measure(&settings);
        match named {
            None => assert_eq!(measured.findings, []),
            Some(named) => {
                let said = message(&measured, Code::DistanceDisagrees);
                assert!(said.contains(named), "{said}");
            }
        }
    }
}

/// Light that is cut off makes blur distances worse: their uncertainty holds that, and the finding says so.
#[test]
fn burnt_out_targets_loosen_distances_from_blur() {
    let mut script = fifty();
    let setting = |script: &SweepScript| {
        let measured = Files::of(script).measure(&set_up(script));
        (
            measured.frames[3].focus_dioptres.expect("by blur"),
            measured,
        )
    };
    let (plain, _) = setting(&script);
    script.scene.exposure *= 1.6;
    let (burnt, measured) = setting(&script);
    let said = message(&measured, Code::TargetSaturated);
    assert!(said.contains("Distances from the blur"), "{said}");
    assert!(
        burnt.std_error > 2.0 * plain.std_error,
        "{burnt:?} {plain:?}"
    );
    assert!((burnt.value - plain.value).abs() < 2.0 * burnt.std_error);
}

/// Without distances a sweep that ends at 3 m passes for one to infinity, and says that this is taken on trust; with the distance to
/// the targets blur shows that, but not that one ends at 10 m; with closest focus too, one that ends at 10 m has what it may lack as a bound.
#[test]
fn infinity_without_distances() {
    let ends_at = |m: f64| {
        let mut script = small(85.0, 2.0);
        script.frames = 19;
        script.last = FocusDistance::At(Metres::new(m).expect("in range"));
        script.capture.write_distances = false;
        script
    };
    let near = Files::of(&ends_at(3.0));
    let on_trust = near.measure(&SweepSettings::default());
    assert!(message(&on_trust, Code::DistanceUnknown).contains("taken on trust"));
    assert_eq!(codes(&on_trust), [("distance_unknown", "note")]);
    // What one more step would add is what the last one does, as the curve is nearly straight there.
    let a_step = line(&on_trust, Part::AssumedInfinity).expect("a bound");
    let last_step = on_trust.frames[17].shift_pct.expect("measured").value;
    assert!(
        (0.7..1.5).contains(&(a_step / last_step)),
        "{a_step} {last_step}"
    );
    let told = near.measure(&SweepSettings {
        target_distance: Metres::new(2.0).ok(),
        ..SweepSettings::default()
    });
    message(&told, Code::ReferenceNotAtInfinity);
    assert!(!message(&told, Code::DistanceUnknown).contains("trust"));
    let script = ends_at(10.0);
    let files = Files::of(&script);
    // With the distance to the targets alone, blur does not show that.
    let open = files.measure(&SweepSettings {
        target_distance: Metres::new(2.0).ok(),
        ..SweepSettings::default()
    });
    assert!(message(&open, Code::DistanceUnknown).contains("taken on trust"));
    assert!(line(&open, Part::AssumedInfinity).is_some());
    let far = files.measure(&set_up(&script));
    assert!(codes(&far).is_empty(), "{:?}", codes(&far));
    // A tenth of a dioptre of 2 % over 1/0.85 dioptres is 0.17 points; the bound is with a pupil of a thin lens.
    let lacks = line(&far, Part::AssumedInfinity).expect("a bound");
    assert!((0.05..0.3).contains(&lacks), "{lacks}");
}
