//! Brightness that changes towards the sides of the picture pulls the centres of blurred targets: it is taken out. Bands of
//! flickering light pull them up and down, which is no camera that moves.

use breathmark::measure::{Plane, Samples};
use breathmark::simulate::{Bump, Shading, SweepScript};
use breathmark::sweep::{self, Code, Part, SweepMeasurement, SweepSettings};

use super::rig::{Files, errors, line, rms, small};

/// A sweep of an 85 mm lens under this shading.
fn shaded(shading: Shading) -> SweepScript {
    let mut script = small(85.0, 2.0);
    script.picture.shading = shading;
    if shading.square > 0.0 {
        // Brighter sides must not burn out.
        script.scene.exposure = 0.7;
    }
    script
}

fn measured(script: &SweepScript) -> SweepMeasurement {
    Files::of(script).measure(&SweepSettings::default())
}

/// A falloff by 30, 60 and 80 % to the corners, and the cos⁴ falloff of a 35 mm lens on 36 × 24 mm taken out by a camera with
/// a lens that did not have it: (1 + r²·(21.6/35)²)²; also one that goes away while focusing to infinity. What is hardly seen is weighed.
#[test]
fn what_shading_pulls_is_taken_out() {
    let corner = (21.633_f64 / 35.0).powi(2);
    for (square, fourth, change) in [
        (-0.3, 0.0, 0.0),
        (-0.6, 0.0, 0.0),
        (-0.8, 0.0, 0.0),
        (-0.9, 0.0, 0.8),
        (2.0 * corner, corner * corner, 0.0),
    ] {
        let script = shaded(Shading {
            square,
            fourth,
            change,
        });
        let seen = measured(&script);
        assert_eq!(seen.findings, [], "{square}");
        let errors = errors(&script, &seen);
        let stated = seen.frames.iter().filter_map(|frame| frame.shift_pct);
        let u: Vec<f64> = stated.map(|shift| shift.std_error.max(1e-4)).collect();
        let (taken, unseen) = (line(&seen, Part::Shading), line(&seen, Part::UnseenShading));
        println!(
            "{square} {fourth}: rms {:.4}, {taken:?}, {unseen:?}",
            rms(&errors)
        );
        let pulls: Vec<f64> = errors.iter().zip(&u).map(|(error, u)| error / u).collect();
        assert!(taken.is_some_and(|line| line > 0.0));
        assert_eq!(unseen, None);
        // Ordinary sweeps reach 0.003 without any shading; a change is read from the same thirteen frames with twice the noise.
        let most = if change == 0.0 { 0.003 } else { 0.006 };
        assert!(rms(&errors) < most, "{square}: {errors:?}");
        assert!(rms(&pulls) < 1.5, "{square}: {pulls:?}");
    }
}

/// Without shading hardly anything is taken out, and what the pictures could not have shown is in the uncertainty.
#[test]
fn an_even_picture_is_left_alone() {
    let script = shaded(Shading::default());
    let seen = measured(&script);
    let line = line(&seen, Part::Shading).expect("a line");
    assert!(line > 0.0 && line < 0.003, "{line}");
    assert!(rms(&errors(&script, &seen)) < 0.003);
}

/// Targets that are burnt out in most frames tell nothing of how their light leans, and only their rims get brighter towards the side:
/// falling light pulls them by less, and what it may do is in the uncertainty of every frame.
#[test]
fn burnt_out_targets_in_falling_light_are_not_surer_than_they_are() {
    for square in [-0.3, -0.5] {
        let mut script = shaded(Shading {
            square,
            ..Shading::default()
        });
        script.scene.exposure = 6.0;
        let seen = measured(&script);
        let stated = seen.frames.iter().filter_map(|frame| frame.shift_pct);
        let u: Vec<f64> = stated.map(|shift| shift.std_error.max(1e-4)).collect();
        let off = errors(&script, &seen);
        assert_eq!(off.len(), u.len());
        let pulls: Vec<f64> = off.iter().zip(&u).map(|(error, u)| error / u).collect();
        println!("{square}: {off:?} {u:?}");
        assert!(rms(&pulls) < 2.0, "{square}: {pulls:?}");
        assert!(u.iter().all(|u| *u < 0.3), "{square}: {u:?}");
    }
}

/// The same pictures under a lamp that flickers: bands of 20 % that lie elsewhere in every frame.
fn flickering(files: &Files) -> SweepMeasurement {
    let load = |frame: usize| {
        let plane = files.load(frame)?;
        let Samples::Eight(codes) = plane.samples() else {
            return Ok(plane);
        };
        let width = plane.width() as usize;
        let lit = |(at, &code): (usize, &u8)| {
            let phase = (at / width) as f64 / 14.0 + 2.1 * frame as f64;
            // In codes a change of light is its 2.2th root.
            let factor = (1.0 + 0.2 * phase.sin()).powf(1.0 / 2.2);
            (f64::from(code) * factor).round().min(255.0) as u8
        };
        let codes = codes.iter().enumerate().map(lit).collect();
        Ok(Plane::new(plane.width(), plane.height(), Samples::Eight(codes)).expect("as many"))
    };
    sweep::measure(
        "sweep",
        &files.infos,
        &load,
        &SweepSettings::default(),
        &|_, _| {},
    )
}

/// Bands pull blurred targets up and down; a bump under them is still seen.
#[test]
fn flickering_light_moves_no_camera() {
    let mut script = small(85.0, 2.0);
    script.lens.f_number = 2.0;
    let has = |measured: &SweepMeasurement| {
        measured
            .findings
            .iter()
            .any(|f| f.code == Code::CameraMoved)
    };
    let steady = flickering(&Files::of(&script));
    assert!(!has(&steady), "{:?}", steady.findings);
    script.picture.bump = Some(Bump {
        frame: 6,
        x_px: 4.0,
        y_px: -3.0,
        roll_deg: 0.1,
    });
    let bumped = flickering(&Files::of(&script));
    assert!(has(&bumped), "{:?}", bumped.findings);
}
