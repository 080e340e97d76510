//! A target that moves where it hangs: at once, as tape that lets go, or over some frames, as tape that peels.
//!
//! What moves one target alone moves the point half-way between the two by half as much, and the distance between them by
//! all of it. A camera that moves, and a lens that wobbles, move the point alone; a zoom ring moves the distance alone. So each
//! move is looked for in both: in the distances as a course beside the smooth curve ([`steps::courses`]), A ± u, and in the
//! place of the point beside the breathing, δ ± w. That the right target moved (s = 1) or the left one (s = −1) misfits both by
//! (A − 2sδ)²/(u² + 4w²), as −2 log likelihood; that the camera did misfits by A²/u², that the ring did by δ²/w². Where the
//! move is as smooth as breathing is, u is large, and camera and target can't be told apart: then 2δ is a bound.

mod run;

use self::run::Run;
use super::pairs::pairs;
use super::pieces::{points, separations};
use crate::sweep::FrameResult;
use crate::sweep::fitting::steps;
use crate::sweep::sequence::places::Places;
use crate::sweep::tracking::balance;
use crate::units::Measured;

/// A target moved where its misfit is at most that of three standard uncertainties, …
const FITS: f64 = 9.0;
/// … and that the camera did not is as sure as 5.5 of them …
const NOT_CAMERA: f64 = 30.0;
/// … and that the ring did not is likelier by e³, …
const NOT_RING: f64 = 6.0;
/// … or, over more frames than one, that the lens's breathing does not bend there, as sure as five standard uncertainties: of some
/// hundred courses one that fits a bend goes with the camera's trembling by three of them.
const NOT_BREATHING: f64 = 25.0;
/// A move of the middle is looked at from five standard uncertainties on.
const MIDDLE_SURE: f64 = 5.0;
/// A step of the distances that nothing lays to target or ring is left open from seven on: the largest of a thousand simulated
/// sweeps without one. What runs over more frames alone may be breathing.
const APART_OPEN: f64 = 7.0;
/// A move of a target is at least this share of the distance between them: less would not be seen in a shift.
const LEAST_SHARE: f64 = 0.000_05;
/// A target that moves so slowly that it can't be told moves by no more than this share: tape that has slipped so far
/// falls (our choice, no source).
const MOST_SHARE: f64 = 0.003;
/// How far the course of a move within its window may lie off the shapes that are tried, as a share of its size.
const SHAPE: f64 = 0.1;
/// Least uncertainty of a separation that is believed, px.
const LEAST_U_PX: f64 = 0.005;
/// Frames that stand still before and after a move at least.
const STILL: usize = 2;
/// Frames below which moves can't be told.
const FEWEST: usize = 6;
/// Frames over which a move is looked for: a few of every length.
const LENGTHS: [usize; 12] = [1, 2, 3, 4, 5, 6, 8, 11, 15, 21, 30, 42];
/// Moves that are told apart in one sweep.
const MOST: usize = 3;
/// How far the lens's axis may lie beside the middle of the picture, as a share of its width, standard uncertainty (our choice):
/// breathing about it moves the middle of the pair as well.
const AXIS_SHARE: f64 = 0.02;
/// Change of the logarithm of the ratio of the targets' light from which it was no target that moved: tape that turns a little on its way
/// sends some per cent more or less (our choice).
const OTHER_LIGHT: f64 = 0.15;
/// What stands still across the line to the other target moves by no more than this share of the move, …
const TREMBLES: f64 = 0.25;
/// … or this many standard uncertainties.
const STILL_SIGMA: f64 = 4.0;

/// Which target moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::sweep) enum Side {
    /// The left one.
    Left,
    /// The right one.
    Right,
}

/// One target moved.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::sweep) struct Moved {
    /// Place of the last measured frame before it.
    pub(in crate::sweep) before: usize,
    /// Place of the first measured frame after it.
    pub(in crate::sweep) after: usize,
    /// Which one.
    pub(in crate::sweep) side: Side,
    /// How much farther apart the targets are after it than before, px, with its standard uncertainty.
    pub(in crate::sweep) apart_px: Measured,
    /// How much farther apart they hang in each frame than in the reference, px; 0 where nothing was measured.
    course_px: Vec<Measured>,
}

/// What was found.
#[derive(Debug, Clone, PartialEq, Default)]
pub(in crate::sweep) struct Moves {
    /// Targets that moved, taken out.
    pub(in crate::sweep) moved: Vec<Moved>,
    /// What targets may have moved in each frame, against the reference, px: what the separations can't tell from the camera's
    /// moves, or from a ring's.
    untold_px: Vec<f64>,
}

impl Moves {
    /// Takes the moves of targets out: frames then are what they would be with the targets where they are in the reference.
    pub(in crate::sweep) fn correct(&self, frames: &mut [FrameResult]) {
        for moved in &self.moved {
            for (frame, apart_px) in frames.iter_mut().zip(&moved.course_px) {
                let level = |px: Measured| Measured::new(px.value - apart_px.value, px.std_error);
                frame.separation_px = frame.separation_px.map(level);
            }
        }
    }

    /// Standard uncertainty that taking them out leaves in the shift of each of `count` frames, percentage points.
    #[must_use]
    pub(super) fn u_pct(&self, count: usize, reference_px: f64) -> Vec<f64> {
        let of = |place: usize| -> f64 {
            let moved = self.moved.iter();
            moved.fold(0.0, |u: f64, moved| {
                u.hypot(moved.course_px[place].std_error)
            })
        };
        (0..count)
            .map(|place| 100.0 * of(place) / reference_px)
            .collect()
    }

    /// What the shift of a frame would hold if a target moved and not the camera, percentage points; `None` where nothing is
    /// left open.
    #[must_use]
    pub(super) fn untold_pct(&self, place: usize, reference_px: f64) -> Option<f64> {
        let px = self.untold_px.get(place)?.abs();
        (px > 0.0).then(|| 100.0 * px / reference_px)
    }
}

/// A course that a move may take, by the measured frames.
struct Window {
    /// The last before it and the first after it.
    from: usize,
    to: usize,
    /// 1 before it, 0 after it.
    course: Vec<f64>,
}

/// What is seen of a move: how much larger the distance is before it, and how much farther along the middle, px.
struct Seen<'a> {
    window: &'a Window,
    apart: Measured,
    along: Measured,
}

impl Seen<'_> {
    /// Misfit of the move of a target, as −2 log likelihood.
    fn misfit(&self, sign: f64) -> f64 {
        let variance = self.apart.std_error.powi(2) + 4.0 * self.along.std_error.powi(2);
        (self.apart.value - 2.0 * sign * self.along.value).powi(2) / variance
    }

    /// The side whose move fits better, its sign, and its misfit.
    fn side(&self) -> (Side, f64, f64) {
        let (right, left) = (self.misfit(1.0), self.misfit(-1.0));
        if right < left {
            (Side::Right, 1.0, right)
        } else {
            (Side::Left, -1.0, left)
        }
    }

    /// How much of what is seen the likeliest move explains, as 2 log likelihood.
    fn explained(&self) -> f64 {
        sure(self.apart) + sure(self.along)
            - self.side().2.min(sure(self.apart)).min(sure(self.along))
    }

    /// How much larger the distance is for a target's move, as distances and middle say together, px.
    fn together(&self, sign: f64) -> Measured {
        let middle = self.along.scaled(2.0 * sign);
        let weight = |m: &Measured| m.std_error.powi(-2);
        let both = weight(&middle) + weight(&self.apart);
        let sum = middle.value * weight(&middle) + self.apart.value * weight(&self.apart);
        Measured::new(sum / both, both.sqrt().recip())
    }
}

/// The square of how many standard uncertainties a value is off 0.
fn sure(m: Measured) -> f64 {
    (m.value / m.std_error).powi(2)
}

/// Looks for moves, the one that stands out most first. `size_px` is that of the picture.
#[must_use]
pub(in crate::sweep) fn find(
    frames: &[FrameResult],
    places: &Places,
    size_px: Option<(u32, u32)>,
) -> Option<Moves> {
    let measured = separations(frames);
    let at: Vec<usize> = measured.iter().map(|(place, _)| *place).collect();
    if at.len() < FEWEST {
        return None;
    }
    let pairs = pairs(frames, &at, size_px)?;
    let pace: Vec<f64> = at.iter().map(|place| places.pace(*place)).collect();
    let windows = windows(&pace);
    let mut points = points(&measured, places, LEAST_U_PX);
    let whole_px = points.last()?.1;
    let axis_px = AXIS_SHARE * f64::from(size_px?.0);
    let mut middle = Run::of(&pairs, axis_px, &|pair| pair.along);
    // The left and the right target across the line between them.
    let across = [0, 1].map(|side| Run::of(&pairs, axis_px, &|pair| pair.across[side]));
    let mut found = Moves {
        moved: Vec::new(),
        untold_px: vec![0.0; frames.len()],
    };
    for _ in 0..MOST {
        let courses = windows.iter().map(|window| window.course.as_slice());
        let apart = steps::courses(&points, courses.clone());
        let along = middle.moved(courses);
        let both = windows.iter().zip(apart.into_iter().zip(along));
        let seen = both.filter_map(|(window, (apart, along))| {
            Some(Seen {
                window,
                apart: apart?,
                along: along?,
            })
        });
        let Some(seen) = seen.max_by(|a, b| a.explained().total_cmp(&b.explained())) else {
            break;
        };
        let (side, sign, misfit) = seen.side();
        let together = seen.together(sign);
        let at_once = seen.window.to - seen.window.from == 1;
        let may_be_target = misfit < FITS
            && sure(seen.apart) > misfit + NOT_CAMERA
            && sure(seen.along) > misfit + NOT_RING;
        let is_target = may_be_target
            && (at_once || sure(seen.along) > misfit + NOT_BREATHING)
            && together.value.abs() > LEAST_SHARE * whole_px
            && keeps_its_light(frames, (at[seen.window.from], at[seen.window.to]))
            && other_is_still(&across, &seen, side);
        let (mut apart_px, mut along_px) = (seen.apart.value, seen.along.value);
        if is_target {
            (apart_px, along_px) = (together.value, sign * together.value / 2.0);
            found
                .moved
                .push(moved(&seen, side, together, &at, frames.len()));
        } else if (may_be_target && !at_once)
            || sure(seen.along) > MIDDLE_SURE.powi(2) && misfit < sure(seen.apart) + FITS
        {
            found.leave_open(&seen, 2.0 * along_px, whole_px, &at);
        } else if at_once && sure(seen.apart) > APART_OPEN.powi(2) {
            found.leave_open(&seen, apart_px, whole_px, &at);
        } else if sure(seen.along) < MIDDLE_SURE.powi(2) {
            break;
        }
        if !is_target && sure(seen.apart) < APART_OPEN.powi(2) {
            apart_px = 0.0;
        }
        for (k, part) in seen.window.course.iter().enumerate() {
            points[k].1 -= apart_px * part;
            middle.px[k] -= along_px * part;
        }
    }
    Some(found)
}

impl Moves {
    /// Leaves open that targets moved by so much, px, as far as tape can.
    fn leave_open(&mut self, seen: &Seen<'_>, px: f64, whole_px: f64, at: &[usize]) {
        let most = MOST_SHARE * whole_px;
        for (part, place) in seen.window.course.iter().zip(at) {
            self.untold_px[*place] += px.clamp(-most, most) * part;
        }
    }
}

/// A target that moved by so much, px; `at` are the places of the measured ones of all frames.
fn moved(seen: &Seen<'_>, side: Side, by: Measured, at: &[usize], count: usize) -> Moved {
    let window = seen.window;
    let mut course_px = vec![Measured::new(0.0, 0.0); count];
    for (k, part) in window.course[..window.to].iter().enumerate() {
        let shape = if k > window.from { SHAPE } else { 0.0 };
        let u = by.std_error.hypot(shape * by.value);
        course_px[at[k]] = Measured::new(by.value * part, u);
    }
    Moved {
        before: at[window.from],
        after: at[window.to],
        side,
        apart_px: by.scaled(-1.0),
        course_px,
    }
}

/// All courses that are tried: at once, evenly, ever slower, ever faster, and through the whole sweep.
fn windows(pace: &[f64]) -> Vec<Window> {
    let count = pace.len();
    let shapes: [fn(f64) -> f64; 3] = [|t| t, |t| t * t, |t| t * (2.0 - t)];
    let within = |length: &usize| {
        let length = *length;
        let starts = STILL - 1..count.saturating_sub(length + STILL - 1);
        starts.map(move |from| (from, from + length))
    };
    let spans = LENGTHS.iter().flat_map(within).chain([(0, count - 1)]);
    let course = |(from, to): (usize, usize), shape: fn(f64) -> f64| {
        let before = |at: &f64| (pace[to] - at) / (pace[to] - pace[from]);
        let course = pace.iter().map(|at| shape(before(at).clamp(0.0, 1.0)));
        Window {
            from,
            to,
            course: course.collect(),
        }
    };
    spans
        .flat_map(|(from, to)| {
            let shapes = if to - from == 1 {
                &shapes[..1]
            } else {
                &shapes
            };
            shapes.iter().map(move |shape| ((from, to), *shape))
        })
        .map(|(span, shape)| course(span, shape))
        .collect()
}

/// Whether the ratio of the targets' light is the same in two frames: what moves sends as much as before, a shadow that passes pulls.
fn keeps_its_light(frames: &[FrameResult], (before, after): (usize, usize)) -> bool {
    let ratio = |place: usize| balance::log_ratio(&frames[place].targets);
    let change = ratio(before).zip(ratio(after)).map(|(a, b)| (a - b).abs());
    change.is_none_or(|change| change < OTHER_LIGHT)
}

/// Whether the other target stands still across the line between them, as cameras that turn don't leave it.
fn other_is_still(across: &[Run; 2], seen: &Seen<'_>, side: Side) -> bool {
    let other = match side {
        Side::Left => &across[1],
        Side::Right => &across[0],
    };
    let trembles = TREMBLES * seen.apart.value.abs();
    let moved = other.moved([seen.window.course.as_slice()].into_iter());
    let is_still =
        |moved: Measured| moved.value.abs() < (STILL_SIGMA * moved.std_error).max(trembles);
    moved.into_iter().flatten().any(is_still)
}

#[cfg(test)]
mod tests;
