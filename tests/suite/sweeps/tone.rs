//! Cameras whose tone curve is not sRGB's: the curve is read from the light that a target sends sharp and blurred, so that tape that
//! is no square passes for nothing that the blur has.

use breathmark::simulate::ToneCurve;
use breathmark::sweep::SweepSettings;

use super::rig::{Files, errors, rms, small};

/// Curves of cameras, and tape half as wide or half as high as it is long.
#[test]
fn another_tone_curve_moves_nothing_and_raises_nothing() {
    for tone in [
        ToneCurve::Srgb,
        ToneCurve::Bt709,
        ToneCurve::Gamma(1.8),
        ToneCurve::Gamma(2.4),
        ToneCurve::Contrast(0.3),
        ToneCurve::Contrast(0.2),
    ] {
        for (wide, high) in [(0.7, 1.4), (1.4, 0.7)] {
            let mut script = small(85.0, 2.0);
            script.picture.tone = tone;
            for target in &mut script.scene.targets {
                target.width_px *= wide;
                target.height_px *= high;
            }
            let seen = Files::of(&script).measure(&SweepSettings::default());
            assert_eq!(seen.findings, [], "{tone:?} {wide}");
            let errors = errors(&script, &seen);
            println!("{tone:?} {wide}: rms {:.4}", rms(&errors));
            // As on ordinary sweeps of this size.
            assert!(
                rms(&errors) < super::ORDINARY_PCT,
                "{tone:?} {wide}: {errors:?}"
            );
        }
    }
}

/// A frame in which the lamp was dimmer by an eighth does not hide the curve.
#[test]
fn one_dim_frame_hides_no_tone_curve() {
    let mut script = small(85.0, 2.0);
    script.picture.tone = ToneCurve::Bt709;
    for target in &mut script.scene.targets {
        target.width_px *= 0.7;
        target.height_px *= 1.4;
    }
    let mut dim = script.clone();
    dim.scene.exposure *= 0.88;
    for frame in [2, 10] {
        let mut files = Files::of(&script);
        files.bytes[frame] = dim.jpeg(frame).expect("the scene fits JPEG");
        let seen = files.measure(&SweepSettings::default());
        let errors = errors(&script, &seen);
        assert!(rms(&errors) < super::ORDINARY_PCT, "{frame}: {errors:?}");
    }
}

/// Light that jumps by 6 % from frame to frame hides the tone curve, and tape under another curve hides how flat a cut blur is: its pull
/// stays within the uncertainty all the same.
#[test]
fn what_jumping_light_hides_of_a_cut_is_in_the_uncertainty() {
    for tone in [ToneCurve::Bt709, ToneCurve::Contrast(0.2)] {
        let mut script = small(85.0, 2.0);
        script.picture.tone = tone;
        script.lens.f_number = 2.8;
        script.lens.pupil.vignetting = 0.5;
        script.lens.pupil.barrel = 1.2;
        let mut files = Files::of(&script);
        for frame in 0..files.bytes.len() {
            let mut jumping = script.clone();
            let jump = [-0.06, 0.03, 0.08, -0.02, 0.0, -0.09, 0.05][frame % 7];
            jumping.scene.exposure *= 1.0 + jump;
            files.bytes[frame] = jumping.jpeg(frame).expect("the scene fits JPEG");
        }
        let seen = files.measure(&SweepSettings::default());
        let worst = seen.summary.as_ref().expect("measured").worst_shift_pct;
        let errors = errors(&script, &seen);
        println!("{tone:?}: {worst:?}, rms {:.4}", rms(&errors));
        for (frame, error) in seen.frames.iter().zip(&errors) {
            let u = frame.shift_pct.expect("measured").std_error;
            // Three standard uncertainties, and the scatter of ordinary sweeps near the reference.
            assert!(
                error.abs() < 3.0 * u + super::ORDINARY_PCT,
                "{tone:?}: {error} {u}"
            );
        }
    }
}
