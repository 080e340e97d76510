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
    let own = [0, 1].map(|side| usually(&|frame| frame.log_light[side]).0);
    let (odd, sound): (Vec<&Lit>, Vec<&Lit>) = lit.iter().partition(|frame| {
        let least = if frame.burnt { BURNT_LACKS } else { LACKS };
        (unlike(frame) - usually_unlike).abs() > least.max(OUTSTANDING * scatter)
    });
    let narrowest = [0, 1].map(|side| {
        let spreads = sound.iter().map(|frame| frame.spread[side]);
        spreads.fold(f64::INFINITY, f64::min)
    });
    odd.iter()
        .filter(|frame| {
            // Either the darker one lacks light, or the brighter one has got some.
            let off = unlike(frame) - usually_unlike;
            let darker = usize::from(off > 0.0);
            let lacks = own[darker] - frame.log_light[darker];
            let changed = (wider(frame) - usually_wider).abs();
            !frame.crowded && lacks > off.abs() / 2.0 && changed < narrowest[darker]
        })
        .map(|frame| frame.at)
        .collect()
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
