//! What frames show of the shape of their blur, and what of it goes with its third and fourth power.

use nalgebra::{DMatrix, DVector};

use super::super::leaning_pair;
use super::super::spread::reference_px;
use super::super::warp::Warp;
use super::{share_of_blur, weight};
use crate::measure::{Flag, Target};
use crate::sweep::FrameResult;
use crate::sweep::distance::blur::BlurCourse;
use crate::sweep::fitting::least_squares::{self, Fit};
use crate::units::Measured;

/// Improvement of χ² over its scatter from which what leans alike on both sides of focus is fitted beside a cut: 5 standard
/// deviations.
const WORTH_BOTH: f64 = 25.0;
/// A picture that shrinks so that it flattens blur by the share α leans it by this times α over the distance between the targets:
/// 18·k·x with α = 2·k·x², see `warp`.
const SHRUNK: f64 = 18.0;
/// Least standard uncertainty of a four-fold cumulant that is believed, as a part of the second moment's square.
const LEAST_FOUR_FOLD: f64 = 0.002;
/// Flattening that a ceiling makes of blur before tape that is no square, standard deviation: up to 0.013 in sweeps of another
/// renderer whose targets are burnt out in all frames, tape 1.2 to 1.4 times as long as wide, and 0.05 with another tone curve.
pub(super) const BY_CEILING: f64 = 0.03;

/// What one frame shows of its two targets at the reference's scale.
#[derive(Debug, Clone, Copy)]
pub(in crate::sweep) struct Seen {
    pub(in crate::sweep) blur: f64,
    /// Place in the sweep, 0 to 1.
    pub(in crate::sweep) travel: f64,
    /// Second moment across less along the line, left and right.
    pub(in crate::sweep) flat: [f64; 2],
    /// Third moment along the line, left and right, the latter mirrored; and their mean.
    pub(in crate::sweep) thirds: [f64; 2],
    pub(in crate::sweep) lopsided: f64,
    /// Mean second moment squared, that along the line squared, and fourth cumulant along it, means of both targets, px⁴.
    pub(in crate::sweep) square: f64,
    pub(in crate::sweep) along: f64,
    pub(in crate::sweep) fourth: f64,
    /// Four-fold fourth cumulant.
    pub(in crate::sweep) four_fold: Measured,
    /// What a picture makes of it that shrinks so that the blur is as flat; `None` where none does.
    pub(in crate::sweep) shrunk: Option<Shrunk>,
    /// Light is cut off at the ceiling.
    pub(in crate::sweep) burnt: bool,
}

/// By what share blurs are flatter along the line of the targets, as a few frames or all tell.
pub(super) struct Flat {
    pub(super) both: Measured,
    /// Of the left and the right target alone.
    pub(super) sides: [f64; 2],
    /// Frames that are burnt out tell it as well, which tape makes flatter or longer.
    pub(super) burnt: bool,
}

/// From the frames that are not burnt out, or from all where these tell less.
#[must_use]
pub(super) fn flat(seen: &[Seen]) -> Option<Flat> {
    let of = |burnt: bool, besides: f64| {
        let share = |of: &dyn Fn(&Seen) -> f64| {
            let kept = seen.iter().filter(|s| burnt || !s.burnt);
            share_of_blur(kept.map(|s| (s.blur, of(s))))
        };
        let both = share(&|s| (s.flat[0] + s.flat[1]) / 2.0)?;
        Some(Flat {
            both: Measured::new(both.value, both.std_error.hypot(besides)),
            sides: [share(&|s| s.flat[0])?.value, share(&|s| s.flat[1])?.value],
            burnt,
        })
    };
    let clear = of(false, 0.0);
    if !seen.iter().any(|s| s.burnt) {
        return clear;
    }
    let all = of(true, BY_CEILING);
    match (clear, all) {
        (Some(clear), Some(all)) if all.both.std_error < clear.both.std_error => Some(all),
        (clear, all) => clear.or(all),
    }
}

/// What a picture that shrinks towards its sides makes of the light of a tape and its blur.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(in crate::sweep) struct Shrunk {
    /// Second moment across less along, px², for each unit of the share by which it is shorter.
    pub(in crate::sweep) flat: f64,
    /// Third moment along the line, px³.
    pub(in crate::sweep) lopsided: f64,
    /// Four-fold cumulant of the tape, px⁴, beyond that at the reference's scale.
    pub(in crate::sweep) four_fold: f64,
}

/// What the frames of a sweep show, beside the stretch of the picture that was found, if any.
#[must_use]
pub(super) fn of(
    frames: &[FrameResult],
    course: &BlurCourse,
    warp: Option<&Warp>,
) -> Option<Vec<Seen>> {
    let separation = reference_px(frames)?;
    let seen = course.signed.iter().filter_map(|&(place, blur)| {
        let [left, right] = leaning_pair(&frames[place].targets)?;
        // At the reference's scale, so that the tape's own shape is the same in every frame, as the blur's is.
        let scale = frames[place].separation_px?.value / separation;
        let variance = |t: &Target| t.variance_px2.value.max(0.0) / (scale * scale);
        let flat = |t: &Target| -2.0 * t.elongation * variance(t);
        let third = |t: &Target| t.skewness() * variance(t).powf(1.5);
        let mean = |of: &dyn Fn(&Target) -> f64| (of(left) + of(right)) / 2.0;
        let (four_left, four_right) = (left.four_fold_px4, right.four_fold_px4);
        let four_fold = Measured::new(
            four_left.value + four_right.value,
            four_left.std_error.hypot(four_right.std_error),
        );
        let travel = frames[place].travel;
        let along = mean(&|t| t.second_px2().0).powi(2) / scale.powi(4);
        let fourth = mean(&|t| t.lean.fourth_px4) / scale.powi(4);
        let share = warp.map_or(0.0, |warp| warp.share(travel));
        let of_tape = fourth + (blur.value / 4.0).powi(4);
        Some(Seen {
            blur: blur.value,
            travel,
            flat: [flat(left), flat(right)],
            thirds: [third(left), -third(right)],
            lopsided: (third(left) - third(right)) / 2.0,
            square: mean(&variance).powi(2),
            along,
            fourth,
            four_fold: four_fold.scaled(0.5 / scale.powi(4)),
            shrunk: (share < 0.0).then_some(Shrunk {
                flat: 2.0 * mean(&variance) * scale * scale,
                lopsided: -SHRUNK * share / separation * (along + fourth),
                four_fold: 4.0 * share * (1.0 - scale.powi(-2)) * of_tape,
            }),
            burnt: [left, right]
                .iter()
                .any(|t| t.flags.contains(&Flag::Saturated)),
        })
    });
    Some(seen.collect())
}

/// Lopsidedness γ that goes with the cube of the signed blur, beside what a picture makes it lean that shrinks so that it flattens blur
/// by this share; 0 for one that does not.
#[must_use]
pub(super) fn lopsided(seen: &[Seen], flattening: f64, separation_px: f64) -> Option<Measured> {
    let shrunk = SHRUNK * flattening / separation_px;
    let fit = leaning(seen, &|s| shrunk * (s.along + s.fourth))?;
    Some(fit.factor(1, fit.scatter))
}

/// Whether both targets are lopsided with the cube of the blur, the same way and the one by this part of the other at least.
#[must_use]
pub(super) fn lean_alike(seen: &[Seen], least: f64) -> bool {
    let side = |side: usize| {
        let beyond = |s: &Seen| s.lopsided - s.thirds[side];
        Some(leaning(seen, &beyond)?.factors[1])
    };
    side(0).zip(side(1)).is_some_and(|(left, right)| {
        let (less, more) = (left.abs().min(right.abs()), left.abs().max(right.abs()));
        left * right > 0.0 && less > least * more
    })
}

/// Third moments beyond some, by what the tape has, the cube of the signed blur and, where it shows, what leans alike on both sides of
/// focus.
#[must_use]
pub(in crate::sweep) fn leaning(seen: &[Seen], beyond: &dyn Fn(&Seen) -> f64) -> Option<Fit> {
    let course = |s: &Seen, term: usize| match term {
        0 => 1.0,
        1 => s.blur.powi(3),
        // As brightness that rises towards the side, and as a stretch of the picture.
        2 => s.fourth,
        _ => s.square + s.fourth,
    };
    let few = by_courses(seen, 2, &course, beyond)?;
    Some(
        by_courses(seen, 4, &course, beyond)
            .filter(|all| few.chi2 - all.chi2 > WORTH_BOTH * all.scatter)
            .unwrap_or(few),
    )
}

/// Lopsidedness that goes with the cube of the signed blur, with nothing beside it but the tape's.
#[must_use]
pub(super) fn lopsided_alone(seen: &[Seen]) -> Option<f64> {
    let course = |s: &Seen, term: usize| [1.0, s.blur.powi(3)][term];
    Some(by_courses(seen, 2, &course, &|_| 0.0)?.factors[1])
}

fn by_courses(
    seen: &[Seen],
    terms: usize,
    course: &dyn Fn(&Seen, usize) -> f64,
    beyond: &dyn Fn(&Seen) -> f64,
) -> Option<Fit> {
    let root = |s: &Seen| weight(s.blur, 2).sqrt();
    let courses = DMatrix::from_fn(seen.len(), terms, |row, term| {
        root(&seen[row]) * course(&seen[row], term)
    });
    let third = DVector::from_fn(seen.len(), |row, _| {
        root(&seen[row]) * (seen[row].lopsided - beyond(&seen[row]))
    });
    least_squares::fit(&courses, &third)
}

/// Standard uncertainty of a frame's four-fold cumulant, as far as it is believed.
#[must_use]
pub(in crate::sweep) fn u_four_fold(s: &Seen) -> f64 {
    s.four_fold
        .std_error
        .max(LEAST_FOUR_FOLD * s.square)
        .max(f64::MIN_POSITIVE)
}

/// Four-fold cumulant that goes with the fourth power of the blur, beside the tape's.
#[must_use]
pub(super) fn four_fold(seen: &[Seen]) -> Option<Measured> {
    let courses = DMatrix::from_fn(seen.len(), 2, |row, term| {
        [1.0, seen[row].blur.powi(4)][term] / u_four_fold(&seen[row])
    });
    let four = DVector::from_fn(seen.len(), |row, _| {
        seen[row].four_fold.value / u_four_fold(&seen[row])
    });
    let fit = least_squares::fit(&courses, &four)?;
    Some(fit.factor(1, fit.scatter.max(1.0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Frames of blur from 100 px down by 8 px, flatter by a share, burnt out below some blur, where the tape adds to it.
    fn shown(ceiling: f64, by_tape: f64) -> Vec<Seen> {
        let of = |k: u8| {
            let blur = 100.0 - 8.0 * f64::from(k);
            let burnt = blur.abs() < ceiling;
            let tape = if burnt {
                by_tape * (ceiling - blur.abs())
            } else {
                0.0
            };
            let flat = 0.05 * blur * blur / 8.0 + 30.0 + tape;
            Seen {
                blur,
                travel: f64::from(k) / 18.0,
                flat: [flat; 2],
                thirds: [0.0; 2],
                lopsided: 0.0,
                square: 1.0,
                along: 1.0,
                fourth: 0.0,
                four_fold: Measured::new(0.0, 1.0),
                shrunk: None,
                burnt,
            }
        };
        (0..14).map(of).collect()
    }

    #[test]
    fn flattening_is_that_of_the_frames_that_are_not_burnt_out() {
        let some = flat(&shown(40.0, 0.5)).expect("enough frames");
        assert!(!some.burnt && (some.both.value - 0.05).abs() < 1e-9);
        let all = flat(&shown(120.0, 0.1)).expect("enough frames");
        assert!(all.burnt && all.both.std_error >= BY_CEILING);
    }
}
