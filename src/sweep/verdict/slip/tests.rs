use super::*;
use crate::sweep::{FrameInfo, FrameState};

/// A sweep of 16 frames whose targets lie `half` px to either side of the middle of a picture of 1001 × 801 px, each moved
/// along by some px from the 8th frame on; the camera trembles by a twentieth of a pixel.
fn stepping(left_px: f64, right_px: f64) -> Vec<FrameResult> {
    (0..16)
        .map(|place| {
            let x = f64::from(place);
            let tremble = 0.05 * (2.4 * x).sin();
            let moved = |by: f64| if place < 8 { 0.0 } else { by };
            let half = 450.0 - x / 2.0;
            let (left, right) = (-half + moved(left_px), half + moved(right_px));
            let at = |x: f64| {
                let mut target = Target::plain(500.0 + x + tremble, 400.0 + tremble, 400.0);
                (target.x_px.std_error, target.y_px.std_error) = (0.0035, 0.0035);
                target
            };
            FrameResult {
                info: FrameInfo::default(),
                state: FrameState::Measured,
                travel: x / 15.0,
                focus_dioptres: None,
                targets: vec![at(left), at(right)],
                separation_px: Some(Measured::new(right - left, 0.005)),
                shift_pct: None,
                blur_px: Vec::new(),
            }
        })
        .collect()
}

fn found(frames: &[FrameResult], cut: Option<&CutBlur>) -> Option<Slip> {
    let seen = Seen {
        frames,
        places: &Places::in_order(frames.len()),
        course: None,
        size_px: Some((1001, 801)),
        other_light: None,
    };
    find(&seen, cut)
}

/// Steps of 0.03 to 0.3 % of the distance are found where they are and as large as they are, and laid to whoever made them.
#[test]
fn a_step_is_told_by_who_stands_still() {
    for size in [-2.7, -0.9, 0.5, 2.7] {
        for (left, right, by) in [
            (-size / 2.0, size / 2.0, Mover::Ring),
            (0.0, size, Mover::Right),
            (-size, 0.0, Mover::Left),
            (-0.3 * size, 0.7 * size, Mover::Untold),
        ] {
            let mut frames = stepping(left, right);
            let slip = found(&frames, None).expect("it steps in the middle");
            assert_eq!((slip.before, slip.after), (7, 8));
            assert!((slip.jump_px - size).abs() < 1e-3, "{slip:?}");
            if size.abs() > 0.6 {
                assert_eq!(slip.by, by, "{size} {left} {right}");
            }
            // A target's step is gone from the frames before it, that of the scale stays.
            slip.correct(&mut frames);
            let first = frames[0].separation_px.expect("measured").value;
            let whole = 900.0 + if slip.is_of_target() { size } else { 0.0 };
            // In a picture that is wider by 0.8 %, the step is as well.
            let as_wide = 0.01 * size.abs();
            assert!((first - whole).abs() < as_wide, "{first} for {whole}");
            assert_eq!(slip.u_pct(16)[7] > 0.0, slip.is_of_target());
            assert!(slip.u_pct(16)[8].abs() < 1e-12);
        }
    }
}

/// What is too small to matter, or runs smoothly, is none.
#[test]
fn a_smooth_run_has_no_step() {
    assert_eq!(found(&stepping(0.0, 0.0), None), None);
    assert_eq!(found(&stepping(0.0, 0.15), None), None);
}

#[test]
fn what_cut_blur_explains_is_no_slip() {
    let frames = stepping(-1.35, 1.35);
    let cut = CutBlur {
        flattening: 0.1,
        pull: 0.02,
        left_over: 1.0,
        certain: false,
        named: true,
        effect_pct: 0.5,
    };
    assert_eq!(found(&frames, Some(&cut)), None);
    let slight = CutBlur {
        effect_pct: 0.01,
        ..cut
    };
    assert!(found(&frames, Some(&slight)).is_some());
}
