use super::*;
use crate::measure::{Target, Toned};
use crate::sweep::pulls::overlap::Overlap;
use crate::sweep::pulls::tone::{self, Curve};
use crate::sweep::{FrameInfo, FrameState};
use crate::units::Measured;

const SEPARATION: f64 = 800.0;

/// What a target shows under this curve of a camera: moments in light as they are given, and peak of the light.
fn shown(curve: &Curve, side: f64, light: f64, peak: f64, [xx, yy, xxx, four]: [f64; 4]) -> Target {
    let mut target = Target::plain(500.0 + side * SEPARATION / 2.0, 300.0, 100.0);
    // Of light from the peak down to a tenth of it, whose dim parts lie outside, at twice the squares of the places.
    let of = |inner: f64, outer: f64| {
        std::array::from_fn::<f64, POWERS, _>(|k| {
            let power = k as i32 + 1;
            0.8 * inner * peak.ln().powi(power) + 0.2 * outer * (0.3 * peak).ln().powi(power)
        })
    };
    target.toned = Toned {
        light: of(1.0, 1.0),
        x: [0.0; POWERS],
        xx: of(0.75 * xx, 2.0 * xx),
        yy: of(0.75 * yy, 2.0 * yy),
        xxx: of(0.6 * xxx, 2.6 * xxx),
        four_fold: of(0.5 * four, 3.0 * four),
    };
    (target.peak, target.flux) = (peak, light);
    target.variance_px2.value = (xx + yy) / 2.0;
    target.elongation = (xx - yy) / (xx + yy);
    target.lean.third_px3.value = xxx;
    target.four_fold_px4 = Measured::new(four - 3.0 * (xx - yy).powi(2), 1e-4 * (xx + yy).powi(2));
    // The way from what it sends to what is read.
    tone::put_instead(curve, &Curve::zeros(), &mut target);
    target
}

/// A sweep of 18 frames of tall tape whose light jumps by a tenth, and whose blur is cut to this overlap, if any.
fn sweep(curve: &Curve, cut: Option<Overlap>) -> (Vec<FrameResult>, BlurCourse) {
    let shape = cut.unwrap_or(Overlap {
        flattening: 0.0,
        asymmetry: 0.0,
        pull: 0.0,
        four_fold: 0.0,
    });
    let tape = [20.0_f64.powi(2) / 12.0, 60.0_f64.powi(2) / 12.0];
    let of_tape = -(20.0_f64.powi(4) + 60.0_f64.powi(4)) / 120.0;
    let mut signed = Vec::new();
    let frames = (0..18_usize)
        .map(|place| {
            let travel = place as f64 / 17.0;
            let blur = 70.0 - 95.0 * travel;
            let square = blur * blur / 16.0;
            let xx = tape[0] + square * (1.0 - shape.flattening);
            let yy = tape[1] + square * (1.0 + shape.flattening);
            let four = of_tape + shape.four_fold * blur.powi(4) + 3.0 * (xx - yy).powi(2);
            let jump = [1.1, 0.93, 1.02, 0.9, 1.06][place % 5];
            let peak = 0.8 * jump / (1.0 + 1.2 * (square / tape[0]).sqrt());
            let third = shape.asymmetry * blur.powi(3);
            let target = |side: f64| {
                let moments = [xx, yy, -side * third, four];
                shown(curve, side, 900.0 * jump, peak, moments)
            };
            signed.push((place, Measured::new(blur, 0.02)));
            FrameResult {
                info: FrameInfo::default(),
                state: FrameState::Measured,
                travel,
                focus_dioptres: None,
                targets: vec![target(-1.0), target(1.0)],
                separation_px: Some(Measured::new(SEPARATION, 0.005)),
                shift_pct: None,
                blur_px: Vec::new(),
            }
        })
        .collect();
    let course = BlurCourse {
        signed,
        sharpest: 70.0 / 95.0 * 17.0,
        sharp_variance: (tape[0] + tape[1]) / 2.0,
    };
    (frames, course)
}

fn curves() -> [Curve; 3] {
    [
        Curve::new(0.3, 0.2, 0.02),
        Curve::new(-0.1, 0.02, 0.0),
        Curve::zeros(),
    ]
}

#[test]
fn a_cut_is_told_under_a_curve_that_jumping_light_hides() {
    let rim = Overlap::of(1.2, 0.5).expect("they overlap");
    for curve in curves() {
        let (frames, course) = sweep(&curve, Some(rim));
        let shape = look(&frames, &course, None, Tone::Unknown).expect("enough frames");
        let Shape::Cut(cut) = shape else {
            panic!("{curve:?}: {shape:?}");
        };
        assert!(cut.certain && cut.is_remarkable(), "{curve:?}: {cut:?}");
        let off = (cut.pull - rim.pull).abs();
        assert!(off < 2.0 * cut.left_over * cut.pull, "{curve:?}: {cut:?}");
    }
}

#[test]
fn whole_blur_is_not_cut_by_a_curve() {
    for curve in curves() {
        let (frames, course) = sweep(&curve, None);
        let shape = look(&frames, &course, None, Tone::Unknown).expect("enough frames");
        let Shape::Whole { unseen_pct } = shape else {
            panic!("{curve:?}: {shape:?}");
        };
        // 0.1 of the blur would pull by 2.4 points.
        assert!(unseen_pct < 0.3, "{curve:?}: {unseen_pct}");
    }
}

/// The square of the scale changes with nothing that a curve does to light.
#[test]
fn the_curve_is_found_by_shape_and_light() {
    let rim = Overlap::of(1.2, 0.5).expect("they overlap");
    let curve = curves()[0];
    let (frames, course) = sweep(&curve, Some(rim));
    let of = Sweep::new(&frames, &course, None, Tone::Unknown).expect("targets");
    let (found, root) = of.curve().expect("enough frames");
    for k in 0..POWERS {
        let u = root.row(k).norm();
        assert!(
            (found[k] - curve[k]).abs() < 3.0 * u + 0.02,
            "{found:?} {root:?}"
        );
    }
}
