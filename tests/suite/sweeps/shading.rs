//! Brightness that changes towards the sides of the picture pulls the centres of blurred targets: it is taken out.

use breathmark::simulate::{Shading, SweepScript};
use breathmark::sweep::{Part, SweepMeasurement, SweepSettings};

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
/// a lens that did not have it: (1 + r²·(21.6/35)²)²; also one that goes away while focusing to infinity. What is too little to be seen is within the bound that is stated.
#[test]
fn what_shading_pulls_is_taken_out_or_bounded() {
    let corner = (21.633_f64 / 35.0).powi(2);
    for (square, fourth, change, is_seen) in [
        (-0.3, 0.0, 0.0, false),
        (-0.6, 0.0, 0.0, true),
        (-0.8, 0.0, 0.0, true),
        (-0.9, 0.0, 0.8, true),
        (2.0 * corner, corner * corner, 0.0, true),
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
        match unseen {
            Some(bound) => {
                let beyond = |(error, u): (&f64, &f64)| error.abs() > bound + 3.0 * u;
                assert!(!errors.iter().zip(&u).any(beyond), "{bound}: {errors:?}");
            }
            None => {
                let pulls: Vec<f64> = errors.iter().zip(&u).map(|(error, u)| error / u).collect();
                assert!(taken.is_some_and(|line| line > 0.0));
                // Ordinary sweeps reach 0.003 without any shading; a change is read from the same thirteen frames with twice the
                // noise.
                let most = if change == 0.0 { 0.003 } else { 0.006 };
                assert!(rms(&errors) < most, "{square}: {errors:?}");
                assert!(rms(&pulls) < 1.5, "{square}: {pulls:?}");
            }
        }
        assert_eq!(unseen.is_none(), is_seen, "{square}");
    }
}

/// Without shading nothing is taken out, and what the pictures could not have shown is stated apart.
#[test]
fn an_even_picture_is_left_alone() {
    let seen = measured(&shaded(Shading::default()));
    assert_eq!(line(&seen, Part::Shading), Some(0.0));
    let unseen = line(&seen, Part::UnseenShading).expect("a bound");
    assert!(unseen > 0.0 && unseen < 0.02, "{unseen}");
}
