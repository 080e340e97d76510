//! Targets that something stands before in some of the frames: a leaf, a cable, a hand. What is left of such a target has
//! another centre, and nothing in its own picture tells.
//!
//! It tells in the light: what lights both targets, and how long the shutter is open, changes the light of both alike;
//! something that covers a part of one takes light from that one only. A reflection or a label that gets into a target's
//! window as it grows with the blur changes its light as well, but from far outside: it changes the second moment by
//! more than the tape has, and a cover by less.

use super::balance::{is_burnt, usual};
use super::pick::Found;
use crate::measure::{Flag, Target, Unmeasurable};

/// Share of its light that a target has to lack before it is called covered: in good sweeps the light of the two against
/// each other stays within 0.5 %.
const LACKS: f64 = 0.02;
/// The same where a target is burnt out: what is cut off at the ceiling depends on the blur.
const BURNT_LACKS: f64 = 0.2;
/// The light it lacks is also this many times what the light usually scatters by.
const OUTSTANDING: f64 = 8.0;
/// Frames beside one whose light tells what noise does to its own: wide faint blur, of which JPEG drops some, scatters by
/// a multiple of what sharp targets do.
const LIKE_IT: usize = 8;
/// The light it lacks is also this many times what that of frames like it jumps by.
const JUMPS: f64 = 4.0;
/// Fewest frames in which one of them can be doubted on the others' word.
const FEWEST_WITNESSES: usize = 8;

/// Light of the outermost two targets of a frame, and how wide it is spread.
struct Lit {
    at: usize,
    log_light: [f64; 2],
    /// Second moments over the square of the separation.
    spread: [f64; 2],
    burnt: bool,
    /// Something was taken out of a window, and light of the target with it perhaps.
    crowded: bool,
}

/// Fails the frames in which one of the targets lacks light.
pub(super) fn fail(found: &mut [Found]) {
    for at in lacking(found) {
        found[at] = Err(Unmeasurable::PartlyCovered);
    }
}

fn lacking(found: &[Found]) -> Vec<usize> {
    let lit: Vec<Lit> = found.iter().enumerate().filter_map(lit).collect();
    if lit.len() < FEWEST_WITNESSES {
        return Vec::new();
    }
    let unlike = |frame: &Lit| frame.log_light[0] - frame.log_light[1];
    let wider = |frame: &Lit| frame.spread[0] - frame.spread[1];
    let usually = |of: &dyn Fn(&Lit) -> f64| usual(&lit.iter().map(of).collect::<Vec<_>>());
    let (usually_unlike, scatter) = usually(&unlike);
    let (usually_wider, _) = usually(&wider);
    let unlikes: Vec<f64> = lit.iter().map(unlike).collect();
    let is_odd = |at: usize| {
        let least = if lit[at].burnt { BURNT_LACKS } else { LACKS };
        let least = least.max(OUTSTANDING * scatter);
        (unlikes[at] - usually_unlike).abs() > least.max(JUMPS * jitter(&unlikes, at))
    };
    let (odd, sound): (Vec<usize>, Vec<usize>) = (0..lit.len()).partition(|&at| is_odd(at));
    let own = [0, 1].map(|side| Course::of(sound.iter().map(|&at| &lit[at]), side));
    let narrowest = [0, 1].map(|side| {
        let spreads = sound.iter().map(|&at| lit[at].spread[side]);
        spreads.fold(f64::INFINITY, f64::min)
    });
    odd.iter()
        .map(|&at| &lit[at])
        .filter(|frame| {
            // Either the darker one lacks light, or the brighter one has got some.
            let off = unlike(frame) - usually_unlike;
            let darker = usize::from(off > 0.0);
            let lacks = own[darker].at(frame) - frame.log_light[darker];
            let changed = (wider(frame) - usually_wider).abs();
            !frame.crowded && lacks > off.abs() / 2.0 && changed < narrowest[darker]
        })
        .map(|frame| frame.at)
        .collect()
}

/// How the light of one target runs through the frames that are sound: a straight line, as a lens that extends to focus near
/// dims both targets by a few per cent. The line is flat where too few frames show it.
struct Course {
    middle: (f64, f64),
    slope: f64,
}

impl Course {
    fn of<'a>(sound: impl Iterator<Item = &'a Lit>, side: usize) -> Self {
        let points: Vec<(f64, f64)> = sound
            .map(|frame| (frame.at as f64, frame.log_light[side]))
            .collect();
        let mean = |of: &dyn Fn(&(f64, f64)) -> f64| {
            points.iter().map(of).sum::<f64>() / points.len().max(1) as f64
        };
        let middle = (mean(&|point| point.0), mean(&|point| point.1));
        let spread = mean(&|point| (point.0 - middle.0).powi(2));
        let together = mean(&|point| (point.0 - middle.0) * (point.1 - middle.1));
        let told = points.len() >= FEWEST_WITNESSES && spread > 0.0;
        let slope = if told { together / spread } else { 0.0 };
        Self { middle, slope }
    }

    fn at(&self, frame: &Lit) -> f64 {
        self.middle.1 + self.slope * (frame.at as f64 - self.middle.0)
    }
}

/// Standard deviation by which noise scatters the values around one, from the steps between neighbours: what covers several
/// frames in a row steps twice, and what grows with the blur steps evenly.
fn jitter(values: &[f64], at: usize) -> f64 {
    let last = values.len() - 1;
    let first = at
        .saturating_sub(LIKE_IT / 2)
        .min(last.saturating_sub(LIKE_IT));
    let steps: Vec<f64> = values[first..=(first + LIKE_IT).min(last)]
        .windows(2)
        .map(|pair| pair[1] - pair[0])
        .collect();
    usual(&steps).1 / std::f64::consts::SQRT_2
}

fn lit((at, found): (usize, &Found)) -> Option<Lit> {
    let targets = found.as_ref().ok()?;
    let (left, right) = (targets.first()?, targets.last()?);
    let separation = (right.x_px.value - left.x_px.value).hypot(right.y_px.value - left.y_px.value);
    let of = |target: &Target| target.variance_px2.value / (separation * separation);
    let log_light = [left.flux.ln(), right.flux.ln()];
    log_light.iter().all(|log| log.is_finite()).then(|| Lit {
        at,
        log_light,
        spread: [of(left), of(right)],
        burnt: is_burnt(targets),
        crowded: targets
            .iter()
            .any(|target| target.flags.contains(&Flag::Crowded)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Frames whose left target has these shares of its light beyond the usual.
    fn found(shares: &[f64]) -> Vec<Found> {
        let frame = |share: &f64| {
            let mut pair = vec![
                Target::plain(300.0, 400.0, 900.0),
                Target::plain(900.0, 400.0, 900.0),
            ];
            pair[0].flux *= 1.0 + share;
            Ok(pair)
        };
        shares.iter().map(frame).collect()
    }

    /// The wide frames of a sweep of faint tape scatter by 1.7 %, the sharp ones by 0.1 %; a leaf takes 6 % of two of these.
    #[test]
    fn light_that_scatters_is_not_covered() {
        let wide = [
            -0.027, 0.017, 0.008, 0.017, -0.019, 0.004, -0.023, 0.010, 0.005, -0.008,
        ];
        let mut sharp = [0.001, -0.001, 0.0, 0.001, 0.0, -0.001, 0.001].repeat(3);
        let sweep = |sharp: &[f64]| lacking(&found(&[&wide, sharp].concat()));
        assert_eq!(sweep(&sharp), Vec::<usize>::new());
        (sharp[8], sharp[9]) = (-0.06, -0.06);
        assert_eq!(sweep(&sharp), [18, 19]);
    }

    /// A lens that extends dims both targets by a sixth towards closest focus, and in the nearest nine frames a white thing close
    /// beside one of them adds 4 % to it: the other one lacks nothing. With 4 % less instead, it does.
    #[test]
    fn light_that_comes_in_is_not_taken_for_light_that_lacks() {
        for (change, covered) in [(0.04, 0), (-0.04, 9)] {
            let shares: Vec<f64> = (0..26).map(|k| if k < 9 { change } else { 0.0 }).collect();
            let mut frames = found(&shares);
            for (k, frame) in frames.iter_mut().enumerate() {
                for target in frame.as_mut().expect("measured") {
                    target.flux *= 1.0 - (25 - k) as f64 / 150.0;
                }
            }
            assert_eq!(lacking(&frames).len(), covered, "{change}");
        }
    }
}
