//! Two targets of one frame as a pair: how far apart, how alike, how much like the pair of another frame.

use crate::measure::{Flag, Target};
use crate::units::Measured;

/// What a pair is judged and followed by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::sweep) struct Shape {
    /// Distance between the centres, px.
    pub(in crate::sweep) separation: f64,
    /// Direction from the left to the right target, rad, y down.
    pub(in crate::sweep) angle: f64,
    /// Point half-way between the centres, px.
    pub(in crate::sweep) middle: (f64, f64),
    /// Natural logarithm of the light of both together.
    pub(super) log_flux: f64,
    /// Root of the mean second moment, px.
    pub(in crate::sweep) width: f64,
}

/// The shape of the pair that two targets make, the first being the left one.
#[must_use]
pub(in crate::sweep) fn shape(left: &Target, right: &Target) -> Shape {
    let (dx, dy) = (
        right.x_px.value - left.x_px.value,
        right.y_px.value - left.y_px.value,
    );
    Shape {
        separation: dx.hypot(dy),
        angle: dy.atan2(dx),
        middle: (
            (left.x_px.value + right.x_px.value) / 2.0,
            (left.y_px.value + right.y_px.value) / 2.0,
        ),
        log_flux: (left.flux + right.flux).max(f64::MIN_POSITIVE).ln(),
        width: ((left.variance_px2.value + right.variance_px2.value) / 2.0)
            .max(0.0)
            .sqrt(),
    }
}

/// Direction from the left to the right target, of length 1, y down.
#[must_use]
pub(in crate::sweep) fn along(left: &Target, right: &Target) -> (f64, f64) {
    let (dx, dy) = (
        right.x_px.value - left.x_px.value,
        right.y_px.value - left.y_px.value,
    );
    (dx / dx.hypot(dy), dy / dx.hypot(dy))
}

/// Distance between the centres, px, with the standard uncertainty that the centres' own bring along the line.
#[must_use]
pub(in crate::sweep) fn separation(left: &Target, right: &Target) -> Measured {
    let (dx, dy) = (
        right.x_px.value - left.x_px.value,
        right.y_px.value - left.y_px.value,
    );
    let distance = dx.hypot(dy);
    let along_x = left.x_px.std_error.hypot(right.x_px.std_error);
    let along_y = left.y_px.std_error.hypot(right.y_px.std_error);
    Measured::new(
        distance,
        (dx * along_x / distance).hypot(dy * along_y / distance),
    )
}

/// How the two targets of a sweep differ, which focus does not change: blur adds as much to either.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Unlike {
    /// Natural logarithm of the right one's light over the left one's.
    pub(super) light: f64,
    /// Second moment of the right one's light less that of the left one's, px².
    pub(super) variance_px2: f64,
    /// Most that light and width count together.
    pub(super) most: f64,
}

impl Unlike {
    /// Two pieces of the same tape.
    pub(super) const ALIKE: Self = Self {
        light: 0.0,
        variance_px2: 0.0,
        most: f64::INFINITY,
    };
    /// Nothing known: two pieces of tape of any size and light, though alike is likelier by twenty to one (our choice), of which
    /// twice the logarithm counts.
    pub(super) const OPEN: Self = Self {
        most: 6.0,
        ..Self::ALIKE
    };

    /// How two targets differ.
    #[must_use]
    pub(super) fn of(left: &Target, right: &Target) -> Self {
        Self {
            light: (right.flux / left.flux).ln(),
            variance_px2: right.variance_px2.value - left.variance_px2.value,
            ..Self::ALIKE
        }
    }
}

/// How unlike a pair of targets two bright spots are, from their own frame alone: 0 is perfect, each unit about one
/// standard deviation squared of what sweeps show. `ranks` are their places in the list of candidates, `usual` says how the targets of the
/// sweep differ.
#[must_use]
pub(super) fn oddness(
    left: &Target,
    right: &Target,
    ranks: (usize, usize),
    picture: (f64, f64),
    brightest_flux: f64,
    usual: &Unlike,
) -> f64 {
    let pair = shape(left, right);
    let (width, height) = picture;
    let upright = pair.angle.sin().abs() > pair.angle.cos().abs();
    // Along the side of the picture that the pair lies along, and across it.
    let (side, middle, tilt) = if upright {
        let tilt = std::f64::consts::FRAC_PI_2 - pair.angle.abs();
        (height, pair.middle.1, tilt)
    } else {
        (width, pair.middle.0, pair.angle)
    };
    let beside = if upright {
        pair.middle.0 / width
    } else {
        pair.middle.1 / height
    };
    let across = if upright == (height > width) {
        0.0
    } else {
        ACROSS
    };
    let flux_ratio = (right.flux / left.flux).ln() - usual.light;
    // As much as the smaller one lacks is given to it.
    let lacks = usual.variance_px2;
    let width_ratio = ((right.variance_px2.value + (-lacks).max(0.0))
        / (left.variance_px2.value + lacks.max(0.0)))
    .ln()
        / 2.0;
    let narrow = (0.6 - pair.separation / side).max(0.0);
    let off_middle = (middle / side - 0.5).abs();
    let dim = (2.0 * brightest_flux).ln() - pair.log_flux;
    let cut = [left, right]
        .into_iter()
        .filter(|target| target.flags.contains(&Flag::Clipped));
    (square(flux_ratio / 0.4) + square(width_ratio / 0.2)).min(usual.most)
        + square(narrow / 0.15)
        + square(off_middle / 0.15)
        + square((beside - 0.5) / 0.2)
        + square(tilt / 0.1)
        + across
        + square(dim)
        + CUT * cut.count() as f64
        + 0.5 * (ranks.0 + ranks.1) as f64
}

/// Whether the same two targets, left and right, were seen in two frames, by all that focus does not change: their light
/// and that of one over the other, how alike they are in width, direction and middle.
#[must_use]
pub(super) fn is_same(one: &[Target; 2], other: &[Target; 2], picture_width: f64) -> bool {
    let light = |[left, right]: &[Target; 2]| shape(left, right).log_flux;
    (light(one) - light(other)).abs() < SAME_LIGHT && is_alike(one, other, picture_width)
}

/// The same, whatever the exposure.
fn is_alike(one: &[Target; 2], other: &[Target; 2], picture_width: f64) -> bool {
    let (a, b) = (shape(&one[0], &one[1]), shape(&other[0], &other[1]));
    let light = |pair: &[Target; 2]| (pair[1].flux / pair[0].flux).ln();
    let width =
        |pair: &[Target; 2]| (pair[1].variance_px2.value / pair[0].variance_px2.value).ln() / 2.0;
    let moved = (b.middle.0 - a.middle.0).hypot(b.middle.1 - a.middle.1);
    (light(one) - light(other)).abs() < SAME_LIGHT
        && (width(one) - width(other)).abs() < SAME_WIDTH
        && turn(&a, &b).abs() < SAME_ANGLE
        && moved < SAME_PLACE * picture_width
}

/// Whether a frame shows the same targets as the ones before and after it, at a scale between theirs: a step of the focus that is
/// longer or shorter than the others takes both targets from the middle or to it. Where something else is taken for one of
/// them, or pulls it, the other stays.
#[must_use]
pub(super) fn is_between(own: &[Target; 2], beside: [&[Target; 2]; 2], picture_width: f64) -> bool {
    let is_same = |other| is_alike(other, own, picture_width) && light_stays(other, own);
    let length = |pair: &[Target; 2]| separation(&pair[0], &pair[1]).value;
    let [a, b] = beside.map(length);
    let (x, y) = along(&own[0], &own[1]);
    // How far each lies off the middle of where it is before and after, along the line.
    let [left, right] = [0, 1].map(|side| {
        let place = |pair: &[Target; 2]| x * pair[side].x_px.value + y * pair[side].y_px.value;
        place(own) - (place(beside[0]) + place(beside[1])) / 2.0
    });
    beside.into_iter().all(is_same)
        && (a.min(b)..=a.max(b)).contains(&length(own))
        && (left + right).abs() < ONE_ALONE * (right - left).abs()
}

/// Whether the light of one target over the other is the same in two frames, as blur leaves it.
#[must_use]
pub(super) fn light_stays(one: &[Target; 2], other: &[Target; 2]) -> bool {
    let light = |pair: &[Target; 2]| (pair[1].flux / pair[0].flux).ln();
    (light(one) - light(other)).abs() < STAYS
}

/// How far two targets may go the same way, in parts of how far they part: 1 where one goes alone, and twice the distance of the
/// middle from the lens's axis over the separation, a tenth or two, where the scale changes (our choice).
const ONE_ALONE: f64 = 0.5;
/// What it counts that a pair lies along the shorter side of the picture: targets hang at both ends of the longer one, unless
/// the camera stood upright and was told it did not.
const ACROSS: f64 = 4.0;
/// What a candidate counts that the frame's edge cuts: a wall on either side of the card is as good a pair as the targets but for
/// that, and can't be measured anyway. Both together count less than passing over the frame, so that targets that leave
/// the picture are followed to its edge.
const CUT: f64 = 6.0;
/// Change of the light, as a share, that the estimators make of one and the same light at another blur (our choice).
const SAME_LIGHT: f64 = 0.1;
/// The same for the light of one over the other where next to nothing may be covered: in good sweeps it stays within half of that.
const STAYS: f64 = 0.01;
/// Difference of the targets' widths, as a share, that may come and go with focus: blur is alike for both (our choice).
const SAME_WIDTH: f64 = 0.08;
/// Turn, rad, that is no bump: 0.06° (as for the finding that the camera moved, twice).
const SAME_ANGLE: f64 = 0.001;
/// The same for the middle, as a share of the picture's width.
const SAME_PLACE: f64 = 0.002;

/// Turn of the line through both targets, rad, from one frame to another: of two that hang one above the other, now one and now
/// the other is the left one.
fn turn(from: &Shape, to: &Shape) -> f64 {
    let half = std::f64::consts::PI;
    let turn = to.angle - from.angle;
    turn - half * (turn / half).round()
}

/// How unlike the same pair of targets two shapes in different frames are, `apart` steps from one another: breathing
/// changes the separation a little, a bump moves both targets alike, focus changes the width smoothly, light stays.
#[must_use]
pub(in crate::sweep) fn change(a: &Shape, b: &Shape, apart: usize, picture_width: f64) -> f64 {
    let steps = (apart as f64).sqrt();
    let stretch = (b.separation / a.separation).ln() / (0.012 * steps);
    let moved = (b.middle.0 - a.middle.0).hypot(b.middle.1 - a.middle.1) / (0.03 * picture_width);
    let turned = turn(a, b) / 0.02;
    let lit = (b.log_flux - a.log_flux) / (0.3 * steps);
    let spread = (b.width - a.width) / (steps * (4.0 + 0.15 * a.width.max(b.width)));
    // Each is capped: one odd quantity (a bump, a change of exposure) must not outvote all the others.
    let capped = |z: f64| square(z).min(MOST);
    let other = [stretch, moved, turned]
        .into_iter()
        .all(|z| capped(z) >= MOST);
    let odd: f64 = [stretch, moved, turned, lit, spread]
        .into_iter()
        .map(capped)
        .sum();
    odd + if other { OTHER_PAIR } else { 0.0 }
}

/// Most that one quantity counts.
const MOST: f64 = 25.0;
/// What scale, place and direction count beside that when all three jump: neither bump nor zoom ring does that to one and
/// the same pair. More than passing over half a dozen frames.
const OTHER_PAIR: f64 = 150.0;

fn square(z: f64) -> f64 {
    if z.is_finite() { z * z } else { 1e6 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As a pair is judged in a picture, it is in the same one turned by a quarter.
    #[test]
    fn a_picture_turned_by_a_quarter_is_judged_alike() {
        let beside = [(100.0, 380.0), (1100.0, 420.0)];
        let odd = |places: [(f64, f64); 2], picture: (f64, f64)| {
            let [left, right] = places.map(|(x, y)| Target::plain(x, y, 400.0));
            oddness(&left, &right, (0, 1), picture, 1500.0, &Unlike::ALIKE)
        };
        let landscape = odd(beside, (1200.0, 800.0));
        let portrait = odd(beside.map(|(x, y)| (800.0 - y, x)), (800.0, 1200.0));
        assert!(
            (landscape - portrait).abs() < 1e-9,
            "{landscape} {portrait}"
        );
        // Upright in a wide picture is dearer, and not as dear as passing over the frame.
        let upright = odd([(590.0, 60.0), (610.0, 740.0)], (1200.0, 800.0));
        assert!(upright > landscape + 3.0 && upright < 15.0, "{upright}");
        let pair = |places: [(f64, f64); 2]| {
            let [left, right] = places.map(|(x, y)| Target::plain(x, y, 400.0));
            shape(&left, &right)
        };
        let (one, other) = (
            pair([(400.0, 100.0), (401.0, 1100.0)]),
            pair([(399.0, 1100.0), (400.0, 100.0)]),
        );
        assert!(turn(&one, &other).abs() < 0.003, "{}", turn(&one, &other));
    }

    /// A long step of the focus takes both targets outwards by 3 px; a glint takes one of them, by as much as light of the same
    /// targets allows.
    #[test]
    fn a_step_moves_both_targets() {
        let pair = |left: f64, right: f64| {
            [
                Target::plain(left, 400.0, 400.0),
                Target::plain(right, 400.0, 400.0),
            ]
        };
        let (before, after) = (pair(100.0, 1100.0), pair(109.0, 1092.0));
        let is_between = |own: &[Target; 2]| is_between(own, [&before, &after], 1200.0);
        assert!(is_between(&pair(101.3, 1099.1)));
        assert!(!is_between(&pair(101.3, 1096.0)) && !is_between(&pair(104.5, 1099.1)));
        // Beyond both.
        assert!(!is_between(&pair(98.7, 1101.2)));
    }

    /// A label taken for a target in some frames has to cost more than passing them over; a bump and a slipped zoom ring
    /// don't.
    #[test]
    fn another_pair_is_dearer_than_a_bump_and_a_slip() {
        let pair = Shape {
            separation: 984.0,
            angle: 0.009,
            middle: (600.0, 398.0),
            log_flux: 4.8,
            width: 9.0,
        };
        let label = Shape {
            separation: 759.0,
            angle: -0.38,
            middle: (740.0, 540.0),
            log_flux: 5.0,
            width: 14.0,
        };
        let bumped = Shape {
            middle: (680.0, 350.0),
            angle: 0.2,
            ..pair
        };
        let slipped = Shape {
            separation: 1090.0,
            ..pair
        };
        let cost = |other: &Shape| change(&pair, other, 1, 1200.0);
        assert!(cost(&label) > 200.0, "{}", cost(&label));
        assert!(cost(&bumped) <= 2.0 * MOST && cost(&slipped) <= MOST);
        assert!(cost(&pair) < 1e-9);
    }
}
