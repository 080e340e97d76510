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
