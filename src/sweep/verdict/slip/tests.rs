use super::*;
use crate::sweep::verdict::pairs;

/// Targets that draw together evenly, moved between the 8th and the 9th frame.
fn sweep(left_px: f64, right_px: f64) -> Vec<FrameResult> {
    let moved = |by: f64| move |x: f64| if x < 8.0 { 0.0 } else { by };
    pairs::tests::sweep(|x| 450.0 - x / 2.0, moved(left_px), moved(right_px))
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

/// Steps of 0.06 to 0.3 % of the distance are found where they are and as large as they are; the ring where the middle
/// stands still.
#[test]
fn a_step_is_told_by_who_stands_still() {
    for size in [-2.7, -0.9, 0.5, 2.7] {
        for (left, right, by) in [
            (-size / 2.0, size / 2.0, Mover::Ring),
            (-0.3 * size, 0.7 * size, Mover::Untold),
        ] {
            let slip = found(&sweep(left, right), None).expect("it steps in the middle");
            assert_eq!((slip.before, slip.after), (7, 8));
            assert!((slip.jump_px - size).abs() < 1e-3, "{slip:?}");
            if size.abs() > 0.6 {
                assert_eq!(slip.by, by, "{size} {left} {right}");
            }
        }
    }
}

/// What is too small to matter, or runs smoothly, is none.
#[test]
fn a_smooth_run_has_no_step() {
    assert_eq!(found(&sweep(0.0, 0.0), None), None);
    assert_eq!(found(&sweep(0.0, 0.15), None), None);
}

#[test]
fn what_cut_blur_explains_is_no_slip() {
    let frames = sweep(-1.35, 1.35);
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

/// With the step taken out the separations run on as they do: by 1 px a frame here.
#[test]
fn a_step_can_be_taken_out() {
    for size in [-2.7, 0.9] {
        let frames = sweep(-size / 2.0, size / 2.0);
        let slip = found(&frames, None).expect("it steps in the middle");
        let separations: Vec<_> = frames.iter().map(|frame| frame.separation_px).collect();
        let whole = slip.taken_out(&separations);
        for (two, seen) in whole.windows(2).zip(&separations[1..]) {
            let [Some(before), Some(after)] = two else {
                panic!("every frame has targets");
            };
            assert!((before.value - after.value - 1.0).abs() < 1e-3, "{two:?}");
            assert_eq!(seen.map(|seen| seen.std_error), Some(after.std_error));
        }
    }
}
