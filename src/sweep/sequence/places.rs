//! Where the frames of a sweep stand, counted in steps of the bracket: file numbers, capture times or distances show how
//! many frames are missing between those that are there. Whatever weighs neighbours against each other goes by this.

use crate::sweep::FrameInfo;
use crate::sweep::fitting::smooth;
use crate::sweep::sorting::{naming, order};

/// Share of the readable frames whose file numbers have to rise with the sweep: a copy with a foreign number is no reason
/// to disbelieve all others, shuffled names keep far less.
const NUMBERED_SHARE: f64 = 0.8;
/// Fewest frames that show an even step.
const FEWEST: usize = 5;
/// More frames missing in a row than this are no gap of a sweep, but another counter.
const MOST_IN_A_ROW: f64 = 20.0;
/// How far, in steps, times and stated distances may be off whole steps: cameras don't shoot like clockwork, and
/// distances are rounded.
const UNEVEN: f64 = 0.25;
/// A pause over the usual interval from which the clock agrees that a frame is missing.
const PAUSE: f64 = 1.7;
/// Intervals below this say nothing, s.
const SHORTEST_S: f64 = 0.05;
/// Twice the logarithm of the likelihood ratio by which the pictures have to speak against a witness before the next one
/// is heard: 400 to 1.
pub(in crate::sweep) const SPEAK_AGAINST: f64 = 12.0;
/// The same that may be chance: what jumps in one series alone (a zoom ring, a wrong target) is no witness.
pub(in crate::sweep) const NO_WORSE: f64 = 3.0;

/// Who says where the frames stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::sweep) enum Witness {
    /// The numbers in the file names.
    Numbers,
    /// The capture times.
    Times,
    /// The stated focus distances.
    Distances,
    /// Nobody: the frames stand as they come.
    Order,
}

/// Place of each frame of a sweep, in steps from the first one; it rises from frame to frame.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::sweep) struct Places {
    at: Vec<f64>,
    /// How far the focus went, where the frames don't show even steps.
    paced: Option<Vec<f64>>,
    /// Gaps of which the witness says nothing: frame before, and how many are missing.
    unseen: Vec<(usize, u32)>,
    /// Who says so.
    pub(in crate::sweep) by: Witness,
}

impl Places {
    /// One step from each frame to the next.
    #[must_use]
    pub(in crate::sweep) fn in_order(count: usize) -> Self {
        Self {
            at: (0..count).map(|place| place as f64).collect(),
            paced: None,
            unseen: Vec::new(),
            by: Witness::Order,
        }
    }

    /// Every account of the places that holds together, the most trusted first, the plain order last. `frames` are in
    /// sweep order; `sound[i]` says whether the i-th could be read and counts; `dioptres` are the stated settings.
    #[must_use]
    pub(in crate::sweep) fn accounts(
        frames: &[&FrameInfo],
        sound: &[bool],
        dioptres: &[Option<f64>],
    ) -> Vec<Self> {
        let times: Vec<Option<f64>> = frames.iter().map(|frame| order::moment(frame)).collect();
        let by_numbers = counted(&numbers(frames), sound, NUMBERED_SHARE, 1e-6)
            .map(|at| (closed_by_clock(at, frames, &times), Witness::Numbers));
        let by_times = clock_tells(frames, &times)
            .then(|| counted(&times, sound, 1.0, UNEVEN))
            .flatten()
            .map(|at| (at, Witness::Times));
        let by_distances = counted(dioptres, sound, 1.0, UNEVEN).map(|at| (at, Witness::Distances));
        [by_numbers, by_times, by_distances]
            .into_iter()
            .flatten()
            .map(|(at, by)| Self {
                at,
                paced: None,
                unseen: Vec::new(),
                by,
            })
            .chain([Self::in_order(frames.len())])
            .collect()
    }

    /// Which of some accounts the pictures bear out: the first, unless another makes what runs smoothly through a sweep
    /// so much smoother that it is no chance, and none of it rougher. `series` hold value and standard uncertainty for
    /// each frame; the last one has to gain `last_gains` by itself, in twice the logarithm of a likelihood ratio.
    #[must_use]
    pub(in crate::sweep) fn likeliest(
        accounts: &[Self],
        series: &[Vec<Option<(f64, f64)>>],
        last_gains: f64,
    ) -> usize {
        let Some((first, others)) = accounts.split_first() else {
            return 0;
        };
        if others.iter().all(|other| other.at == first.at) {
            return 0;
        }
        let trusted: Option<Vec<f64>> = series.iter().map(|one| first.unlikely(one)).collect();
        let gain = |account: &Self| account.gain(series, trusted.as_deref()?, last_gains);
        let mut best = (0, 0.0);
        for (k, account) in others.iter().enumerate() {
            let gain = gain(account).unwrap_or(0.0);
            if gain > best.1 {
                best = (k + 1, gain);
            }
        }
        best.0
    }

    /// How much smoother the series are here than where a trusted account puts the frames, the last one first; `None` where that
    /// may be chance.
    fn gain(
        &self,
        series: &[Vec<Option<(f64, f64)>>],
        trusted: &[f64],
        last_gains: f64,
    ) -> Option<f64> {
        let mut least = last_gains.max(-NO_WORSE);
        let mut gain = 0.0;
        for (values, trusted) in series.iter().zip(trusted).rev() {
            let one = trusted - self.unlikely(values)?;
            if one <= least {
                return None;
            }
            gain += one;
            least = -NO_WORSE;
        }
        (gain > SPEAK_AGAINST).then_some(gain)
    }

    /// −2 log likelihood of a series if the frames stand here; `None` where there is too little of it.
    fn unlikely(&self, values: &[Option<(f64, f64)>]) -> Option<f64> {
        smooth::unlikely(values, &|frame| self.at[frame])
    }

    /// The same for some of the frames.
    #[must_use]
    pub(in crate::sweep) fn of(&self, frames: &[usize]) -> Self {
        Self {
            at: frames.iter().map(|&frame| self.at[frame]).collect(),
            paced: self
                .paced
                .as_ref()
                .map(|paced| frames.iter().map(|&frame| paced[frame]).collect()),
            unseen: Vec::new(),
            by: self.by,
        }
    }

    /// The same with so many frames missing after one of them that no witness speaks of.
    #[must_use]
    pub(in crate::sweep) fn opened(&self, frame: usize, missing: u32) -> Self {
        let mut opened = self.clone();
        for place in opened.at.iter_mut().skip(frame + 1) {
            *place += f64::from(missing);
        }
        opened.unseen.push((frame, missing));
        opened
    }

    /// The same with the focus running as `pace` says.
    #[must_use]
    pub(in crate::sweep) fn paced(self, pace: Option<Vec<f64>>) -> Self {
        Self {
            paced: pace,
            ..self
        }
    }

    /// Place of a frame on the axis along which the separation is smooth, in steps of the bracket on average; it never
    /// falls.
    #[must_use]
    pub(in crate::sweep) fn pace(&self, frame: usize) -> f64 {
        self.paced.as_ref().unwrap_or(&self.at)[frame]
    }

    /// Whether the focus ran unevenly through the frames, so that where they stand is known but roughly.
    #[must_use]
    pub(in crate::sweep) fn are_uneven(&self) -> bool {
        self.paced.is_some()
    }

    /// Place of a frame, steps.
    #[must_use]
    pub(in crate::sweep) fn at(&self, frame: usize) -> f64 {
        self.at[frame]
    }

    /// Steps from one frame to another.
    #[must_use]
    pub(in crate::sweep) fn apart(&self, one: usize, other: usize) -> f64 {
        (self.at[other] - self.at[one]).abs()
    }

    /// The same in whole steps, at least one.
    #[must_use]
    pub(in crate::sweep) fn steps(&self, one: usize, other: usize) -> usize {
        (self.apart(one, other).round() as usize).max(1)
    }

    /// Between which frames a place lies, counted in frames from the first.
    #[must_use]
    pub(in crate::sweep) fn frame_at(&self, place: f64) -> f64 {
        let before = self.at.partition_point(|&at| at <= place).saturating_sub(1);
        match (self.at.get(before), self.at.get(before + 1)) {
            (Some(&from), Some(&to)) => before as f64 + ((place - from) / (to - from)).max(0.0),
            _ => before as f64,
        }
    }

    /// How many frames the witness leaves out between a frame and the next.
    #[must_use]
    pub(in crate::sweep) fn missing_after(&self, frame: usize) -> u64 {
        let here = self.unseen.iter().filter(|(before, _)| *before == frame);
        let unseen: u64 = here.map(|(_, missing)| u64::from(*missing)).sum();
        (self.apart(frame, frame + 1).round() as u64).saturating_sub(1 + unseen)
    }
}

/// The numbers in the file names; cameras count on from 9999 to 1, those with more digits leave 0000 out there.
fn numbers(frames: &[&FrameInfo]) -> Vec<Option<f64>> {
    let counted = naming::counters(frames.iter().map(|frame| frame.file.as_str()));
    let known = || counted.iter().flatten().copied();
    let wraps = known().any(|n| (9000..=9999).contains(&n))
        && known().any(|n| n < 1000)
        && known().all(|n| n <= 9999);
    let on_a_round = known().any(|n| n > 9999 && n % 10_000 == 0);
    let place = |number: u64| {
        let turned = if wraps && number < 5000 { 9999 } else { 0 };
        let left_out = if on_a_round { 0 } else { number / 10_000 };
        (number + turned - left_out) as f64
    };
    counted.iter().map(|number| number.map(place)).collect()
}

/// Whether times are fine enough to tell one step of the bracket from two.
fn clock_tells(frames: &[&FrameInfo], times: &[Option<f64>]) -> bool {
    usual_interval(times)
        .is_some_and(|usual| usual > SHORTEST_S && UNEVEN * usual >= resolution_s(frames))
}

/// What the clock of the files is rounded to, s; 0 where it has fractions.
fn resolution_s(frames: &[&FrameInfo]) -> f64 {
    let whole = frames.iter().all(|frame| order::in_whole_seconds(frame));
    f64::from(u8::from(whole))
}

fn usual_interval(times: &[Option<f64>]) -> Option<f64> {
    median(
        times
            .windows(2)
            .filter_map(|pair| Some((pair[1]? - pair[0]?).abs()))
            .collect(),
    )
}

/// Takes out gaps of the numbers that the clock contradicts: the next frame came as soon as always.
fn closed_by_clock(mut at: Vec<f64>, frames: &[&FrameInfo], times: &[Option<f64>]) -> Vec<f64> {
    let Some(usual) = usual_interval(times).filter(|usual| *usual > SHORTEST_S) else {
        return at;
    };
    let slack = resolution_s(frames);
    for k in 1..at.len() {
        let step = at[k] - at[k - 1];
        let soon = times[k]
            .zip(times[k - 1])
            .is_some_and(|(b, a)| (b - a).abs() + slack <= PAUSE * usual);
        if step > 1.5 && soon {
            for place in &mut at[k..] {
                *place -= step - 1.0;
            }
        }
    }
    at
}

/// Places by values that change by one and the same step from frame to frame, or by whole multiples of it where frames
/// are missing; `None` where they don't. Readable frames decide. Others take the place that their value gives them, or
/// stand evenly between.
fn counted(values: &[Option<f64>], sound: &[bool], share: f64, uneven: f64) -> Option<Vec<f64>> {
    let falling: Vec<Option<f64>> = values.iter().map(|value| value.map(|v| -v)).collect();
    counted_up(values, sound, share, uneven).or_else(|| counted_up(&falling, sound, share, uneven))
}

fn counted_up(values: &[Option<f64>], sound: &[bool], share: f64, uneven: f64) -> Option<Vec<f64>> {
    let readable = sound.iter().filter(|sound| **sound).count();
    let known: Vec<(usize, f64)> = values
        .iter()
        .enumerate()
        .filter(|(i, _)| sound[*i])
        .filter_map(|(i, value)| value.map(|value| (i, value)))
        .collect();
    let chain = longest_rise(&known);
    if chain.len() < FEWEST || (chain.len() as f64) < share * readable as f64 {
        return None;
    }
    let steps: Vec<f64> = chain.windows(2).map(|pair| pair[1].1 - pair[0].1).collect();
    let usual = median(steps.clone())?;
    let single = |step: &&f64| (**step / usual - 1.0).abs() <= uneven;
    if 2 * steps.iter().filter(single).count() < steps.len() {
        return None;
    }
    let mut at: Vec<Option<f64>> = vec![None; values.len()];
    let mut place = 0.0;
    at[chain[0].0] = Some(place);
    for (pair, step) in chain.windows(2).zip(&steps) {
        let whole = (step / usual).round();
        let between = (pair[1].0 - pair[0].0 - 1) as f64;
        let in_steps = (step / usual - whole).abs() <= uneven;
        if whole < 1.0 || !in_steps || whole - 1.0 - between > MOST_IN_A_ROW {
            return None;
        }
        place += whole;
        at[pair[1].0] = Some(place);
    }
    // More missing than there: no sweep.
    if place > 2.0 * values.len() as f64 {
        return None;
    }
    let start = chain[0].1;
    let own = |i: usize| Some((values[i]? - start) / usual);
    Some(filled(at, &own))
}

/// The longest run of frames, in order, whose values rise: frame and value.
fn longest_rise(known: &[(usize, f64)]) -> Vec<(usize, f64)> {
    let mut best: Vec<(usize, Option<usize>)> = Vec::with_capacity(known.len());
    for (k, here) in known.iter().enumerate() {
        let before = (0..k)
            .filter(|&j| known[j].1 < here.1)
            .max_by_key(|&j| (best[j].0, j));
        best.push((before.map_or(1, |j| best[j].0 + 1), before));
    }
    let mut at = (0..known.len()).max_by_key(|&k| best[k].0);
    let mut chain = Vec::new();
    while let Some(k) = at {
        chain.push(known[k]);
        at = best[k].1;
    }
    chain.reverse();
    chain
}

/// Gives every frame a place: its own where that is a whole step between its neighbours', else evenly between them.
fn filled(mut at: Vec<Option<f64>>, own: &dyn Fn(usize) -> Option<f64>) -> Vec<f64> {
    for i in 0..at.len() {
        if at[i].is_some() {
            continue;
        }
        let before = at[..i].iter().rev().flatten().next().copied();
        let after = at[i..].iter().flatten().next().copied();
        let fits = |place: &f64| {
            let (low, high) = (
                before.or(after.map(|a| a - MOST_IN_A_ROW)),
                after.or(before.map(|b| b + MOST_IN_A_ROW)),
            );
            low.is_some_and(|low| *place > low + 0.5)
                && high.is_some_and(|high| *place < high - 0.5)
                && (place - place.round()).abs() < UNEVEN
        };
        at[i] = own(i).map(f64::round).filter(fits);
    }
    let mut places: Vec<f64> = Vec::with_capacity(at.len());
    for i in 0..at.len() {
        let place = at[i].unwrap_or_else(|| {
            let ahead = at[i..].iter().position(Option::is_some);
            let next = ahead.and_then(|ahead| at[i + ahead]);
            match (places.last().copied(), ahead, next) {
                (Some(before), Some(ahead), Some(next)) => {
                    before + (next - before) / (ahead + 1) as f64
                }
                (None, Some(ahead), Some(next)) => next - ahead as f64,
                (before, ..) => before.map_or(0.0, |before| before + 1.0),
            }
        });
        places.push(place);
    }
    let first = places.first().copied().unwrap_or(0.0);
    places.iter().map(|place| place - first).collect()
}

/// The middle one of some numbers; `None` for none.
pub(in crate::sweep) fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}
