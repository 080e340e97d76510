//! The targets of each frame, chosen for the whole sweep together, looked for again where they were missed, and doubted
//! where they don't fit.

use super::look::{self, Load, Sight};
use super::pair::Shape;
use super::{covered, extra, pair, run_together, track};
use crate::measure::{Flag, Target, Unmeasurable};
use crate::sweep::fitting::smooth::Smooth;
use crate::sweep::sequence::places::{Places, Witness};

/// What became of the search in one frame: targets from left to right, or why there are none.
pub(in crate::sweep) type Found = Result<Vec<Target>, Unmeasurable>;

/// Two targets closer than this many times the wider one's standard deviation share their light: a window reaches 2.55,
/// the other's blur disc 2.
const OVERLAP_SIGMA: f64 = 4.6;
/// A blur disc or a square ends no farther than this many standard deviations from its centre on an axis.
const EDGE_SIGMA: f64 = 2.0;
/// A separation this many standard deviations off the curve of all others is doubted …
const DOUBT: f64 = 8.0;
/// … when it is also off by this share: no noise does that to a sound frame.
const DOUBT_SHARE: f64 = 3e-4;
/// Fewest frames in which one of them can be doubted on the others' word.
const FEWEST_WITNESSES: usize = 8;
/// Least uncertainty of a separation that is believed when frames are compared, px.
const LEAST_U_PX: f64 = 0.005;

/// The sweep as far as it was looked at.
pub(in crate::sweep) struct Sightings<'a> {
    /// Index of each frame looked at, in sweep order.
    pub(in crate::sweep) order: Vec<usize>,
    /// Where these frames stand.
    pub(in crate::sweep) places: Places,
    /// What was seen in it, in the same order.
    pub(in crate::sweep) sights: Vec<Result<Sight, Unmeasurable>>,
    /// Whether its targets were pointed at by hand, in the same order.
    pub(in crate::sweep) pointed: Vec<bool>,
    /// Columns and rows of most frames.
    pub(in crate::sweep) size: (u32, u32),
    /// Gives pictures again.
    pub(in crate::sweep) load: Load<'a>,
}

impl Sightings<'_> {
    /// Candidates of each frame of the usual size; empty for the others.
    fn candidates(&self) -> Vec<&[Target]> {
        self.sights
            .iter()
            .map(|sight| match sight {
                Ok(sight) if sight.size == self.size => sight.candidates.as_slice(),
                _ => &[],
            })
            .collect()
    }

    /// Whether a frame was read and has the size of most.
    pub(in crate::sweep) fn is_sound(&self, at: usize) -> bool {
        matches!(&self.sights[at], Ok(sight) if sight.size == self.size)
    }

    fn picture(&self) -> (f64, f64) {
        (f64::from(self.size.0), f64::from(self.size.1))
    }

    /// The two targets of each frame that make the likeliest track.
    pub(in crate::sweep) fn pairs(&self) -> Vec<Option<[Target; 2]>> {
        let candidates = self.candidates();
        track::follow(&candidates, &self.pointed, self.picture(), &self.places)
            .iter()
            .zip(&candidates)
            .map(|(choice, frame)| {
                choice.map(|choice| [frame[choice.left].clone(), frame[choice.right].clone()])
            })
            .collect()
    }

    /// The same where the frames stand in no order yet: a frame that fits to neither neighbour has the pair that is most like
    /// one of any other frame.
    pub(in crate::sweep) fn pairs_in_any_order(&self) -> Vec<Option<[Target; 2]>> {
        let mut pairs = self.pairs();
        let known: Vec<Shape> = pairs
            .iter()
            .flatten()
            .map(|[left, right]| pair::shape(left, right))
            .collect();
        let candidates = self.candidates();
        let brightest = track::typical_brightest(&candidates);
        for (pair, frame) in pairs.iter_mut().zip(&candidates) {
            if pair.is_none() {
                *pair = track::most_alike(frame, &known, self.picture(), brightest)
                    .map(|choice| [frame[choice.left].clone(), frame[choice.right].clone()]);
            }
        }
        pairs
    }

    /// Whether the pair of each frame is that of the next one before or after it that has one, by all that focus does not change. Of
    /// any but the last the light of one target over the other stays closely, too: a target with a corner covered is no sound one.
    pub(in crate::sweep) fn are_sound(&self) -> Vec<bool> {
        let pairs = self.pairs();
        let with: Vec<usize> = (0..pairs.len()).filter(|&at| pairs[at].is_some()).collect();
        let mut sound = vec![false; pairs.len()];
        for beside in with.windows(2) {
            let (a, b) = (beside[0], beside[1]);
            if let (Some(one), Some(other)) = (&pairs[a], &pairs[b])
                && pair::is_same(one, other, self.picture().0)
            {
                let stays = pair::light_stays(one, other);
                sound[a] |= stays;
                sound[b] |= stays || with.last() == Some(&b);
            }
        }
        sound
    }

    /// Puts the frames in another order: `order[i]` is the place, so far, of the one that comes i-th.
    pub(in crate::sweep) fn arrange(&mut self, order: &[usize]) {
        self.order = order.iter().map(|&place| self.order[place]).collect();
        self.pointed = order.iter().map(|&place| self.pointed[place]).collect();
        let mut sights: Vec<_> = self.sights.drain(..).map(Some).collect();
        let taken = order.iter().filter_map(|&place| sights[place].take());
        self.sights = taken.collect();
    }

    /// What runs smoothly through a sweep, for each frame with its standard uncertainty: separation of the pair, px, and
    /// second moment of its light over the square of that. Half a target has another
    /// centre and width: frames in which one is partly covered have none.
    pub(in crate::sweep) fn series(&self) -> [Vec<Option<(f64, f64)>>; 2] {
        let (mut separations, mut variances) = (Vec::new(), Vec::new());
        let mut found: Vec<Found> = self
            .pairs()
            .into_iter()
            .map(|pair| pair.map(Vec::from).ok_or(Unmeasurable::NoTargets))
            .collect();
        covered::fail(&mut found);
        for targets in found {
            let pair = targets
                .ok()
                .and_then(|targets| <[Target; 2]>::try_from(targets).ok());
            let seen = pair.map(|[left, right]| {
                let separation = pair::separation(&left, &right);
                let (a, b) = (left.variance_px2, right.variance_px2);
                let mean = (a.value + b.value) / 2.0;
                let u = (a.std_error.hypot(b.std_error) / 2.0).max(1e-4 * mean);
                // At one scale, so that a jump of the scale is none of the blur.
                let scale = separation.value.powi(-2);
                (
                    (separation.value, separation.std_error.max(LEAST_U_PX)),
                    (mean * scale, u * scale),
                )
            });
            separations.push(seen.map(|seen| seen.0));
            variances.push(seen.map(|seen| seen.1));
        }
        [separations, variances]
    }

    /// The targets of every frame, in sweep order.
    pub(in crate::sweep) fn targets(&self) -> Vec<Found> {
        let pairs = self.pairs();
        let mut found: Vec<Found> = (0..self.order.len())
            .map(|at| self.first_verdict(at, &pairs))
            .collect();
        covered::fail(&mut found);
        self.doubt(&mut found);
        run_together::tell_apart(&mut found, &self.places, self.picture());
        extra::add(&mut found, &self.candidates());
        found
    }

    fn first_verdict(&self, at: usize, pairs: &[Option<[Target; 2]>]) -> Found {
        let sight = self.sights[at].as_ref().map_err(Clone::clone)?;
        if sight.size != self.size {
            return Err(Unmeasurable::OtherSize {
                found_width: sight.size.0,
                found_height: sight.size.1,
                width: self.size.0,
                height: self.size.1,
            });
        }
        match &pairs[at] {
            Some(pair) => sound(pair.to_vec()),
            None => self.look_again(at, pairs, sight.candidates.len()),
        }
    }

    /// Looks for the pair where the neighbouring frames say it should be.
    fn look_again(&self, at: usize, pairs: &[Option<[Target; 2]>], candidates: usize) -> Found {
        let Some((left, right)) = neighbours(pairs, at) else {
            return Err(match candidates {
                0 => Unmeasurable::NoTargets,
                1 => Unmeasurable::OneTarget,
                _ => Unmeasurable::DisagreesWithNeighbours,
            });
        };
        let places = self.expected(pairs, at, left, right);
        let found = look::near(self.order[at], self.load, &places);
        let cut = places.iter().any(|&place| self.cuts_edge(place));
        let pair = match found {
            Err(Unmeasurable::NoTargets | Unmeasurable::OneTarget | Unmeasurable::TooFaint)
                if cut =>
            {
                return Err(Unmeasurable::Clipped);
            }
            // Where something is to be seen, it is elsewhere than the neighbours say.
            Err(Unmeasurable::NoTargets) if candidates > 1 => {
                return Err(Unmeasurable::DisagreesWithNeighbours);
            }
            other => sound(other?)?,
        };
        let [first, second] = pair.as_slice() else {
            return Err(Unmeasurable::OneTarget);
        };
        let here = pair::shape(first, second);
        let fits = [left, right].iter().any(|&beside| {
            pairs[beside].as_ref().is_some_and(|known| {
                let there = pair::shape(&known[0], &known[1]);
                let apart = self.places.steps(beside, at);
                pair::change(&there, &here, apart, self.picture().0) < track::PASS_OVER
            })
        });
        if fits {
            Ok(pair)
        } else if cut {
            Err(Unmeasurable::Clipped)
        } else {
            Err(Unmeasurable::DisagreesWithNeighbours)
        }
    }

    /// Where the targets of a frame should be, and their second moments, on the straight line between two other frames.
    fn expected(
        &self,
        pairs: &[Option<[Target; 2]>],
        at: usize,
        left: usize,
        right: usize,
    ) -> Vec<((f64, f64), f64)> {
        let share = if left == right {
            0.0
        } else {
            self.places.apart(left, at) / self.places.apart(left, right)
        };
        let (Some(a), Some(b)) = (&pairs[left], &pairs[right]) else {
            return Vec::new();
        };
        let mix = |a: f64, b: f64| a + share * (b - a);
        a.iter()
            .zip(b)
            .map(|(a, b)| {
                let place = (
                    mix(a.x_px.value, b.x_px.value),
                    mix(a.y_px.value, b.y_px.value),
                );
                (place, mix(a.variance_px2.value, b.variance_px2.value))
            })
            .collect()
    }

    fn cuts_edge(&self, ((x, y), variance): ((f64, f64), f64)) -> bool {
        let reach = EDGE_SIGMA * variance.sqrt();
        let (width, height) = self.picture();
        x - reach < 0.0 || y - reach < 0.0 || x + reach > width - 1.0 || y + reach > height - 1.0
    }

    /// Whether a frame shows the pair of the frames before and after it, at a scale between theirs.
    fn scales(&self, pairs: &[Option<[Target; 2]>], at: usize) -> bool {
        neighbours(pairs, at).is_some_and(|(before, after)| {
            match (&pairs[before], &pairs[at], &pairs[after]) {
                (Some(a), Some(own), Some(b)) if before < at && at < after => {
                    pair::is_between(own, [a, b], self.picture().0)
                }
                _ => false,
            }
        })
    }

    /// Fails frames whose separation all the others contradict, after a second look; the worst goes first, because it
    /// spoils the curve for the rest.
    fn doubt(&self, found: &mut [Found]) {
        let measured = found.iter().flatten().count();
        if measured < FEWEST_WITNESSES {
            return;
        }
        for _ in 0..measured / 4 {
            let pair =
                |targets: &Found| <[Target; 2]>::try_from(targets.as_ref().ok()?.clone()).ok();
            let pairs: Vec<Option<[Target; 2]>> = found.iter().map(pair).collect();
            let scales: Vec<bool> = (0..pairs.len()).map(|at| self.scales(&pairs, at)).collect();
            let Some((at, expected_px)) = most_doubtful(found, &self.places, &scales) else {
                return;
            };
            let again = if self.pointed[at] {
                Err(Unmeasurable::DisagreesWithNeighbours)
            } else {
                self.look_again(at, &pairs, 2)
            };
            found[at] = again.and_then(|targets| {
                let separation = pair::separation(&targets[0], &targets[1]).value;
                if (separation / expected_px - 1.0).abs() < DOUBT_SHARE {
                    Ok(targets)
                } else {
                    Err(Unmeasurable::DisagreesWithNeighbours)
                }
            });
        }
    }
}

/// The frame that fits worst, where it fits too badly to be sound, and the separation that the others expect there, px. One that only
/// `scales` stands at a longer or shorter step of the focus.
///
/// Where nothing but the order is known, a frame without targets may have been a step of the bracket (its file broke) or
/// none (a copy, a stray picture): then only what the others contradict both ways is doubted.
fn most_doubtful(found: &[Found], places: &Places, scales: &[bool]) -> Option<(usize, f64)> {
    let measured: Vec<(usize, f64, f64)> = found
        .iter()
        .enumerate()
        .filter_map(|(i, targets)| {
            let targets = targets.as_ref().ok()?;
            let separation = pair::separation(targets.first()?, targets.last()?);
            Some((i, separation.value, separation.std_error.max(LEAST_U_PX)))
        })
        .collect();
    let steps: Vec<(f64, f64, f64)> = measured
        .iter()
        .map(|&(i, value, u)| (places.pace(i), value, u))
        .collect();
    let smooth = Smooth::stiff(&steps)?;
    // Its neighbours may be drawn towards a bad frame, so the three that stand out most are each judged by the rest.
    let mut suspects: Vec<usize> = (0..steps.len()).collect();
    let off = |k: usize| smooth.standardised(k, steps[k].1).abs();
    suspects.sort_by(|&a, &b| off(b).total_cmp(&off(a)));
    suspects.retain(|&k| !scales[measured[k].0]);
    suspects.truncate(3);
    let uncertain = places.by == Witness::Order && measured.len() < found.len();
    let close_up: Vec<(f64, f64, f64)> = uncertain
        .then(|| {
            let ranked = measured.iter().enumerate();
            ranked.map(|(k, &(_, value, u))| (k as f64, value, u))
        })
        .into_iter()
        .flatten()
        .collect();
    let mut worst: Option<(f64, usize, f64)> = None;
    for suspect in suspects {
        let Some((doubt, value)) = deviation_of(&steps, suspect) else {
            continue;
        };
        if !close_up.is_empty() && deviation_of(&close_up, suspect).is_none() {
            continue;
        }
        if worst.is_none_or(|(most, ..)| doubt > most) {
            worst = Some((doubt, measured[suspect].0, value));
        }
    }
    worst.map(|(_, at, value)| (at, value))
}

/// How many standard deviations a point is off the curve of all others, and the value of that curve there; `None` where
/// it may be sound. Points are place, value and its standard uncertainty.
fn deviation_of(points: &[(f64, f64, f64)], suspect: usize) -> Option<(f64, f64)> {
    let mut without = points.to_vec();
    let (place, found, own_u) = without.remove(suspect);
    let rest = Smooth::reaching(&without, place)?;
    let (value, u) = rest.predict(place);
    let deviation = (found - value).abs();
    let doubt = deviation / u.hypot(rest.noise_factor * own_u);
    (doubt > DOUBT && deviation > DOUBT_SHARE * value.abs()).then_some((doubt, value))
}

/// Targets that are cut by the frame's edge or run into each other don't count.
fn sound(targets: Vec<Target>) -> Found {
    if targets
        .iter()
        .any(|target| target.flags.contains(&Flag::Clipped))
    {
        return Err(Unmeasurable::Clipped);
    }
    if let [left, right] = targets.as_slice() {
        let wider = left.variance_px2.value.max(right.variance_px2.value).sqrt();
        if pair::separation(left, right).value < OVERLAP_SIGMA * wider {
            return Err(Unmeasurable::Overlapping);
        }
    }
    Ok(targets)
}

/// The nearest frames before and after that have a pair; the same one twice at an end.
fn neighbours(pairs: &[Option<[Target; 2]>], at: usize) -> Option<(usize, usize)> {
    let before = (0..at).rev().find(|&i| pairs[i].is_some());
    let after = (at + 1..pairs.len()).find(|&i| pairs[i].is_some());
    Some((before.or(after)?, after.or(before)?))
}
