use super::*;
use crate::sweep::verdict::pairs::tests::sweep;

fn found(frames: &[FrameResult]) -> Moves {
    find(frames, &Places::in_order(frames.len()), Some((1001, 801))).expect("two targets")
}

/// A curve that bends, as lenses breathe: by 4 px, most of it in the nearest frames.
fn breathing(x: f64) -> f64 {
    450.0 - 4.0 * (1.0 - (-x / 4.0).exp())
}

fn separations_px(frames: &[FrameResult]) -> Vec<f64> {
    frames
        .iter()
        .map(|frame| frame.separation_px.expect("measured").value)
        .collect()
}

/// Moved along by so much in the `over` intervals before the 9th frame.
fn by(size: f64, over: f64) -> impl Fn(f64) -> f64 {
    move |x| size * ((x - 8.0 + over) / over).clamp(0.0, 1.0)
}

fn still(_: f64) -> f64 {
    0.0
}

/// Moves of one target by 0.06 to 0.3 % of the distance, at once or over up to four frames, are told from those of the
/// camera, and taken out.
#[test]
fn a_target_that_moves_is_told_and_taken_out() {
    let truth = separations_px(&sweep(breathing, still, still));
    for size in [-2.7, -1.2, 0.5, 2.7] {
        for over in [1.0, 2.0, 4.0] {
            for side in [Side::Right, Side::Left] {
                let mut frames = match side {
                    Side::Right => sweep(breathing, still, by(size, over)),
                    Side::Left => sweep(breathing, by(-size, over), still),
                };
                let of = format!("{size} over {over} on the {side:?}");
                let moves = found(&frames);
                if size.abs() < 1.0 && over > 3.0 {
                    // As smooth as the curve may be, for its size.
                    let open = moves.untold_pct(0, 900.0).expect("left open");
                    assert!((9.0 * open - size.abs()).abs() < 0.2, "{of}: {open}");
                    continue;
                }
                let [moved] = &moves.moved[..] else {
                    panic!("{of}: {moves:?}");
                };
                assert_eq!(moved.side, side, "{of}");
                assert!((7..=8).contains(&moved.after), "{of}: {moved:?}");
                assert!(8 - moved.before >= over as usize, "{of}: {moved:?}");
                let size_off = (moved.apart_px.value - size) / moved.apart_px.std_error;
                assert!(size_off.abs() < 3.0, "{of}: {moved:?}");
                moves.correct(&mut frames);
                // Against the reference, as a shift is; while it moves, twice the trembling of the camera is in it.
                let last = separations_px(&frames)[15] - truth[15];
                for (k, (px, truth)) in separations_px(&frames).iter().zip(&truth).enumerate() {
                    let off = px - last - truth;
                    assert!(off.abs() < 0.15, "{of}: {off} in frame {k}");
                }
                assert!(moves.u_pct(16, 900.0)[0] > 0.0);
                assert!(moves.u_pct(16, 900.0)[15].abs() < 1e-12);
            }
        }
    }
}

/// A camera that moves, at once or over some frames, moves both: nothing is taken out, and nothing is left open.
#[test]
fn a_camera_that_moves_is_no_target() {
    for size in [-5.0, -0.9, 0.5, 30.0] {
        for over in [1.0, 2.0, 4.0] {
            let moves = found(&sweep(breathing, by(size, over), by(size, over)));
            assert!(moves.moved.is_empty(), "{size} over {over}: {moves:?}");
            assert_eq!(moves.untold_pct(0, 900.0), None, "{size} over {over}");
        }
    }
}

/// What creeps as smoothly as lenses breathe is left open, whoever does: the bound says what a target would do.
#[test]
fn what_creeps_through_the_whole_sweep_is_left_open() {
    let creep = |by: f64| move |x: f64| by * (1.0 - x / 15.0).powi(2);
    for (frames, bound) in [
        (sweep(breathing, creep(2.0), creep(2.0)), 0.44),
        (sweep(breathing, creep(2.0), still), 0.22),
    ] {
        let moves = found(&frames);
        assert!(moves.moved.is_empty(), "{moves:?}");
        let open = moves.untold_pct(0, 900.0).expect("left open");
        // Most of it: some may be laid to the lens's axis.
        assert!(
            open > 0.6 * bound && open < 1.1 * bound,
            "{open} of {bound}"
        );
    }
}

#[test]
fn a_still_sweep_has_no_moves() {
    let moves = found(&sweep(breathing, still, still));
    assert!(moves.moved.is_empty(), "{moves:?}");
    assert_eq!(moves.untold_pct(0, 900.0), None);
}

/// A curve that bends within a few frames, as tables of lenses do, is no target that creeps, though the camera trembles along with it
/// by chance, by 3.5 standard uncertainties of the middle: among so many courses one does. It is left open.
#[test]
fn a_bend_of_the_curve_is_no_creeping_target() {
    for (bend, shake) in [(0.9, 0.1), (1.5, 0.1), (1.5, 0.2)] {
        let course = |x: f64| ((x - 5.0) / 4.0).clamp(0.0, 1.0);
        let bent = |x: f64| breathing(x) - bend / 2.0 * course(x);
        let camera = |x: f64| shake * (7.3 * x * x + 1.0).sin() - 0.35 * bend * course(x);
        let moves = found(&sweep(bent, camera, camera));
        assert!(moves.moved.is_empty(), "{bend} {shake}: {moves:?}");
        assert!(moves.untold_pct(0, 900.0).is_some(), "{bend} {shake}");
    }
}
