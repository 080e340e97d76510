//! Focus that does not go by even steps: a hand that turns the ring from mark to mark, a bracket that arrives at an end
//! before it is over.

use breathmark::simulate::{Breathing, SweepScript};
use breathmark::sweep::{Part, SweepSettings, ToleranceOutcome};

use super::rig::{Files, codes, errors, rms, small};

/// Focus settings, dioptres.
fn runs() -> Vec<(&'static str, Vec<f64>)> {
    let even =
        |steps: usize, from: f64| (0..=steps).map(move |k| from * (1.0 - k as f64 / steps as f64));
    let marks_m = [
        0.5, 0.55, 0.6, 0.7, 0.8, 0.9, 1.0, 1.2, 1.5, 2.0, 3.0, 5.0, 10.0,
    ];
    vec![
        (
            "by the marks",
            marks_m.iter().map(|m| 1.0 / m).chain([0.0]).collect(),
        ),
        (
            "at infinity before the end",
            even(12, 2.0).chain([0.0; 4]).collect(),
        ),
        (
            "held at closest focus",
            [2.0; 3].into_iter().chain(even(14, 2.0)).collect(),
        ),
        (
            "a long last step",
            even(16, 2.0).filter(|d| *d == 0.0 || *d > 0.3).collect(),
        ),
    ]
}

fn script(settings: &[f64]) -> SweepScript {
    SweepScript {
        frames: settings.len(),
        settings: Some(settings.to_vec()),
        closest_focus_m: 0.5,
        ..small(50.0, 2.6)
    }
}

/// Errors, false alarms, lost frames, and the place where 1.3 % is passed, with distances in the files.
#[test]
fn uneven_steps_cost_nothing_where_distances_are_known() {
    for (name, settings) in runs() {
        let mut script = script(&settings);
        script.lens.breathing = Breathing::Polynomial(vec![1.3]);
        let measured = Files::of(&script).measure(&SweepSettings::default());
        assert_eq!(measured.measured_count(), settings.len(), "{name}");
        let alarms: Vec<_> = codes(&measured)
            .into_iter()
            .filter(|(_, severity)| *severity != "note")
            .collect();
        assert_eq!(alarms, [], "{name}");
        let off = rms(&errors(&script, &measured));
        assert!(off < super::ORDINARY_PCT, "{name}: {off}");
        let summary = measured.summary.expect("a result");
        // Not blown up by bends that no lens made, which would be scatter.
        let scatter = summary.budget.random.iter();
        let scatter = scatter.filter(|line| line.part == Part::Scatter);
        assert!(scatter.clone().count() == 1, "{name}");
        assert!(scatter.map(|line| line.pct).sum::<f64>() < 0.002, "{name}");
        match summary.curve.tolerance_outcome(1.3) {
            ToleranceOutcome::Exceeded { dioptres, .. } => {
                assert!((dioptres.value - 1.0).abs() < 0.01, "{name}: {dioptres:?}");
            }
            other => panic!("{name}: {other:?}"),
        }
    }
}

/// The blur of the targets shows the steps as well, and no frame is lost: not the sharpest, of whose place blur says nothing,
/// nor one that is set to infinity by hand, far off all others.
#[test]
fn uneven_steps_show_in_the_blur() {
    for (name, settings) in runs() {
        let mut script = script(&settings);
        script.capture.write_distances = false;
        let measured = Files::of(&script).measure(&SweepSettings::default());
        assert_eq!(measured.measured_count(), settings.len(), "{name}");
        let off = rms(&errors(&script, &measured));
        assert!(off < super::ORDINARY_PCT, "{name}: {off}");
    }
}

/// A steep shift over steps up to a third too long or too short, that only the blur tells of: a curve would be off by what the
/// blur leaves open of the places, 0.02 points and more, and the reference with it. The frames keep what was measured, and the
/// uncertainty is that of the measurement.
#[test]
fn a_steep_shift_over_uneven_steps_keeps_its_reference() {
    let too_far = [0.9, -0.4, 0.2, -1.0, 0.6, 0.3, -0.8, 1.0, -0.1, -0.7, 0.5];
    for (focal_mm, worst_pct) in [(105.0, -5.7), (85.0, 4.4)] {
        let mut script = SweepScript {
            closest_focus_m: 0.9,
            frames: 24,
            ..small(focal_mm, worst_pct)
        };
        let steps = script.frames - 1;
        let setting = |k: usize| {
            let off = if k == 0 || k == steps {
                0.0
            } else {
                too_far[k % 11] / 3.0
            };
            (1.0 - (k as f64 + off) / steps as f64) / script.closest_focus_m
        };
        script.settings = Some((0..=steps).map(setting).collect());
        script.capture.write_distances = false;
        let measured = Files::of(&script).measure(&SweepSettings::default());
        let off = rms(&errors(&script, &measured));
        assert!(off < super::ORDINARY_PCT, "{focal_mm} mm: {off}");
        let u = measured
            .summary
            .expect("a result")
            .worst_shift_pct
            .std_error;
        assert!(u < 2.0 * super::ORDINARY_PCT, "{focal_mm} mm: {u}");
    }
}
