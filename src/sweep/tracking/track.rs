//! Following the targets through a sweep.
//!
//! Each frame offers candidates; the pair of each frame is chosen for the whole sweep at once, by the path of least
//! total oddness through all frames (Viterbi, IEEE Trans. Inf. Theory 13, 1967). A frame in which nothing fits is
//! passed over at a price, so that one bad frame can't drag its neighbours along.

use super::pair::{Shape, Unlike, change, oddness, shape};
use crate::measure::Target;
use crate::sweep::sequence::places::{Places, median};

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

/// Oddness that pairs of good sweeps stay below: who finds such a pair in every frame looks for no other.
const PLAIN: f64 = 4.0;
/// Fewest frames that show how two targets differ.
const FEWEST: usize = 5;
/// How far the light of one over the other, as a natural logarithm, may be off from frame to frame: that of two pieces of tape stays,
/// that of tape and a label that take each other's place does not (our choice).
const SAME_LIGHT: f64 = 0.1;

/// The pair of each frame, in the order given and at `places`, `None` where none fits. `candidates[i]` is empty for a frame that could
/// not be read.
///
/// Targets are two pieces of the same tape as a rule, but two labels or glints may be more alike than targets that are not. So where the
/// likeliest track is another one if that rule counts for little, the sweep itself is asked how its targets differ, and is believed
/// where light and light stay as unlike as they are, and targets that differ so are found in as many frames.
#[must_use]
pub(super) fn follow(
    candidates: &[&[Target]],
    pointed: &[bool],
    picture: (f64, f64),
    places: &Places,
) -> Vec<Option<Choice>> {
    let track = |usual: &Unlike| cheapest(candidates, pointed, picture, places, usual);
    let found = |chosen: &[Option<Choice>]| chosen.iter().flatten().count();
    let pairs = |chosen: &[Option<Choice>]| -> Vec<Option<(usize, usize)>> {
        let chosen = chosen.iter();
        chosen.map(|one| one.map(|c| (c.left, c.right))).collect()
    };
    let alike = track(&Unlike::ALIKE);
    let odd = median(alike.iter().flatten().map(|one| one.oddness).collect());
    if odd.is_some_and(|odd| odd < PLAIN) && found(&alike) == candidates.len() {
        return alike;
    }
    let open = track(&Unlike::OPEN);
    if pairs(&alike) == pairs(&open) {
        return alike;
    }
    match difference(candidates, &open).map(|usual| track(&usual)) {
        Some(unlike) if found(&unlike) >= found(&alike) => unlike,
        _ => alike,
    }
}

/// How the two targets of a sweep differ, where they do so alike in all frames that were chosen.
fn difference(candidates: &[&[Target]], chosen: &[Option<Choice>]) -> Option<Unlike> {
    let pairs = chosen.iter().zip(candidates);
    let seen: Vec<Unlike> = pairs
        .filter_map(|(choice, frame)| {
            choice.map(|choice| Unlike::of(&frame[choice.left], &frame[choice.right]))
        })
        .collect();
    let light = median(seen.iter().map(|one| one.light).collect())?;
    let off = median(seen.iter().map(|one| (one.light - light).abs()).collect())?;
    let variance_px2 = median(seen.iter().map(|one| one.variance_px2).collect())?;
    (seen.len() >= FEWEST && off < SAME_LIGHT).then_some(Unlike {
        light,
        variance_px2,
        ..Unlike::ALIKE
    })
}

/// The path of least total oddness, for targets that differ as `usual`.
fn cheapest(
    candidates: &[&[Target]],
    pointed: &[bool],
    picture: (f64, f64),
    places: &Places,
    usual: &Unlike,
) -> Vec<Option<Choice>> {
    let brightest = typical_brightest(candidates);
    let pairs: Vec<Vec<Choice>> = candidates
        .iter()
        .zip(pointed)
        .map(|(frame, &pointed)| pairs_of(frame, pointed, picture, brightest, usual))
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
    pairs_of(frame, false, picture, brightest, &Unlike::ALIKE)
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
fn pairs_of(
    frame: &[Target],
    pointed: bool,
    picture: (f64, f64),
    brightest: f64,
    usual: &Unlike,
) -> Vec<Choice> {
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
            let oddness = oddness(
                &frame[left],
                &frame[right],
                (a, b),
                picture,
                brightest,
                usual,
            );
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

#[cfg(test)]
mod tests {
    use super::*;

    /// The targets of eleven frames from blurred to sharp, the right one of half the side and `light` times the brightness.
    fn frames(side: f64, light: f64) -> Vec<Vec<Target>> {
        let frame = |k: i32| {
            let blur = (60.0 - 6.0 * f64::from(k)).powi(2);
            let at = |x: f64, side: f64, light: f64| Target {
                flux: light * side * side,
                ..Target::plain(x, 400.0, blur + side * side / 12.0)
            };
            let off = 4.0 * f64::from(k);
            vec![at(150.0 + off, 48.0, 0.58), at(1050.0 - off, side, light)]
        };
        (0..11).map(frame).collect()
    }

    fn found(frames: &[Vec<Target>]) -> Vec<Option<(usize, usize)>> {
        let candidates: Vec<&[Target]> = frames.iter().map(Vec::as_slice).collect();
        let places = Places::in_order(frames.len());
        let pointed = vec![false; frames.len()];
        let chosen = follow(&candidates, &pointed, (1200.0, 800.0), &places);
        let places = chosen
            .iter()
            .map(|choice| choice.map(|c| (c.left, c.right)));
        places.collect()
    }

    /// Tape of half the side and less than half the brightness is followed where it is sharp, too.
    #[test]
    fn unlike_targets_are_followed() {
        for (side, light) in [(48.0, 0.58), (24.0, 0.26), (17.0, 0.26), (24.0, 0.15)] {
            let chosen = found(&frames(side, light));
            assert!(
                chosen.iter().all(|&choice| choice == Some((0, 1))),
                "{side} {light}: {chosen:?}"
            );
        }
    }

    /// A glint in the place of the small target, of other light in every frame, is not followed for it.
    #[test]
    fn what_differs_from_frame_to_frame_is_no_target() {
        let mut frames = frames(24.0, 0.26);
        for (k, frame) in frames.iter_mut().enumerate() {
            frame[1].flux *= [0.3, 0.1, 0.6, 0.2][k % 4];
        }
        let chosen = found(&frames);
        assert!(chosen.iter().flatten().count() < 6, "{chosen:?}");
    }

    /// Labels of other light and size hang above and below, one of them as bright as the large target.
    #[test]
    fn labels_that_are_more_alike_are_no_targets() {
        let mut frames = frames(24.0, 0.26);
        for frame in &mut frames {
            let blur = frame[0].variance_px2.value - 48.0_f64.powi(2) / 12.0;
            let label = |x: f64, y: f64, side: f64, light: f64| Target {
                flux: light * side * side,
                ..Target::plain(x, y, blur + side * side / 12.0)
            };
            frame.push(label(1000.0, 130.0, 44.0, 0.46));
            frame.push(label(420.0, 640.0, 40.0, 0.5));
        }
        let chosen = found(&frames);
        assert!(
            chosen.iter().all(|&choice| choice == Some((0, 1))),
            "{chosen:?}"
        );
    }
}
