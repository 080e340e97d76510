//! A last frame that is set to infinity by hand, a long step off all others.

use super::super::places::{Places, SPEAK_AGAINST};
use super::super::unseen::known_moments;
use super::Series;
use crate::sweep::fitting::smooth;

/// How many lengths of the step are tried.
const TRIALS: u32 = 40;
/// A last step is long when the blur steps on by this many usual ones.
const LONG: f64 = 1.4;
/// The blur tells how long to this share.
const LENGTH_SHARE: f64 = 0.15;

/// Even steps but for the last one, which is as long as the blur says, within its accuracy, and as the separations are
/// smoothest: where the shift is steep, the blur of all frames is too coarse an axis for it. `None` where the last step is not
/// long, or even steps do as well.
pub(super) fn long_last_step(
    places: &Places,
    separations: &Series,
    moments: &Series,
) -> Option<Vec<f64>> {
    let (known, sharpest) = known_moments(moments)?;
    let tail = known.len().checked_sub(4)?;
    if sharpest >= tail || known.last()?.0 != separations.iter().rposition(Option::is_some)? {
        return None;
    }
    let size = |k: usize| (known[k].1 - known[sharpest].1).max(0.0).sqrt();
    let step = |k: usize| (size(k) - size(k - 1)) / places.apart(known[k - 1].0, known[k].0);
    let usual = (step(tail + 1) + step(tail + 2)) / 2.0;
    let long = step(tail + 3) / usual;
    let (before, last) = (known[tail + 2].0, known[tail + 3].0);
    let own = places.apart(before, last);
    // A gap of whole steps that was seen there may be no whole number of them.
    if !(usual > 0.0 && long * own > LONG) {
        return None;
    }
    let unlikely = |at: &[f64]| smooth::unlikely(separations, &|frame| at[frame]);
    let even: Vec<f64> = (0..separations.len()).map(|k| places.at(k)).collect();
    let stretched = |length: f64| {
        let mut at = even.clone();
        for place in &mut at[last..] {
            *place += own * (length - 1.0);
        }
        at
    };
    let trials = (0..=TRIALS).map(|k| {
        let share = 2.0 * f64::from(k) / f64::from(TRIALS) - 1.0;
        let at = stretched(long * (1.0 + LENGTH_SHARE * share));
        Some((unlikely(&at)?, at))
    });
    let (best, at) = trials.flatten().min_by(|a, b| a.0.total_cmp(&b.0))?;
    (unlikely(&even)? - best > SPEAK_AGAINST).then_some(at)
}
