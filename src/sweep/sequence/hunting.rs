//! Focus that hunts: a lens that overshot and came back leaves two neighbouring frames in the other order of focus.
//!
//! Separation and blur run smoothly through a sweep, so either jumps to and fro where two frames stand in each other's place, and
//! both run smoothly once they are exchanged. A step of the separation alone, as of a target that moved, is none of that. The frames at the ends keep theirs: they are what the files say is at closest
//! focus and at infinity.

use super::places::{NO_WORSE, SPEAK_AGAINST};
use crate::sweep::fitting::smooth::{Series, unlikely};
use crate::sweep::fitting::steps::BothSeries;

/// Most pairs that are looked for: what goes to and fro more often is shuffled.
const MOST: usize = 3;

/// The order, as places so far, in which what runs smoothly through a sweep does so, by exchanges of neighbours; `None` where it
/// does already.
#[must_use]
pub(in crate::sweep) fn exchanged(series: &BothSeries) -> Option<Vec<usize>> {
    let mut series = series.clone();
    let mut order: Vec<usize> = (0..series[0].len()).collect();
    for _ in 0..MOST {
        let best = (1..order.len().saturating_sub(2))
            .filter(|&at| series.iter().any(|one| turns_back(one, at)))
            .filter_map(|at| Some((at, gain(&series, at)?)))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        let Some((at, _)) = best else {
            break;
        };
        order.swap(at, at + 1);
        for one in &mut series {
            one.swap(at, at + 1);
        }
    }
    (!order.is_sorted()).then_some(order)
}

/// Whether the step from a frame to the next runs against those before and after it.
fn turns_back(one: &Series, at: usize) -> bool {
    let value = |frame: usize| one[frame].map(|(value, _)| value);
    let step = |from: usize| Some(value(from + 1)? - value(from)?);
    let steps = [step(at - 1), step(at), step(at + 1)];
    matches!(steps, [Some(a), Some(b), Some(c)] if a * b < 0.0 && b * c < 0.0)
}

/// How much smoother both series are with a frame and the next exchanged, as twice the logarithm of a likelihood ratio, where
/// that is no chance by the blur alone, and the separation is not rougher.
fn gain(series: &BothSeries, at: usize) -> Option<f64> {
    let mut sum = 0.0;
    for (one, least) in series.iter().zip([-NO_WORSE, SPEAK_AGAINST]) {
        let mut other = one.to_vec();
        other.swap(at, at + 1);
        let in_order = |frame: usize| frame as f64;
        let gain = unlikely(one, &in_order)? - unlikely(&other, &in_order)?;
        if gain < least {
            return None;
        }
        sum += gain;
    }
    Some(sum)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A sweep of so many frames in this order of focus: separations and second moments with a noise of their own.
    fn seen(focus: &[usize]) -> BothSeries {
        let noise = |frame: usize, size: f64| size * (3.7 * frame as f64).sin();
        let of = |value: &dyn Fn(f64) -> f64, u: f64| {
            let frames = focus.iter();
            frames
                .map(|&at| Some((value(at as f64) + noise(at, u), u)))
                .collect()
        };
        [
            of(&|x| 900.0 - 0.8 * x + 0.01 * x * x, 0.01),
            of(&|x| 20.0 + (x - 11.0).powi(2), 0.05),
        ]
    }

    #[test]
    fn frames_that_stand_in_each_others_place_are_exchanged() {
        let mut focus: Vec<usize> = (0..20).collect();
        assert_eq!(exchanged(&seen(&focus)), None);
        focus.swap(5, 6);
        focus.swap(12, 13);
        let order = exchanged(&seen(&focus)).expect("two pairs");
        assert_eq!(order, focus);
        // The separation steps back by one and a half of its steps, and nothing else does.
        let mut stepped = seen(&(0..20).collect::<Vec<_>>());
        for (value, _) in stepped[0].iter_mut().skip(10).flatten() {
            *value += 1.2;
        }
        assert_eq!(exchanged(&stepped), None);
        // The ends are what the files say.
        let mut ends: Vec<usize> = (0..20).collect();
        ends.swap(18, 19);
        assert_eq!(exchanged(&seen(&ends)), None);
        assert_eq!(exchanged(&[Vec::new(), Vec::new()]), None);
    }
}
