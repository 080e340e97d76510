//! Whether a sweep carries on over a pause, or another one begins there: files can't tell a rest in the middle of a bracket from
//! the rest between two, pictures can. A bracket that begins anew shows what the first frame showed; one that carries on shows
//! what the last one did.

use crate::measure::Impression;
use crate::sweep::tracking::look::Load;

/// Over the pause, pictures may change by so many steps of the bracket as they are beside it: a step more or less is lost there
/// at times, and steps that grow towards one end are no pause.
const STEPS: f64 = 3.0;
/// By how many times the frame behind the pause has to be more like the one before it than like the first of the sweep, which
/// two frames before the pause are by two. Where a bracket begins anew it is the other way round, by ten times and more.
const CLEARLY: f64 = 1.3;
/// What noise and compression make of two pictures of the same.
const NOISE: f64 = 0.005;

/// Whether the frames `after` carry on where `before` ended, as their pictures show it; `false` where these can't be read or
/// leave it open. Both are in the order of shooting.
pub(super) fn carries_on(before: &[usize], after: &[usize], load: Load<'_>) -> bool {
    is_carried_on(before, after, load).unwrap_or(false)
}

fn is_carried_on(before: &[usize], after: &[usize], load: Load<'_>) -> Option<bool> {
    let seen = |index: usize| load(index).ok().map(|plane| Impression::of(&plane));
    let (first, last) = (*before.first()?, *before.last()?);
    let (next, end) = (*after.first()?, *after.last()?);
    let (of_last, of_next) = (seen(last)?, seen(next)?);
    let across = of_last.unlike(&of_next)? + NOISE;
    if before.len() > 1 {
        let of_first = seen(first)?;
        if of_first.unlike(&of_next)? < CLEARLY * across {
            return Some(false);
        }
        // A bracket back from infinity ends where the first one began.
        if after.len() > 1 && of_first.unlike(&seen(end)?)? < CLEARLY * across {
            return Some(false);
        }
    }
    let step_before = match before {
        [.., one, _] => of_last.unlike(&seen(*one)?)?,
        _ => 0.0,
    };
    let step_after = match after {
        [_, one, ..] => of_next.unlike(&seen(*one)?)?,
        _ => 0.0,
    };
    Some(across < STEPS * (step_before.max(step_after) + NOISE))
}
