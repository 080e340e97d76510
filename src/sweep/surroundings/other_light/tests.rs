use super::*;
use crate::measure::Lean;
use crate::sweep::{FrameInfo, FrameState};

/// Second moments, px², from the first frame to the last.
const BLURS: [f64; 9] = [
    765.0, 690.0, 630.0, 580.0, 545.0, 520.0, 515.0, 518.0, 535.0,
];

/// A sweep of two targets, of which the right one has these third moments along x and y, px³ at the reference's scale, by second
/// moment and place.
fn sweep(thirds: impl Fn(f64, usize) -> (f64, f64)) -> Vec<FrameResult> {
    let frame = |(place, &variance): (usize, &f64)| {
        let scale = 1.02 - 0.0025 * place as f64;
        let cube = scale.powi(3);
        let (x, y) = thirds(variance, place);
        let lopsided = Target {
            lean: Lean {
                third_px3: Measured::new(x * cube, 5.0),
                ..Lean::NONE
            },
            lean_y_px: Measured::new(y * cube / variance, 5.0 / variance),
            flags: vec![Flag::Vignetted],
            ..Target::plain(1290.0 * scale, 600.0, variance)
        };
        FrameResult {
            info: FrameInfo::default(),
            state: FrameState::Measured,
            travel: place as f64 / (BLURS.len() - 1) as f64,
            focus_dioptres: None,
            targets: vec![Target::plain(0.0, 600.0, variance), lopsided],
            separation_px: Some(Measured::new(1290.0 * scale, 0.006)),
            shift_pct: None,
            blur_px: vec![None; 2],
        }
    };
    BLURS.iter().enumerate().map(frame).collect()
}

fn lopsided(frames: &[FrameResult]) -> Vec<usize> {
    detect(frames, None, None, None, None).map_or_else(Vec::new, |found| found.lopsided)
}

/// Skewness of 0.07 to 0.14 along the line and 0.13 to 0.26 across it, with a change of blur by half, and where another tone curve
/// takes a fifth of it from the wide frames.
#[test]
fn irregular_tape_is_no_other_light() {
    let tape = sweep(|_, _| (1640.0, 3000.0));
    assert_eq!(lopsided(&tape), Vec::<usize>::new());
    let toned = |variance: f64| 1.0 - 0.2 * (variance - 515.0) / 250.0;
    let tape = sweep(|variance, _| (1640.0 * toned(variance), 3000.0 * toned(variance)));
    assert_eq!(lopsided(&tape), Vec::<usize>::new());
}

/// Light that comes in two frames alone, and a glow that a target runs away from from frame to frame.
#[test]
fn light_beside_irregular_tape_is_named() {
    for axis in [0, 1] {
        let comes = |place: usize| if (3..5).contains(&place) { 1.0 } else { 0.0 };
        let frames = sweep(|_, place| {
            let light = 2500.0 * comes(place);
            if axis == 0 {
                (1640.0 + light, 3000.0)
            } else {
                (1640.0, 3000.0 + light)
            }
        });
        assert_eq!(lopsided(&frames), [3, 4], "{axis}");
    }
    let runs_away = sweep(|_, place| (400.0 * place as f64, 0.0));
    assert!(lopsided(&runs_away).contains(&8));
}

/// Where the blur hardly changes, nothing tells tape from light.
#[test]
fn without_a_change_of_blur_nothing_is_the_tapes_own() {
    let mut frames = sweep(|_, _| (1640.0, 0.0));
    for frame in &mut frames {
        for target in &mut frame.targets {
            target.variance_px2.value = 530.0;
        }
    }
    assert_eq!(lopsided(&frames).len(), BLURS.len());
}

/// Of the left target's light, six times the right one's, four fifths stand still while the scale changes; or the right one's loses a
/// twentieth more as the blur grows.
#[test]
fn what_drowns_a_target_stands_still() {
    let factor = |lights: &dyn Fn(f64, f64) -> (f64, f64)| {
        let mut frames = sweep(|_, _| (0.0, 0.0));
        for frame in &mut frames {
            let scale = frame.separation_px.expect("measured").value / 1290.0;
            let blur = frame.targets[0].variance_px2.value / 765.0;
            let (left, right) = lights(scale * scale, blur);
            (frame.targets[0].flux, frame.targets[1].flux) = (1500.0 * left, 1500.0 * right);
        }
        detect(&frames, None, None, None, None).and_then(|found| found.factor)
    };
    let drowned = factor(&|square, _| (6.0 * (0.2 * square + 0.8), square));
    assert!(drowned.is_some_and(|factor| (factor - 6.0).abs() < 0.3));
    let faint = |square: f64, blur: f64| (6.0 * square, square * (1.0 - 0.15 * blur));
    assert_eq!(factor(&faint), None);
    assert_eq!(factor(&|square, _| (6.0 * square, square)), None);
}

/// A frame that the shutter hardly opened for, or whose targets drown in noise, says nothing of other light, where as much in a frame that
/// is well lit, or dim but not so dim, does.
#[test]
fn a_black_frame_is_no_other_light() {
    // The left target's light is halved, all light is `dim` times as much, and known to one part in `snr`; see `light_noise`.
    let changing = |dim: f64, snr: f64| {
        let mut frames = sweep(|_, _| (0.0, 0.0));
        let [left, right] = &mut frames[1].targets[..] else {
            return Vec::new();
        };
        let radius = f64::from(left.window.right - left.window.left) / 2.0;
        left.flux *= dim / 2.0;
        right.flux *= dim;
        left.flags = vec![Flag::Faint];
        left.variance_px2.std_error = radius * radius / 4.0 / snr;
        detect(&frames, None, None, None, None).map_or_else(Vec::new, |found| found.changing)
    };
    for (dim, snr) in [(1.0, 8.0), (0.002, 300.0)] {
        assert_eq!(changing(dim, snr), Vec::<usize>::new(), "{dim} {snr}");
    }
    for (dim, snr) in [(1.0, 300.0), (1.0, 30.0), (0.5, 30.0)] {
        assert_eq!(changing(dim, snr), [1], "{dim} {snr}");
    }
}
