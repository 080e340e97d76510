//! Brightness that changes towards the sides of the picture pulls the centres of blurred targets: it is taken out. Bands of
//! flickering light pull them, which is no camera that moves, and is named; what a tone curve does to the light is not.

use breathmark::measure::{Plane, Samples};
use breathmark::simulate::{Bump, Shading, SweepScript};
use breathmark::sweep::{self, Code, Finding, Part, SweepMeasurement, SweepSettings};

use super::rig::{Files, errors, line, message, rms, small};

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

/// Measures files with each code changed, by the frame and the place in it, px.
fn recoded(files: &Files, code: impl Fn(usize, (f64, f64), f64) -> f64 + Sync) -> SweepMeasurement {
    let load = |frame: usize| {
        let plane = files.load(frame)?;
        let Samples::Eight(codes) = plane.samples() else {
            panic!("a JPEG has 8 bits");
        };
        let width = plane.width() as usize;
        let changed = codes.iter().enumerate().map(|(at, &was)| {
            let place = ((at % width) as f64, (at / width) as f64);
            code(frame, place, f64::from(was)).round().min(255.0) as u8
        });
        let samples = Samples::Eight(changed.collect());
        Ok(Plane::new(plane.width(), plane.height(), samples).expect("as many"))
    };
    sweep::measure(
        "sweep",
        &files.infos,
        &load,
        &SweepSettings::default(),
        &|_, _| {},
    )
}

/// The same pictures under a lamp that flickers: bands of 20 % that lie elsewhere in every frame.
fn flickering(files: &Files) -> SweepMeasurement {
    recoded(files, |frame, (_, y), code| {
        let phase = y / 14.0 + 2.1 * frame as f64;
        // In codes a change of light is its 2.2th root.
        code * (1.0 + 0.2 * phase.sin()).powf(1.0 / 2.2)
    })
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

/// A shadow comes over the left half of the card, a little more in each frame.
#[test]
fn a_shadow_that_moves() {
    let script = small(85.0, 2.0);
    let measured = recoded(&Files::of(&script), |frame, (x, _), code| {
        // Half the light is 0.74 of the code (IEC 61966-2-1).
        let share = 1.0 - 0.26 * frame as f64 / 12.0;
        if x < 320.0 { share * code } else { code }
    });
    let said = message(&measured, Code::UnevenExposure);
    assert!(said.contains("against that of the other"), "{said}");
}

/// Bands of lamps on the mains lie across the line of the targets, elsewhere in every frame: no shadow does that.
#[test]
fn bands_across_the_targets() {
    let script = small(85.0, 2.0);
    let measured = recoded(&Files::of(&script), |frame, (x, _), code| {
        let phase = x / 150.0 + 2.1 * frame as f64;
        code * (1.0 + 0.15 * phase.sin()).powf(1.0 / 2.2)
    });
    let said = message(&measured, Code::UnevenExposure);
    assert!(said.contains("lamps on the mains"), "{said}");
}

/// A flat picture style, half a logarithm of the light, under which sharp targets lose light against blurred ones.
#[test]
fn a_curve_for_grading_is_no_change_of_light() {
    let script = small(85.0, 2.0);
    let measured = recoded(&Files::of(&script), |_, _, code| {
        let light = (code / 255.0).powf(2.2);
        255.0 * (0.09 + 0.75 * (1.0 + 30.0 * light).log2() / 31.0_f64.log2())
    });
    let is_uneven = |finding: &Finding| finding.code == Code::UnevenExposure;
    assert!(
        !measured.findings.iter().any(is_uneven),
        "{:?}",
        measured.findings
    );
}
