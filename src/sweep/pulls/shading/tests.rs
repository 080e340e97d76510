use super::*;
use crate::measure::{Lean, Target};
use crate::sweep::distance::blur::BlurCourse;
use crate::sweep::{FrameInfo, FrameState};
use crate::units::Measured;

/// Between the targets, px.
const SEPARATION: f64 = 1000.0;
/// Second moment of the tape, px², and its fourth cumulant, px⁴: a square of 24 px.
const TAPE: (f64, f64) = (48.0, -2765.0);

/// Blur that runs from 80 px before the targets to 30 px beyond, px.
fn blurs() -> Vec<f64> {
    (0..12).map(|k| 80.0 - 10.0 * f64::from(k)).collect()
}

/// What tilts a blur of a signed size, for the left and the right target: the part by which light rises outwards at its rim.
type Tilt = fn(f64) -> (f64, f64);

/// A sweep of discs whose light is tilted so, with their closed third moments and pulls, each third moment off by a share of its
/// standard uncertainty; every target is 500 px from the middle when nothing pulls.
fn frames(tilt: Tilt) -> (Vec<FrameResult>, BlurCourse) {
    swept(tilt, 0.0, TAPE, &blurs())
}

/// The same of other tape and blurs, in light that rises outwards by a part a pixel as well.
fn swept(tilt: Tilt, rise: f64, tape: (f64, f64), blurs: &[f64]) -> (Vec<FrameResult>, BlurCourse) {
    let target = |x: f64, outwards: f64, blur: f64, tilt: f64, off: f64| {
        let disc = blur * blur / 16.0;
        let variance = tape.0 + disc;
        let fourth = tape.1 - disc * disc;
        let u = 4e-4 * variance.powf(1.5);
        let c = blur.abs();
        Target {
            lean: Lean {
                third_px3: Measured::new(
                    outwards * (rise * fourth - tilt * c.powi(3) / 128.0) + off * u,
                    u,
                ),
                fourth_px4: fourth,
                tilt_px2: variance,
            },
            ..Target::plain(
                x + outwards * (rise * variance + tilt * c / 8.0),
                600.0,
                variance,
            )
        }
    };
    let frame = |(k, &blur): (usize, &f64)| {
        let (left, right) = tilt(blur);
        // Off by what noise does, the same for every run.
        let off = |seed: f64| (12.9 * (k as f64 + seed)).sin();
        let targets = vec![
            target(500.0, -1.0, blur, left, off(0.0)),
            target(1500.0, 1.0, blur, right, off(0.4)),
        ];
        let apart = targets[1].x_px.value - targets[0].x_px.value;
        FrameResult {
            info: FrameInfo::default(),
            state: FrameState::Measured,
            travel: k as f64 / (blurs.len() - 1) as f64,
            focus_dioptres: None,
            targets,
            separation_px: Some(Measured::new(apart, 0.006)),
            shift_pct: None,
            blur_px: vec![None; 2],
        }
    };
    let frames: Vec<FrameResult> = blurs.iter().enumerate().map(frame).collect();
    let course = BlurCourse {
        signed: blurs
            .iter()
            .map(|blur| Measured::new(*blur, 0.1))
            .enumerate()
            .collect(),
        sharpest: 8.0,
        sharp_variance: tape.0,
    };
    (frames, course)
}

/// Errors of the shifts against the last frame and their stated uncertainties, percentage points, before and after the correction.
fn errors(tilt: Tilt) -> (Shading, Vec<f64>, Vec<f64>, Vec<f64>) {
    let (mut frames, course) = frames(tilt);
    let shading = detect(&frames, Some(&course), None, Tone::Srgb).expect("enough frames");
    let shifts = |frames: &[FrameResult]| -> Vec<f64> {
        let separation = |frame: &FrameResult| frame.separation_px.map_or(0.0, |s| s.value);
        let last = frames.last().map_or(SEPARATION, separation);
        frames
            .iter()
            .map(|frame| 100.0 * (separation(frame) / last - 1.0))
            .collect()
    };
    let before = shifts(&frames);
    if shading.is_believed() {
        shading.correct(&mut frames);
    }
    let u = shading.u_pct(frames.len() - 1);
    (shading, before, shifts(&frames), u)
}

fn largest(errors: &[f64]) -> f64 {
    errors.iter().map(|error| error.abs()).fold(0.0, f64::max)
}

/// What a pupil's own light tilts turns over through focus, coma does not; both are taken out, as brightness is.
#[test]
fn light_that_rises_across_the_pupil_is_taken_out() {
    let turning: Tilt = |blur| (0.02 * blur.signum(), 0.02 * blur.signum());
    let steady: Tilt = |_| (0.03, 0.03);
    // Brightness by g a pixel rises by g·c/2 to the rim.
    let bright: Tilt = |blur| (3e-4 * blur.abs(), 3e-4 * blur.abs());
    for tilt in [turning, steady, bright] {
        let (shading, before, after, u) = errors(tilt);
        assert!(shading.is_believed());
        assert!(largest(&before) > 0.03, "{before:?}");
        assert!(largest(&after) < 0.2 * largest(&before), "{after:?}");
        for (error, u) in after.iter().zip(&u) {
            assert!(error.abs() < 2.5 * u.max(2e-4), "{after:?} {u:?}");
        }
    }
}

/// Where nothing tilts, nothing is taken out, and the uncertainty grows by no more than ordinary sweeps have anyway. What the pictures
/// do not exclude stays as a bound, no more than the pupil does by itself.
#[test]
fn even_light_is_left_alone() {
    let (shading, before, after, u) = errors(|_| (0.0, 0.0));
    assert!(largest(&before) < 1e-9);
    assert!(largest(&after) < 0.002, "{after:?}");
    assert!(largest(&u) < 0.004, "{u:?}");
    let last = blurs().len() - 1;
    // A rise by 0.4 % pulls both by 0.004·(80 + 30)/8 px.
    let whole = 100.0 * 2.0 * 0.004 * 110.0 / 8.0 / SEPARATION;
    let bound = shading.unseen_across_pct(0.004, last);
    assert!(bound > 0.0 && bound <= whole * 1.001, "{bound} {whole}");
    let most = shading.unseen_across_pct(1.0, last);
    assert!(most < 3.0 * whole, "the pictures exclude more: {most}");
}

/// One target alone leans by a glow beside it: brightness does not do that.
#[test]
fn what_one_target_shows_alone_is_not_taken_out() {
    let (shading, _, _, u) = errors(|blur| (1e-3 * blur.abs(), 0.0));
    assert!(!shading.is_believed());
    assert!(largest(&u) > 0.01, "{u:?}");
}

/// Before small blur a large tape may lean by itself as much as falling light makes it: neither is chosen, and what is left of either is
/// within 2.5 standard uncertainties. Before large blur the same light is told.
#[test]
fn large_tape_hides_falling_light_and_the_uncertainty_says_so() {
    // A square of 66 px, whose fourth cumulant is −w⁴/120.
    let tape = (363.0, -158_000.0);
    let half = SEPARATION / 2.0;
    let small: Vec<f64> = (0..15).map(|k| 48.0 - 5.0 * f64::from(k)).collect();
    let large: Vec<f64> = (0..15).map(|k| 200.0 - 20.0 * f64::from(k)).collect();
    let left = |over_half: f64, blurs: &[f64]| {
        let (frames, course) = swept(|_| (0.0, 0.0), over_half / half, tape, blurs);
        let shading = detect(&frames, Some(&course), None, Tone::Srgb).expect("enough frames");
        let (read, u) = (shading.both.rise_at(0.0), shading.both.u_of_rise_at(0.0));
        (read * half - over_half, u * half)
    };
    for over_half in [-1.2, -0.8, -0.3, 0.0, 0.4] {
        let (hidden, u) = left(over_half, &small);
        assert!(hidden.abs() < 2.5 * u, "{over_half}: {hidden} {u}");
        let (told, u) = left(over_half, &large);
        assert!(told.abs() < 0.05 && u < 0.15, "{over_half}: {told} {u}");
    }
}

/// A rise that changes by two fifths over the sweep is hardly told from a steady one; where blur is as wide as the reference's, its
/// pull is still another, and the uncertainty says so.
#[test]
fn light_that_changes_with_focus_is_held() {
    // Brightness by g a pixel rises by g·c/2 to the rim.
    let changing: Tilt = |blur| {
        let tilt = 6e-4 * (1.0 + 0.4 * (blur - 25.0) / 110.0) * blur.abs() / 2.0;
        (tilt, tilt)
    };
    let (shading, _, after, u) = errors(changing);
    assert!(shading.is_believed());
    let last = after.len() - 1;
    for (k, (error, u)) in after.iter().zip(&u).enumerate().take(last) {
        assert!(error.abs() < 3.0 * u.max(2e-4), "{k}: {after:?} {u:?}");
    }
}
