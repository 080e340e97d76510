//! Following the targets through a sweep.
//!
//! Each frame offers candidates; the pair of each frame is chosen for the whole sweep at once, by the path of least
//! total oddness through all frames (Viterbi, IEEE Trans. Inf. Theory 13, 1967). A frame in which nothing fits is
//! passed over at a price, so that one bad frame can't drag its neighbours along.

use super::pair::{Shape, change, oddness, shape};
use crate::measure::Target;
use crate::sweep::sequence::places::Places;

/// Cost of a path, and the frame and pair that it came from.
type Cheapest = (f64, Option<(usize, usize)>);

/// Candidates of a frame that are looked at; more are noise.
const CANDIDATES: usize = 12;
/// Pairs of a frame that are looked at.
const PAIRS: usize = 12;
/// Price of passing over a frame: above what a sound frame costs, below what a wrong pair costs.
pub(super) const PASS_OVER: f64 = 30.0;
/// The same for a frame whose targets were pointed at by hand: the others have to agree with it.
const PASS_OVER_POINTED: f64 = 1000.0;
/// Most frames in a row that may be passed over within a track.
const LONGEST_GAP: usize = 12;

/// Two candidates of one frame, left first.
#[derive(Debug, Clone, Copy)]
pub(super) struct Choice {
    /// Place of the left one in the frame's candidates.
    pub(super) left: usize,
    /// Place of the right one.
    pub(super) right: usize,
    shape: Shape,
    oddness: f64,
}

/// The pair of each frame, in the order given and at `places`, `None` where none fits. `candidates[i]` is empty for a frame that could
/// not be read.
#[must_use]
pub(super) fn follow(
    candidates: &[&[Target]],
    pointed: &[bool],
    picture: (f64, f64),
    places: &Places,
) -> Vec<Option<Choice>> {
    let brightest = typical_brightest(candidates);
    let pairs: Vec<Vec<Choice>> = candidates
        .iter()
        .zip(pointed)
        .map(|(frame, &pointed)| pairs_of(frame, pointed, picture, brightest))
        .collect();
    // Price of passing over all frames before the i-th.
    let mut price = vec![0.0];
    for &pointed in pointed {
        let own = if pointed {
            PASS_OVER_POINTED
        } else {
            PASS_OVER
        };
        price.push(price[price.len() - 1] + own);
    }
    // Cost of the best path that ends in pair p of frame i, and the frame and pair before it.
    let mut best: Vec<Vec<Cheapest>> = Vec::with_capacity(pairs.len());
    for (i, here) in pairs.iter().enumerate() {
        let mut row = Vec::with_capacity(here.len());
        for pair in here {
            let mut cheapest = (price[i], None);
            for back in 1..=(i.min(LONGEST_GAP + 1)) {
                let skipped = price[i] - price[i - back + 1];
                let apart = places.steps(i - back, i);
                for (q, before) in pairs[i - back].iter().enumerate() {
                    let cost = best[i - back][q].0
                        + skipped
                        + change(&before.shape, &pair.shape, apart, picture.0);
                    if cost < cheapest.0 {
                        cheapest = (cost, Some((i - back, q)));
                    }
                }
            }
            row.push((cheapest.0 + pair.oddness, cheapest.1));
        }
        best.push(row);
    }
    let mut end: Option<(f64, (usize, usize))> = None;
    for (i, row) in best.iter().enumerate() {
        for (p, (cost, _)) in row.iter().enumerate() {
            let total = cost + price[pairs.len()] - price[i + 1];
            if end.is_none_or(|(least, _)| total < least) {
                end = Some((total, (i, p)));
            }
        }
    }
    let mut chosen = vec![None; pairs.len()];
    let mut at = end.map(|(_, place)| place);
    while let Some((i, p)) = at {
        chosen[i] = Some(pairs[i][p]);
        at = best[i][p].1;
    }
    chosen
}

/// The same for one frame of which it is not known where in the sweep it stands: the pair that is most like one of those
/// `known` of other frames, `None` where none is like it.
#[must_use]
pub(super) fn most_alike(
    frame: &[Target],
    known: &[Shape],
    picture: (f64, f64),
    brightest: f64,
) -> Option<Choice> {
    pairs_of(frame, false, picture, brightest)
        .into_iter()
        .filter_map(|choice| {
            let changes = known
                .iter()
                .map(|other| change(other, &choice.shape, 1, picture.0));
            let least = changes.fold(f64::INFINITY, f64::min);
            (least < PASS_OVER).then_some((least + choice.oddness, choice))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, choice)| choice)
}

/// The most plausible pairs of one frame; where targets were pointed at, the outermost two of them.
fn pairs_of(frame: &[Target], pointed: bool, picture: (f64, f64), brightest: f64) -> Vec<Choice> {
    if pointed {
        let x = |i: &usize| frame[*i].x_px.value;
        let left = (0..frame.len()).min_by(|a, b| x(a).total_cmp(&x(b)));
        let right = (0..frame.len()).max_by(|a, b| x(a).total_cmp(&x(b)));
        return match (left, right) {
            (Some(left), Some(right)) if left != right => vec![Choice {
                left,
                right,
                shape: shape(&frame[left], &frame[right]),
                oddness: 0.0,
            }],
            _ => Vec::new(),
        };
    }
    let frame = &frame[..frame.len().min(CANDIDATES)];
    let mut pairs = Vec::new();
    for a in 0..frame.len() {
        for b in a + 1..frame.len() {
            let (left, right) = if frame[a].x_px.value <= frame[b].x_px.value {
                (a, b)
            } else {
                (b, a)
            };
            let shape = shape(&frame[left], &frame[right]);
            let oddness = oddness(&frame[left], &frame[right], (a, b), picture, brightest);
            if oddness < 4.0 * PASS_OVER {
                pairs.push(Choice {
                    left,
                    right,
                    shape,
                    oddness,
                });
            }
        }
    }
    pairs.sort_by(|a, b| a.oddness.total_cmp(&b.oddness));
    pairs.truncate(PAIRS);
    pairs
}

/// The middle over all frames of the second brightest candidate's light: what a target of this sweep sends.
pub(super) fn typical_brightest(candidates: &[&[Target]]) -> f64 {
    let mut seconds: Vec<f64> = candidates
        .iter()
        .filter_map(|frame| {
            let mut fluxes: Vec<f64> = frame.iter().map(|target| target.flux).collect();
            fluxes.sort_by(|a, b| b.total_cmp(a));
            fluxes.get(1).copied()
        })
        .collect();
    seconds.sort_by(f64::total_cmp);
    seconds.get(seconds.len() / 2).copied().unwrap_or(1.0)
}
