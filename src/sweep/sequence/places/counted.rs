//! Places counted from what files say: their numbers, capture times and stated distances, each with gaps of whole steps.

use super::median;
use crate::sweep::FrameInfo;
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

/// Places by the numbers in the file names, as far as the clock bears their gaps out, in steps from the first frame.
/// `sound[i]` says whether the i-th frame could be read and counts, here and below.
pub(super) fn by_numbers(frames: &[&FrameInfo], sound: &[bool]) -> Option<Vec<f64>> {
    let at = counted(&numbers(frames), sound, NUMBERED_SHARE, 1e-6)?;
    Some(closed_by_clock(at, frames, &times(frames)))
}

/// Places by the capture times, where these are fine enough.
pub(super) fn by_times(frames: &[&FrameInfo], sound: &[bool]) -> Option<Vec<f64>> {
    let times = times(frames);
    clock_tells(frames, &times)
        .then(|| counted(&times, sound, 1.0, UNEVEN))
        .flatten()
}

/// Places by the stated settings, dioptres.
pub(super) fn by_distances(dioptres: &[Option<f64>], sound: &[bool]) -> Option<Vec<f64>> {
    counted(dioptres, sound, 1.0, UNEVEN)
}

/// Capture times, s.
fn times(frames: &[&FrameInfo]) -> Vec<Option<f64>> {
    frames.iter().map(|frame| order::moment(frame)).collect()
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
