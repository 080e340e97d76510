//! Restoring the order near to far where the files give another.

mod path;

use path::{length, shortest_path};

/// The order of a sweep, and what was done to the files' own.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::sweep) struct Arrangement {
    /// Places in the files' order, as they come near to far.
    pub(in crate::sweep) sequence: Vec<usize>,
    /// How the files ran, for the finding.
    pub(in crate::sweep) how: Restored,
}

/// Why an order was changed, or can't be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::sweep) enum Restored {
    /// The distances ran the other way.
    ReversedByDistance,
    /// The distances ran to and fro.
    SortedByDistance,
    /// The blur says that the first frame is at infinity.
    ReversedByBlur,
    /// Single neighbours were exchanged, between which scale and blur went back.
    Exchanged,
    /// Scale and blur ran to and fro; put in a row by likeness.
    SortedByBlur,
    /// As before, but scale does not tell the near side from the far one, nor what is at the ends.
    Doubtful,
    /// Put in a row by likeness, but nothing shows which end is at closest focus.
    EitherWay,
    /// The files' order is kept, but the last frame is blurred so much more than the first that it may be the one at closest focus.
    MaybeBackwards,
    /// As before, but it is blurred only a little more, as targets within twice closest focus are too.
    HardlyBackwards,
    /// The order was told, and is kept, but distances or blur say that the frames run from infinity to closest focus.
    ToldBackwards,
}

/// Share of the pairs of frames above which stated distances run to and fro, or, counted from the other end, all the
/// wrong way: stated distances are coarse, so a few pairs say nothing.
const TO_AND_FRO: f64 = 0.1;

/// Order by stated focus distances, dioptres, which run in the files' order; `None` where that is right already, or where
/// too few are known.
#[must_use]
pub(in crate::sweep) fn by_distance(dioptres: &[Option<f64>]) -> Option<Arrangement> {
    let known: Vec<f64> = dioptres.iter().flatten().copied().collect();
    if known.len() < 3 {
        return None;
    }
    let (mut wrong, mut told) = (0_usize, 0_usize);
    for (i, a) in known.iter().enumerate() {
        for b in &known[i + 1..] {
            let step = b - a;
            // Frames whose stated distance is the same say nothing.
            if step.abs() > 1e-9 {
                told += 1;
                wrong += usize::from(step > 0.0);
            }
        }
    }
    let share = wrong as f64 / told.max(1) as f64;
    let mut sequence: Vec<usize> = (0..dioptres.len()).collect();
    if share > 1.0 - TO_AND_FRO {
        sequence.reverse();
        return Some(Arrangement {
            sequence,
            how: Restored::ReversedByDistance,
        });
    }
    if share > TO_AND_FRO {
        return sorted_by_distance(dioptres);
    }
    None
}

/// The order in which stated distances, dioptres, fall; `None` where one is not known.
#[must_use]
pub(in crate::sweep) fn sorted_by_distance(dioptres: &[Option<f64>]) -> Option<Arrangement> {
    let known: Vec<f64> = dioptres.iter().copied().collect::<Option<_>>()?;
    let mut sequence: Vec<usize> = (0..known.len()).collect();
    sequence.sort_by(|&a, &b| known[b].total_cmp(&known[a]));
    Some(Arrangement {
        sequence,
        how: Restored::SortedByDistance,
    })
}

/// The frames whose stated distances, dioptres in the frames' order from near to far, can't all be right: those that are not
/// in every longest run of falling ones. Of two swapped rows that is both, of a slip of the pen the one; none where the
/// distances run the other way altogether, or are in line.
#[must_use]
pub(in crate::sweep) fn out_of_line(dioptres: &[Option<f64>]) -> Vec<usize> {
    let known: Vec<(usize, f64)> = dioptres
        .iter()
        .enumerate()
        .filter_map(|(frame, d)| d.map(|d| (frame, d)))
        .collect();
    let falls = |a: f64, b: f64| b <= a + 1e-9;
    let n = known.len();
    let mut rising = 0_usize;
    // Length of the longest falling run that ends at each, and that begins there.
    let (mut ending, mut beginning) = (vec![1_usize; n], vec![1_usize; n]);
    for k in 0..n {
        for j in 0..k {
            if falls(known[j].1, known[k].1) {
                ending[k] = ending[k].max(ending[j] + 1);
            } else {
                rising += 1;
            }
        }
    }
    for k in (0..n).rev() {
        for j in k + 1..n {
            if falls(known[k].1, known[j].1) {
                beginning[k] = beginning[k].max(beginning[j] + 1);
            }
        }
    }
    let longest = ending.iter().copied().max().unwrap_or(0);
    if 4 * rising > n * n.saturating_sub(1) {
        return Vec::new();
    }
    let is_in_one = |k: usize| ending[k] + beginning[k] == longest + 1;
    // Whoever shares its place in the run with another is not in every one.
    let is_in_all = |k: usize| {
        is_in_one(k) && !(0..n).any(|j| j != k && is_in_one(j) && ending[j] == ending[k])
    };
    (0..n)
        .filter(|&k| !is_in_all(k))
        .map(|k| known[k].0)
        .collect()
}

/// What is measured of a frame and known to run smoothly through a sweep.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::sweep) struct Look {
    /// Separation, px.
    pub(in crate::sweep) separation: f64,
    /// Second moment of the targets over the square of the scale, px².
    pub(in crate::sweep) variance: f64,
}

/// What is known of the set-up: which end has the wider blur.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(in crate::sweep) struct Ends {
    /// Blur at closest focus over blur at infinity, where closest focus and target distance are known: (D−u₀)/u₀.
    pub(in crate::sweep) near_over_far: Option<f64>,
    /// Blur at closest focus and at infinity that the nominal pupil f/N makes, px, where that is known.
    pub(in crate::sweep) nominal_px: Option<(f64, f64)>,
}

/// A blur changes its course once in a sweep, at the sharpest frame; this many times is noise and chance.
const TURNS_ALLOWED: usize = 3;
/// Steps of the blur below this share of its range say nothing about its course.
const STEP_SHARE: f64 = 0.03;
/// The same of the scale, which turns once or twice and is noisier against its range.
const SCALE_SHARE: f64 = 0.1;
/// Change of scale over the sweep, as a share, from which its course is no noise: ten times what the noisiest frames have.
const PLAIN_BREATHING: f64 = 0.003;
/// The files' way through (separation, blur) over the shortest way: a good sweep has 1, a shuffled one several.
const DETOUR: f64 = 1.6;
/// By how much better, as the logarithm of a ratio of blurs, the ends have to fit when they are turned.
const CLEARLY: f64 = 0.3;
/// How well the turned ends have to fit where a sweep short of infinity is another explanation: the estimate holds to a
/// fifth through real lenses.
const AS_TURNED: f64 = 0.2;
/// Blur at the first frame over blur at the last below which a sweep may run backwards, when nothing is known of the set-up: in
/// one that does not, the targets stand within 1.6 times closest focus (1/u₀ − 1/D = 0.6/D), where few are put: seen from the
/// other end, they stand at 2.7 times.
const BACKWARDS: f64 = 0.6;
/// The same below which that is worth a note: noise and aberrations make ends that are blurred alike differ by less.
const HARDLY_BACKWARDS: f64 = 0.9;
/// The same from which a shuffled sweep is read from its wider end without a doubt: within 1.4 times closest focus nobody puts them.
const NOBODY_PUTS: f64 = 0.4;

/// Blur at the wider end below which the blur at the ends is noise, px (our choice).
const TELLING_BLUR_PX: f64 = 4.0;

impl Restored {
    /// Whether the files' order was none, so that only the pictures say where a frame belongs.
    #[must_use]
    pub(in crate::sweep) const fn was_shuffled(self) -> bool {
        matches!(self, Self::SortedByBlur | Self::Doubtful | Self::EitherWay)
    }

    /// Whether the files' order is kept, but may be the wrong way round.
    #[must_use]
    pub(in crate::sweep) const fn may_be_backwards(self) -> bool {
        matches!(self, Self::MaybeBackwards | Self::HardlyBackwards)
    }

    /// Whether nothing shows which end of the sweep is at closest focus.
    #[must_use]
    pub(in crate::sweep) const fn reads_both_ways(self) -> bool {
        matches!(self, Self::Doubtful | Self::EitherWay | Self::ToldBackwards)
    }
}

impl Ends {
    /// Whether closest focus and target distance are known, so that the blur tells more than a habit of setting up.
    #[must_use]
    pub(in crate::sweep) const fn are_known(&self) -> bool {
        self.near_over_far.is_some()
    }

    /// Whether blurs at the ends of so much (px) show which of them is at closest focus, where the files' order is none.
    fn tell(&self, first: f64, last: f64) -> bool {
        if first.max(last) < TELLING_BLUR_PX {
            return false;
        }
        let ratio = (first.max(1e-9) / last.max(1e-9)).ln().abs();
        match self.near_over_far {
            Some(expected) => {
                let expected = expected.ln();
                ((ratio + expected).abs() - (ratio - expected).abs()).abs() > CLEARLY
            }
            // The wider blur is at closest focus, unless the targets stand nearer than anybody puts them.
            None => ratio > -NOBODY_PUTS.ln(),
        }
    }

    /// Whether a sweep whose first and last frame are blurred by so much (px) runs from infinity to closest focus.
    fn say_backwards(&self, first: f64, last: f64) -> bool {
        let off = |a: f64, b: f64| (a.max(1e-9) / b.max(1e-9)).ln().abs();
        let ratio = first / last.max(1e-9);
        let expected = self.near_over_far.unwrap_or(1.0);
        // Whichever way round is nearer to what it should be, on a log scale, if that is clear.
        let turned = off(ratio * expected, 1.0);
        if turned + CLEARLY > off(ratio, expected) {
            return false;
        }
        // A last frame short of infinity is blurred less, as if the ends were turned. The nominal pupil tells them apart.
        match self.nominal_px {
            _ if ratio < expected => true,
            Some((near, far)) => (off(first, far) + off(last, near)) / 2.0 < off(first, near),
            None => turned < AS_TURNED,
        }
    }
}

/// Order by blur and scale of the measured frames, which run in the files' order; `None` where that is right already.
/// `is_shuffled` says that their order so far is known to be none of the files': then the way is the shortest, however little
/// that shortens it.
#[must_use]
pub(in crate::sweep) fn by_blur(
    looks: &[Look],
    ends: Ends,
    is_shuffled: bool,
) -> Option<Arrangement> {
    let n = looks.len();
    if n < 5 {
        return None;
    }
    let (places, widest) = normalised(looks);
    let radius: Vec<f64> = places.iter().map(|place| place.1).collect();
    let filed: Vec<usize> = (0..n).collect();
    let mut path = filed.clone();
    let mut how = None;
    let scale: Vec<f64> = places.iter().map(|place| place.0).collect();
    let jumps = breathing(looks) > PLAIN_BREATHING && turns(&scale, SCALE_SHARE) > TURNS_ALLOWED;
    if is_shuffled || jumps || turns(&radius, STEP_SHARE) > TURNS_ALLOWED {
        let shortest = shortest_path(&places);
        if is_shuffled || length(&places, &filed) > DETOUR * length(&places, &shortest) {
            path = shortest;
            how = Some(if sides_apart(&places, &path) {
                Restored::SortedByBlur
            } else {
                Restored::Doubtful
            });
        }
    }
    let (first, last) = (radius[path[0]], radius[path[n - 1]]);
    let ratio = first / last.max(1e-9);
    if how == Some(Restored::SortedByBlur) && !ends.tell(first * widest, last * widest) {
        how = Some(Restored::EitherWay);
    }
    let backwards = match ends.near_over_far {
        Some(_) => ends.say_backwards(first * widest, last * widest),
        None if how.is_some() => ratio < 1.0,
        None => {
            // Blur alone is no reason to doubt files that are in order: targets may stand near closest focus.
            if ratio < HARDLY_BACKWARDS && !always_blurred(&radius) {
                how = Some(if ratio < BACKWARDS {
                    Restored::MaybeBackwards
                } else {
                    Restored::HardlyBackwards
                });
            }
            false
        }
    };
    if backwards {
        path.reverse();
        how = how.or(Some(Restored::ReversedByBlur));
    }
    how.map(|how| Arrangement {
        sequence: path,
        how,
    })
}

/// Separation and blur, each from 0 to 1 over the sweep, and the widest blur, px; a separation that hardly changes is left
/// out.
pub(super) fn normalised(looks: &[Look]) -> (Vec<(f64, f64)>, f64) {
    let least = looks
        .iter()
        .map(|l| l.variance)
        .fold(f64::INFINITY, f64::min);
    let blur = |l: &Look| (l.variance - least).max(0.0).sqrt();
    let widest = looks.iter().map(blur).fold(1e-9, f64::max);
    let low = looks
        .iter()
        .map(|l| l.separation)
        .fold(f64::INFINITY, f64::min);
    let high = looks.iter().map(|l| l.separation).fold(0.0, f64::max);
    // Below a tenth of a pixel the change of separation is noise.
    let range = (high - low).max(1.0);
    let places = looks
        .iter()
        .map(|l| ((l.separation - low) / range, blur(l) / widest))
        .collect();
    (places, 4.0 * widest)
}

/// Change of scale over the sweep, as a share of the largest.
fn breathing(looks: &[Look]) -> f64 {
    let separations = || looks.iter().map(|look| look.separation);
    let high = separations().fold(0.0, f64::max);
    1.0 - separations().fold(f64::INFINITY, f64::min) / high
}

/// How often a quantity changes its course, steps below a share of its range left out.
pub(in crate::sweep) fn turns(values: &[f64], share: f64) -> usize {
    let mut courses: Vec<bool> = Vec::new();
    let mut last = values[0];
    for &r in values {
        if (r - last).abs() > share {
            courses.push(r > last);
            last = r;
        }
    }
    courses.windows(2).filter(|pair| pair[0] != pair[1]).count()
}

/// Whether the sweep has no frame that is much sharper than its sharper end.
fn always_blurred(radius: &[f64]) -> bool {
    let ends = radius[0].min(radius[radius.len() - 1]);
    ends < 0.1
}

/// Whether frames of like blur on both sides of the sharpest differ in separation, so that their side is certain.
fn sides_apart(places: &[(f64, f64)], path: &[usize]) -> bool {
    let sharpest = (0..path.len())
        .min_by(|&a, &b| places[path[a]].1.total_cmp(&places[path[b]].1))
        .unwrap_or(0);
    let (near, far) = path.split_at(sharpest);
    let mut gaps: Vec<f64> = near
        .iter()
        .filter_map(|&a| {
            let twin = far.iter().min_by(|&&p, &&q| {
                (places[p].1 - places[a].1)
                    .abs()
                    .total_cmp(&(places[q].1 - places[a].1).abs())
            })?;
            ((places[*twin].1 - places[a].1).abs() < 0.1)
                .then(|| (places[*twin].0 - places[a].0).abs())
        })
        .collect();
    gaps.sort_by(f64::total_cmp);
    gaps.is_empty() || gaps[gaps.len() / 2] > 0.05
}

#[cfg(test)]
mod tests;
