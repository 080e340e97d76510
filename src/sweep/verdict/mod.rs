//! Reference, shifts, curve, worst shift and their uncertainty.

pub(super) mod budget;
pub(super) mod infinity;
pub(super) mod moved;
mod pairs;
mod pieces;
pub(super) mod slip;

use self::budget::{Differences, Noise, Setting};
use self::moved::Moves;
use self::pieces::{Pieces, points, separations};
use self::slip::Slip;
use super::evidence::Evidence;
use super::pulls::vignette;
use super::{CurvePoint, FrameResult, Part, ShiftCurve, Summary, frame};
use crate::units::Measured;

/// Least uncertainty of a separation that is believed, px: interpolation and compression leave as much in the best case.
const LEAST_U_PX: f64 = 0.002;

/// Works out shift, curve and worst shift; fills `shift_pct` of the frames. `None` where no frame was measured. `setting` is what the
/// bound of the entrance pupil needs.
pub(super) fn conclude(
    frames: &mut [FrameResult],
    evidence: &Evidence,
    setting: Setting,
) -> Option<Summary> {
    let reference = frame::reference(frames)?;
    let measured = separations(frames);
    let points = points(&measured, &evidence.standing.places, LEAST_U_PX);
    let last = measured.len() - 1;
    let is_after = |slip: &Slip| measured.partition_point(|(place, _)| *place < slip.after);
    let smooth = Pieces::through(
        &points,
        evidence.slip.as_ref().map(is_after),
        evidence.standing.places.are_uneven(),
    );
    let reference_px = smooth
        .as_ref()
        .map_or(points[last].1, |smooth| smooth.drawn(last, points[last].1));

    let mut differences = budget::differences(frames, reference);
    if let Some(backdrop) = &evidence.backdrop {
        for (difference, all) in differences.iter_mut().zip(&backdrop.u_pct) {
            // Two windows differ by the same background: what they show is in the budget already.
            let beyond = all * all - difference.window * difference.window;
            difference.background = beyond.max(0.0).sqrt();
        }
    }
    let mut fill = |left: Vec<f64>, part: fn(&mut Differences) -> &mut f64| {
        for (difference, u) in differences.iter_mut().zip(left) {
            *part(difference) = u;
        }
    };
    if let (Some(cut), Some(course)) = (&evidence.pulls.cut_blur, &evidence.course) {
        let left = vignette::u_pct(course, cut, reference_px, frames.len());
        fill(left, |difference| &mut difference.vignetting);
    }
    if let Some(shading) = &evidence.pulls.shading {
        let left = shading.u_pct(reference);
        fill(left, |difference| &mut difference.shading);
    }
    if let Some(warp) = &evidence.pulls.warp {
        let left = warp.u_pct(frames, reference);
        fill(left, |difference| &mut difference.warp);
    }
    if let Some(dust) = &evidence.dust {
        fill(dust.u_pct(frames, reference), |difference| {
            &mut difference.dust
        });
    }
    if let Some(other) = &evidence.other_light {
        fill(other.u_pct(frames), |difference| {
            &mut difference.other_light
        });
    }
    if let Some(moves) = &evidence.moves {
        let left = moves.u_pct(frames.len(), reference_px);
        fill(left, |difference| &mut difference.moved);
    }
    if evidence.standing.is_either_way() {
        // Against the first frame each shift would be as much another one; either reading may be right.
        let first_px = smooth
            .as_ref()
            .map_or(points[0].1, |smooth| smooth.drawn(0, points[0].1));
        let between = 100.0 * (1.0 / reference_px - 1.0 / first_px).abs();
        for (place, separation) in &measured {
            differences[*place].order = between * separation.value / std::f64::consts::SQRT_2;
        }
    }

    let mut curve = Vec::with_capacity(measured.len());
    // Worst shift and tolerance distance are read from the one curve, so that they can't contradict each other, and no
    // frame wins by its noise alone.
    let mut worst: Option<(usize, usize, Measured)> = None;
    for (k, (place, separation)) in measured.iter().enumerate() {
        let ratio = separation.value / reference_px;
        let (curved, u_raw, u_curve) = match &smooth {
            Some(smooth) => (
                smooth.drawn(k, separation.value) / reference_px,
                smooth.u_of_raw_difference(k, ratio, last),
                smooth.u_of_difference(k, ratio, last),
            ),
            None => {
                let u = points[k].2.hypot(ratio * points[last].2);
                (ratio, u, u)
            }
        };
        let beside = differences[*place].u();
        let percent = |ratio: f64, u_px: f64| {
            Measured::new(
                100.0 * (ratio - 1.0),
                (100.0 * u_px / reference_px).hypot(beside),
            )
        };
        let frame = &mut frames[*place];
        frame.shift_pct = Some(percent(ratio, u_raw));
        let on_curve = percent(curved, u_curve);
        if worst.is_none_or(|(.., most)| on_curve.value.abs() > most.value.abs()) {
            worst = Some((k, *place, on_curve));
        }
        curve.push(CurvePoint {
            travel: frame.travel,
            dioptres: frame.focus_dioptres,
            shift_pct: on_curve,
        });
    }
    let (k, worst, worst_shift_pct) = worst?;
    let slip = evidence.slip.as_ref();
    let slip = slip.filter(|slip| worst <= slip.before);
    let untold_move = |moves: &Moves| moves.untold_pct(worst, reference_px);
    let bounds = [
        (Part::UnseenShading, evidence.pulls.unseen_shading_pct),
        (Part::UnevenPupil, evidence.pulls.unseen_across_pct),
        (Part::UnseenVignetting, evidence.pulls.unseen_cut_pct),
        (Part::ZoomSlip, slip.map(|slip| slip.jump_pct.value.abs())),
        (
            Part::UntoldMove,
            evidence.moves.as_ref().and_then(untold_move),
        ),
    ];
    let per_px = 100.0 / reference_px;
    let noise = Noise {
        frame: points[k].2 * per_px,
        reference: smooth
            .as_ref()
            .map_or(points[last].2, |smooth| smooth.stated_u(last))
            * per_px,
        total: (worst_shift_pct.std_error.powi(2) - differences[worst].u().powi(2))
            .max(0.0)
            .sqrt(),
    };
    Some(Summary {
        reference,
        worst,
        worst_shift_pct,
        relative_to_farthest: false,
        curve: ShiftCurve::new(curve),
        budget: budget::of(
            noise,
            differences
                .get(worst)
                .copied()
                .unwrap_or(Differences::default()),
            setting,
            bounds,
        ),
    })
}
