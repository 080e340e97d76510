//! Gaps that no file speaks of: exported pictures, renumbered and stripped of what the camera wrote. The blur of the
//! targets grows evenly with the steps of the bracket, so a step that was left out shows in it.

use super::places::{Places, SPEAK_AGAINST};

/// A step of the blur over the usual one from which a gap is tried.
const TRIED: f64 = 1.5;
/// Most frames missing in a row that are tried.
const MOST: u32 = 6;
/// Most gaps that are looked for; a hand that turns the ring makes more, and evens them out.
const MOST_GAPS: usize = 3;

/// The gaps that the pictures show beyond those that `places` know: the frame before, and how many are missing. `series`
/// hold value and standard uncertainty for each frame; the last one is the second moment of the targets at one scale.
#[must_use]
pub(in crate::sweep) fn gaps(
    places: &Places,
    series: &[Vec<Option<(f64, f64)>>],
) -> Vec<(usize, u32)> {
    let mut best = places.clone();
    let mut found = Vec::new();
    let Some(moments) = series.last() else {
        return found;
    };
    for _ in 0..MOST_GAPS {
        let gaps = candidates(&best, moments);
        let opened = gaps
            .iter()
            .map(|&(frame, missing)| best.opened(frame, missing));
        let tried: Vec<Places> = std::iter::once(best.clone()).chain(opened).collect();
        // A jump of the separation alone is a slipped zoom ring.
        let chosen = Places::likeliest(&tried, series, SPEAK_AGAINST);
        if chosen == 0 {
            break;
        }
        found.push(gaps[chosen - 1]);
        best = tried[chosen].clone();
    }
    found
}

/// Frames with a second moment and what it is, and which of these is the sharpest; `None` where there is none.
#[must_use]
pub(super) fn known_moments(moments: &[Option<(f64, f64)>]) -> Option<(Vec<(usize, f64)>, usize)> {
    let known: Vec<(usize, f64)> = moments
        .iter()
        .enumerate()
        .filter_map(|(frame, moment)| moment.map(|(value, _)| (frame, value)))
        .collect();
    let sharpest = (0..known.len()).min_by(|&a, &b| known[a].1.total_cmp(&known[b].1))?;
    Some((known, sharpest))
}

/// Frames after which some may be missing, and how many: where the blur steps on by more than usual, and around the
/// sharpest frame, where it is too small to tell.
fn candidates(places: &Places, moments: &[Option<(f64, f64)>]) -> Vec<(usize, u32)> {
    let Some((known, sharpest)) = known_moments(moments) else {
        return Vec::new();
    };
    let blur = |k: usize| {
        let size = (known[k].1 - known[sharpest].1).max(0.0).sqrt();
        if k < sharpest { size } else { -size }
    };
    let steps: Vec<f64> = (1..known.len())
        .map(|k| (blur(k - 1) - blur(k)) / places.apart(known[k - 1].0, known[k].0))
        .collect();
    let Some(usual) = super::places::median(steps.clone()).filter(|usual| *usual > 0.0) else {
        return Vec::new();
    };
    let mut found = Vec::new();
    for (k, step) in steps.iter().enumerate() {
        // Only between frames that follow one another is it known where the gap is.
        if known[k + 1].0 != known[k].0 + 1 {
            continue;
        }
        let ratio = step / usual;
        if k.abs_diff(sharpest) <= 1 || k + 1 == sharpest {
            found.extend([1, 2].map(|missing| (known[k].0, missing)));
        } else if ratio > TRIED {
            let missing = (ratio.round() as u32).clamp(2, MOST + 1) - 1;
            found.push((known[k].0, missing));
        }
    }
    found
}
