//! Third and further targets: what moves with the pair in (nearly) every frame and looks like it is used as well, by a
//! similarity fit (scale, rotation, shift).

use super::pick::Found;
use crate::measure::{Flag, Target};
use crate::units::Measured;

/// A place in the frame of the pair: along it and across it, in separations.
type Place = (f64, f64);

/// A further target's light may differ from the pair's by this factor at most.
const LIGHT_FACTOR: f64 = 1.35;
/// A further target's standard deviation may differ from the pair's by this factor at most.
const WIDTH_FACTOR: f64 = 1.15;
/// Where the pair is sharpest, a further target's elongation may differ from that of one of the two by this much: a label is long where
/// tape is not.
const ELONGATION: f64 = 0.3;
/// Share of the measured frames that a further target has to be in: what comes and goes is clutter.
const PRESENCE: f64 = 0.8;
/// How far from its place in the pair's frame it may be, in shares of the separation and in px.
const PLACE: (f64, f64) = (0.004, 3.0);

/// Adds further targets to the pairs, where there are any, and puts all from left to right, so that the first and the
/// last are the outermost. `candidates` are in the same order as `found`.
pub(in crate::sweep) fn add(found: &mut [Found], candidates: &[&[Target]]) {
    let Some(best) = sharpest(found) else {
        return;
    };
    let Ok(pair) = &found[best] else {
        return;
    };
    let mut layout: Vec<(f64, f64)> = candidates[best]
        .iter()
        .filter(|target| !is_of(pair, target) && alike(pair, target) && has_shape(pair, target))
        .filter_map(|target| in_frame_of(pair, target))
        .collect();
    layout.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let measured = found.iter().flatten().count();
    let further: Vec<(Place, Vec<Option<Target>>)> = layout
        .into_iter()
        .filter_map(|place| {
            let seen: Vec<Option<Target>> = found
                .iter()
                .zip(candidates)
                .map(|(found, candidates)| seen_at(found.as_ref().ok()?, candidates, place))
                .collect();
            let count = seen.iter().flatten().count();
            // What stands outside the pair would change which two are outermost, so it has to be there always.
            let outside = !(0.0..=1.0).contains(&place.0);
            let enough = count as f64 >= PRESENCE * measured as f64;
            (enough && (!outside || count == measured)).then_some((place, seen))
        })
        .collect();
    for (at, found) in found.iter_mut().enumerate() {
        let Ok(targets) = found else {
            continue;
        };
        let Ok([left, right]) = <[Target; 2]>::try_from(targets.clone()) else {
            continue;
        };
        // From left to right as they stand in the layout, so that their order is the same in every frame.
        let own = [((0.0, 0.0), Some(left)), ((1.0, 0.0), Some(right))];
        let mut all: Vec<((f64, f64), Target)> = own
            .into_iter()
            .chain(
                further
                    .iter()
                    .map(|(place, seen)| (*place, seen[at].clone())),
            )
            .filter_map(|(place, target)| Some((place, target?)))
            .collect();
        all.sort_by(|a, b| a.0.0.total_cmp(&b.0.0).then(a.0.1.total_cmp(&b.0.1)));
        *targets = all.into_iter().map(|(_, target)| target).collect();
    }
}

/// The candidate that stands at a place in the pair's frame and looks like the pair.
fn seen_at(pair: &[Target], candidates: &[Target], place: (f64, f64)) -> Option<Target> {
    candidates
        .iter()
        .find(|target| {
            !is_of(pair, target)
                && alike(pair, target)
                && !target.flags.contains(&Flag::Clipped)
                && in_frame_of(pair, target).is_some_and(|at| near(pair, at, place))
        })
        .cloned()
}

/// The measured frame with the narrowest targets.
fn sharpest(found: &[Found]) -> Option<usize> {
    let width = |at: usize| {
        found[at]
            .as_ref()
            .map_or(f64::INFINITY, |pair| pair[0].variance_px2.value)
    };
    (0..found.len())
        .filter(|&at| found[at].is_ok())
        .min_by(|&a, &b| width(a).total_cmp(&width(b)))
}

fn is_of(pair: &[Target], target: &Target) -> bool {
    pair.iter().take(2).any(|known| {
        (known.x_px.value - target.x_px.value).abs() < 1.0
            && (known.y_px.value - target.y_px.value).abs() < 1.0
    })
}

fn alike(pair: &[Target], target: &Target) -> bool {
    let within = |a: f64, b: f64, factor: f64| a < b * factor && b < a * factor;
    pair.iter().take(2).all(|known| {
        within(known.flux, target.flux, LIGHT_FACTOR)
            && within(
                known.variance_px2.value.sqrt(),
                target.variance_px2.value.sqrt(),
                WIDTH_FACTOR,
            )
    })
}

/// Whether a target has the shape of one of the pair.
fn has_shape(pair: &[Target], target: &Target) -> bool {
    let differs = |known: &Target| (known.elongation - target.elongation).abs();
    pair.iter().any(|known| differs(known) < ELONGATION)
}

/// Place of a target in the frame of the pair: the left one is (0, 0), the right one (1, 0).
fn in_frame_of(pair: &[Target], target: &Target) -> Option<(f64, f64)> {
    let [left, right, ..] = pair else {
        return None;
    };
    let (ax, ay) = (
        right.x_px.value - left.x_px.value,
        right.y_px.value - left.y_px.value,
    );
    let (bx, by) = (
        target.x_px.value - left.x_px.value,
        target.y_px.value - left.y_px.value,
    );
    let square = ax * ax + ay * ay;
    Some(((ax * bx + ay * by) / square, (ax * by - ay * bx) / square))
}

fn near(pair: &[Target], at: (f64, f64), place: (f64, f64)) -> bool {
    let separation = super::pair::separation(&pair[0], &pair[1]).value;
    (at.0 - place.0).hypot(at.1 - place.1) * separation < PLACE.1 + PLACE.0 * separation
}

/// Distance between the outermost targets, px, for each frame. With three and more targets the scale comes from a
/// weighted similarity fit to `layout` (the targets of the reference frame), times the layout's own outermost distance.
/// `None` for frames whose targets can't be told apart from the layout's.
#[must_use]
pub(in crate::sweep) fn fitted_separation(
    targets: &[Target],
    layout: &[Target],
) -> Option<Measured> {
    let outermost = super::pair::separation(layout.first()?, layout.last()?);
    if targets.len() != layout.len() || targets.len() < 3 {
        return None;
    }
    // Horn's closed form in two dimensions: with places as complex numbers about their weighted means, the best scale and
    // rotation are Σ w z̄ z' / Σ w |z|² (B. K. P. Horn, J. Opt. Soc. Am. A 4, 629, 1987).
    let weight: Vec<f64> = targets
        .iter()
        .map(|target| {
            1.0 / (target.x_px.std_error.powi(2) + target.y_px.std_error.powi(2)).max(1e-12)
        })
        .collect();
    let total: f64 = weight.iter().sum();
    let mean = |of: &[Target]| {
        let sum = of.iter().zip(&weight).fold((0.0, 0.0), |sum, (t, w)| {
            (sum.0 + w * t.x_px.value, sum.1 + w * t.y_px.value)
        });
        (sum.0 / total, sum.1 / total)
    };
    let (here, there) = (mean(targets), mean(layout));
    let (mut along, mut across, mut inertia) = (0.0, 0.0, 0.0);
    for ((target, model), w) in targets.iter().zip(layout).zip(&weight) {
        let (x, y) = (target.x_px.value - here.0, target.y_px.value - here.1);
        let (u, v) = (model.x_px.value - there.0, model.y_px.value - there.1);
        along += w * (u * x + v * y);
        across += w * (u * y - v * x);
        inertia += w * (u * u + v * v);
    }
    let scale = along.hypot(across) / inertia;
    // Each weight is the inverse of a centre's variance over both axes; the scale only sees half of it.
    let u = (0.5 / inertia).sqrt();
    Some(Measured::new(scale * outermost.value, u * outermost.value))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn target(x: f64, y: f64) -> Target {
        Target::plain(x, y, 200.0)
    }

    fn cross(scale: f64, turn: f64) -> Vec<Target> {
        [(-700.0, 5.0), (0.0, -400.0), (3.0, 410.0), (705.0, -8.0)]
            .into_iter()
            .map(|(x, y): (f64, f64)| {
                target(
                    960.0 + scale * (x * turn.cos() - y * turn.sin()),
                    640.0 + scale * (x * turn.sin() + y * turn.cos()),
                )
            })
            .collect()
    }

    #[test]
    fn four_targets_give_scale_whatever_the_roll() {
        let layout = cross(1.0, 0.0);
        let straight = super::super::pair::separation(&layout[0], &layout[3]).value;
        let fitted = fitted_separation(&cross(1.02, 0.003), &layout).expect("four targets");
        assert!((fitted.value / straight - 1.02).abs() < 1e-9);
        // Better than two targets alone: √(r₁²+r₂²+…) instead of √(r₁²+r₂²).
        assert!(
            fitted.std_error
                < 0.9 * super::super::pair::separation(&layout[0], &layout[3]).std_error
        );
    }

    #[test]
    fn further_targets_join_and_clutter_does_not() {
        let frames: Vec<Vec<Target>> = (0..10)
            .map(|i| cross(1.0 + 0.001 * f64::from(i), 0.0))
            .collect();
        let mut cluttered = frames.clone();
        let mut glint = target(300.0, 300.0);
        glint.flux = 300.0;
        glint.variance_px2 = Measured::new(20.0, 1.0);
        let mut label = target(500.0, 900.0);
        label.elongation = 0.4;
        for frame in &mut cluttered {
            frame.extend([glint.clone(), label.clone()]);
        }
        let mut found: Vec<Found> = frames
            .iter()
            .map(|frame| Ok(vec![frame[0].clone(), frame[3].clone()]))
            .collect();
        let candidates: Vec<&[Target]> = cluttered.iter().map(Vec::as_slice).collect();
        add(&mut found, &candidates);
        for targets in found {
            assert_eq!(targets.expect("measured").len(), 4);
        }
    }
}
