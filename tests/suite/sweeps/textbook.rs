//! Lenses that breathe as textbook lenses do, by rays traced through their surfaces.

use breathmark::simulate::{Breathing, SweepScript};
use breathmark::sweep::{SweepSettings, ToleranceOutcome};

use super::rig::{Files, errors, rms, small};

/// Focus distances, mm, and shift, per cent, of a pair of targets at a distance, by rays through the middle of the pupil
/// (own calculation from published prescriptions): a lens, its focal length, distance to the targets, closest focus, m.
struct Traced {
    name: &'static str,
    focal_mm: f64,
    target_m: f64,
    curve: &'static [(f64, f64)],
}

const LENSES: [Traced; 5] = [
    Traced {
        name: "triplet, moved as a whole",
        focal_mm: 50.0,
        target_m: 2.0,
        curve: &[(3000.0, 1.713), (1000.0, 5.532), (500.0, 12.590)],
    },
    Traced {
        name: "double Gauss, rear half moved",
        focal_mm: 50.0,
        target_m: 2.0,
        curve: &[(3000.0, 0.370), (1000.0, 1.643), (500.0, 5.127)],
    },
    Traced {
        name: "telephoto, moved as a whole",
        focal_mm: 127.0,
        target_m: 3.0,
        curve: &[(5000.0, 3.767), (1200.0, 19.644)],
    },
    Traced {
        name: "telephoto, rear group moved",
        focal_mm: 127.0,
        target_m: 3.0,
        curve: &[(5000.0, 0.903), (1200.0, 4.082)],
    },
    Traced {
        name: "reverse telephoto, rear group moved",
        focal_mm: 24.0,
        target_m: 1.0,
        curve: &[(250.0, 6.399)],
    },
];

fn script(lens: &Traced) -> SweepScript {
    let points: Vec<(f64, f64)> = lens
        .curve
        .iter()
        .map(|&(mm, shift)| (1000.0 / mm, shift))
        .collect();
    let (nearest_mm, worst) = lens.curve[lens.curve.len() - 1];
    let mut script = small(lens.focal_mm, worst);
    script.frames = 24;
    script.closest_focus_m = nearest_mm / 1000.0;
    script.scene.target_distance_m = lens.target_m;
    script.lens.f_number = 8.0;
    script.lens.breathing = Breathing::Points(points);
    script
}

/// Where the truth passes 2 % farthest off, dioptres, on the straight line between two frames.
fn true_crossing(script: &SweepScript) -> f64 {
    let truth = script.truth();
    let k = truth
        .iter()
        .rposition(|frame| frame.shift_to_last_pct > 2.0)
        .expect("every one of them exceeds 2 %");
    let (near, far) = (&truth[k], &truth[k + 1]);
    let share = (2.0 - far.shift_to_last_pct) / (near.shift_to_last_pct - far.shift_to_last_pct);
    far.focus_dioptres + share * (near.focus_dioptres - far.focus_dioptres)
}

#[test]
fn textbook_curves_come_back() {
    for lens in &LENSES {
        let script = script(lens);
        let measured = Files::of(&script).measure(&SweepSettings::default());
        // As for any ordinary sweep of a third of the width that 0.003 points hold for; what is 20 % larger has as much
        // larger errors.
        let off = rms(&errors(&script, &measured));
        assert!(off < 1.2 * super::ORDINARY_PCT, "{}: {off}", lens.name);
        let summary = measured.summary.expect("a result");
        let outcome = summary.curve.tolerance_outcome(2.0);
        let ToleranceOutcome::Exceeded { dioptres, .. } = outcome else {
            panic!("{}: {outcome:?}", lens.name);
        };
        let truth = true_crossing(&script);
        assert!(
            (dioptres.value / truth - 1.0).abs() < 0.01,
            "{}: {dioptres:?} {truth}",
            lens.name
        );
    }
}

/// A bend that only a few frames show is a bend, not noise about a straight line: as true as with many frames, and not
/// stated as uncertain as if it were noise.
#[test]
fn a_few_frames_tell_a_curve_from_noise() {
    for frames in [6, 8, 11] {
        for lens in &LENSES {
            let mut script = script(lens);
            script.frames = frames;
            let measured = Files::of(&script).measure(&SweepSettings::default());
            let off = rms(&errors(&script, &measured));
            assert!(
                off < 1.2 * super::ORDINARY_PCT,
                "{frames} frames, {}: {off}",
                lens.name
            );
            let u = measured
                .summary
                .expect("a result")
                .worst_shift_pct
                .std_error;
            // 1 % of a shift of 5 %: what a reader's tenth of a per cent bears.
            assert!(u < 0.05, "{frames} frames, {}: u {u}", lens.name);
        }
    }
}
