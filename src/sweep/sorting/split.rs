//! Sorting a card into sweeps.

mod lenses;
mod names;

use super::order::{self, LEFT_OUT, by_name};
use super::{carries_on, naming};
use crate::sweep::sequence::places::median;
use crate::sweep::tracking::look::Load;
use crate::sweep::{FrameInfo, SweepGroup};

/// Marked focal lengths this close are the same setting, as a fraction: a zoom ring that rests on its mark is reported
/// to about 1 %, marks of a zoom are at least 10 % apart (common practice, no source).
const SAME_FOCAL: f64 = 0.04;
/// A setting never spreads farther than this fraction, however small its steps.
const WIDEST_SETTING: f64 = 0.08;
/// A pause this many times the usual interval between frames begins a new sweep …
const PAUSE_FACTOR: f64 = 8.0;
/// … when it is also at least this long, s: a bracket's own frames can be a second or two apart.
const PAUSE_AT_LEAST_S: f64 = 15.0;
/// A jump of the file number by more than this begins a new sweep, where there are no times.
const NUMBER_GAP: i64 = 20;
/// A focus that comes back nearer by this share of the nearest setting begins a new sweep.
const REFOCUS_SHARE: f64 = 0.3;
/// Clocks are moved by whole hours: a pause this near to a whole number of them, s, between frames whose numbers count on
/// is a moved clock; a little more for every frame that is missing there.
const HOUR_SLACK_S: f64 = 5.0;
/// Frames that a sweep has at the least, on average, where focus alone parts frames without times.
const SHORTEST_SWEEP: usize = 5;
/// Apertures that differ by less than this factor, half a stop and more, may be one: macro lenses close theirs as they are
/// focused nearer, by steps of a third.
const OTHER_APERTURE: f64 = 1.3;
/// So few frames without times that seem to be a sweep of their own by focus alone are copies, or named out of order.
const STRAY: usize = 2;

/// Pauses within settings that pictures are looked at for, over one card: an evening has less than half of them, and looking
/// takes a few pictures each.
const MOST_LOOKS: usize = 48;

/// Sorts the frames of a folder, card or archive into sweeps by folder, lens, focal length and gaps in time and file number.
#[must_use]
pub fn split(frames: &[FrameInfo], source_name: &str) -> Vec<SweepGroup> {
    sorted_out(frames, source_name, &mut |_, _| false)
}

/// The same, where pictures tell what files leave open: frames behind a pause that carry on where those before it ended are of
/// one sweep. `load` gives the picture of a frame by its index; only a few beside such pauses are asked for.
#[must_use]
pub fn split_looking(frames: &[FrameInfo], source_name: &str, load: Load<'_>) -> Vec<SweepGroup> {
    let mut looks = 0;
    sorted_out(frames, source_name, &mut |before, after| {
        looks += 1;
        looks <= MOST_LOOKS && carries_on::carries_on(before, after, load)
    })
}

/// Tells whether the frames behind a pause carry on where those before it ended.
type CarriesOn<'a> = &'a mut dyn FnMut(&[usize], &[usize]) -> bool;

fn sorted_out(
    frames: &[FrameInfo],
    source_name: &str,
    carries_on: CarriesOn<'_>,
) -> Vec<SweepGroup> {
    let mut sorted: Vec<usize> = (0..frames.len()).collect();
    sorted.sort_by(|&a, &b| by_name(&frames[a], &frames[b]));
    let mut sweeps: Vec<Vec<usize>> = Vec::new();
    for shoot in by_shoot(frames, &sorted) {
        for setting in by_focal_length(frames, shoot) {
            for sweep in by_pauses(frames, setting, carries_on) {
                sweeps.extend(by_aperture(frames, sweep));
            }
        }
    }
    names::name_all(frames, source_name, sweeps)
}

/// Folder that a frame counts to. Cameras fill `DCIM/100ABCDE`, then `DCIM/101ABCDE`: those are one.
fn place(frame: &FrameInfo) -> &str {
    let (parent, last) = frame.folder.rsplit_once('/').unwrap_or(("", &frame.folder));
    let of_a_card = last.len() == 8
        && last.bytes().take(3).all(|b| b.is_ascii_digit())
        && !last.starts_with('0')
        && last.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'_')
        // Nobody's folder `135mmF28`.
        && !last[3..].to_ascii_lowercase().starts_with("mm");
    if of_a_card { parent } else { &frame.folder }
}

/// Parts frames by folder, camera and lens. Files that state nothing at all go with the only shoot of their folder.
fn by_shoot(frames: &[FrameInfo], sorted: &[usize]) -> Vec<Vec<usize>> {
    let same = |a: &FrameInfo, b: &FrameInfo| {
        place(a) == place(b) && a.camera == b.camera && a.lens == b.lens
    };
    let mute = |f: &FrameInfo| f.camera.is_none() && f.lens.is_none() && f.focal_length.is_none();
    let mut shoots: Vec<Vec<usize>> = Vec::new();
    for &index in sorted {
        match shoots
            .iter_mut()
            .find(|shoot| same(&frames[shoot[0]], &frames[index]))
        {
            Some(shoot) => shoot.push(index),
            None => shoots.push(vec![index]),
        }
    }
    let (silent, mut speaking): (Vec<_>, Vec<_>) = shoots
        .into_iter()
        .partition(|shoot| mute(&frames[shoot[0]]));
    for shoot in silent {
        let folder = place(&frames[shoot[0]]);
        let mut beside = speaking
            .iter_mut()
            .filter(|other| place(&frames[other[0]]) == folder);
        match (beside.next(), beside.next()) {
            (Some(only), None) => only.extend(shoot),
            _ => speaking.push(shoot),
        }
    }
    lenses::odd_ones_taken_in(frames, speaking)
}

/// Parts a shoot by focal length: sorted, a new setting begins where the step or the spread is too wide. Frames that
/// state none go with the only setting there is, or stay together.
fn by_focal_length(frames: &[FrameInfo], shoot: Vec<usize>) -> Vec<Vec<usize>> {
    let mut known: Vec<(f64, usize)> = Vec::new();
    let mut unknown: Vec<usize> = Vec::new();
    for index in shoot {
        match frames[index].focal_length {
            Some(focal) => known.push((focal.mm(), index)),
            None => unknown.push(index),
        }
    }
    known.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut settings: Vec<Vec<(f64, usize)>> = Vec::new();
    for (focal, index) in known {
        match settings.last_mut() {
            Some(setting)
                if focal <= setting[setting.len() - 1].0 * (1.0 + SAME_FOCAL)
                    && focal <= setting[0].0 * (1.0 + WIDEST_SETTING) =>
            {
                setting.push((focal, index));
            }
            _ => settings.push(vec![(focal, index)]),
        }
    }
    let mut settings: Vec<Vec<usize>> = settings
        .into_iter()
        .map(|setting| setting.into_iter().map(|(_, index)| index).collect())
        .collect();
    match settings.as_mut_slice() {
        _ if unknown.is_empty() => {}
        [only] => only.extend(unknown),
        _ => settings.push(unknown),
    }
    settings
}

/// Parts the frames of one setting where a new sweep begins.
fn by_pauses(
    frames: &[FrameInfo],
    mut setting: Vec<usize>,
    carries_on: CarriesOn<'_>,
) -> Vec<Vec<usize>> {
    order::sort(frames, &mut setting);
    let intervals = setting
        .windows(2)
        .filter_map(|pair| interval_s(&frames[pair[0]], &frames[pair[1]]))
        .map(f64::abs);
    let usual = Usual {
        interval_s: median(intervals.collect()).unwrap_or(0.0),
        nearest: setting
            .iter()
            .filter_map(|&index| frames[index].focus_distance)
            .map(|d| d.dioptres())
            .fold(0.0, f64::max),
    };
    let is_timed = setting
        .iter()
        .any(|&index| order::moment(&frames[index]).is_some());
    let mut sweeps: Vec<Vec<usize>> = Vec::new();
    for (at, &index) in setting.iter().enumerate() {
        let goes_on = sweeps.last().is_some_and(|sweep| {
            let before = &frames[sweep[sweep.len() - 1]];
            let restarts =
                || sweep.len() >= SHORTEST_SWEEP && restarts(frames, before, &setting[at..]);
            let begins_anew = usual.begins_anew(before, &frames[index]) || restarts();
            !begins_anew
        });
        match sweeps.last_mut() {
            Some(sweep) if goes_on => sweep.push(index),
            _ => sweeps.push(vec![index]),
        }
    }
    sweeps = joined(sweeps, |before, after| {
        let at_pause = frames_beside(frames, before, after);
        at_pause.is_some_and(|(a, b)| Usual::is_only_a_pause(a, b)) && carries_on(before, after)
    });
    if !is_timed && sweeps.len() > 1 && sweeps.iter().any(|sweep| sweep.len() > STRAY) {
        sweeps = strays_taken_in(sweeps);
    }
    // Without times the order is that of the names. Focus that runs to and fro in it, in pieces too short to be sweeps,
    // is one sweep whose names were shuffled; its distances tell the order later.
    if !is_timed && sweeps.len() > 1 && setting.len() < SHORTEST_SWEEP * sweeps.len() {
        return vec![setting];
    }
    sweeps
}

/// Parts a sweep where the aperture was changed and kept: what is measured at another one is not a repeat.
fn by_aperture(frames: &[FrameInfo], sweep: Vec<usize>) -> Vec<Vec<usize>> {
    let f_number = |index: usize| frames[index].f_number.map(|f| f.n());
    let parts: Vec<Vec<usize>> = sweep
        .chunk_by(|&a, &b| !is_other_aperture(f_number(a), f_number(b)))
        .map(<[usize]>::to_vec)
        .collect();
    if parts.iter().all(|part| part.len() >= SHORTEST_SWEEP) {
        parts
    } else {
        vec![sweep]
    }
}

/// Whether two f-numbers are clearly not one setting.
pub(in crate::sweep) fn is_other_aperture(a: Option<f64>, b: Option<f64>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => a.max(b) >= OTHER_APERTURE * a.min(b),
        _ => false,
    }
}

/// What is usual between two frames of a setting.
#[derive(Debug, Clone, Copy)]
struct Usual {
    /// Time, s.
    interval_s: f64,
    /// Nearest focus setting, dioptres.
    nearest: f64,
}

impl Usual {
    /// Whether a new sweep begins between two frames that follow one another.
    fn begins_anew(self, before: &FrameInfo, after: &FrameInfo) -> bool {
        let step = step(before, after);
        let counts_on = step.is_some_and(|step| (1..=1 + LEFT_OUT).contains(&step));
        let jumps = step.is_some_and(|step| step.abs() > NUMBER_GAP);
        let interval = interval_s(before, after);
        let long = interval
            .is_some_and(|s| s.abs() > PAUSE_AT_LEAST_S.max(PAUSE_FACTOR * self.interval_s));
        let missing_s = step.map_or(0.0, |step| (step - 1) as f64 * self.interval_s);
        // Time does not run backwards, and pauses are not whole hours: somebody set the clock.
        let clock_set = counts_on
            && interval.is_some_and(|s| {
                let hours = (s / 3600.0).round();
                let off = s - 3600.0 * hours;
                s < 0.0 || (hours >= 1.0 && off.abs() < HOUR_SLACK_S + missing_s)
            });
        let nearer = before
            .focus_distance
            .zip(after.focus_distance)
            .map(|(a, b)| b.dioptres() - a.dioptres() > REFOCUS_SHARE * self.nearest);
        match nearer {
            // The focus says it: back to near is a new sweep; going on outwards is none, unless the numbers jump as well.
            Some(true) => true,
            Some(false) => long && !clock_set && jumps,
            None if interval.is_some() => long && !clock_set,
            None => jumps,
        }
    }

    /// Whether nothing but a pause parts two frames: their numbers count on, where they have some, and no distances tell.
    fn is_only_a_pause(before: &FrameInfo, after: &FrameInfo) -> bool {
        let counts_on = |step: i64| (1..=1 + LEFT_OUT).contains(&step);
        before.focus_distance.is_none()
            && after.focus_distance.is_none()
            && interval_s(before, after).is_some_and(|s| s > 0.0)
            && step(before, after).is_none_or(counts_on)
    }
}

/// The last frame of some and the first of those that follow.
fn frames_beside<'a>(
    frames: &'a [FrameInfo],
    before: &[usize],
    after: &[usize],
) -> Option<(&'a FrameInfo, &'a FrameInfo)> {
    Some((&frames[*before.last()?], &frames[*after.first()?]))
}

/// Puts stretches of frames together that carry on where the one before ended.
fn joined(
    sweeps: Vec<Vec<usize>>,
    mut carries_on: impl FnMut(&[usize], &[usize]) -> bool,
) -> Vec<Vec<usize>> {
    let mut kept: Vec<Vec<usize>> = Vec::new();
    for sweep in sweeps {
        match kept.last_mut() {
            Some(last) if carries_on(last, &sweep) => last.extend(sweep),
            _ => kept.push(sweep),
        }
    }
    kept
}

/// Seconds between two frames, where both have a time.
fn interval_s(a: &FrameInfo, b: &FrameInfo) -> Option<f64> {
    Some(order::moment(b)? - order::moment(a)?)
}

/// From one file number to the next, where both have one.
fn step(a: &FrameInfo, b: &FrameInfo) -> Option<i64> {
    match naming::counters([a.file.as_str(), b.file.as_str()]).as_slice() {
        &[Some(a), Some(b)] => Some(naming::steps(a, b)),
        _ => None,
    }
}

/// Whether a counter begins again after a frame and goes on from there, where names are all that is known: `a_24`, `b_01`.
fn restarts(frames: &[FrameInfo], before: &FrameInfo, rest: &[usize]) -> bool {
    let mute = |frame: &FrameInfo| frame.focus_distance.is_none() && order::moment(frame).is_none();
    let back = step(before, &frames[rest[0]]).is_some_and(|step| step < 0);
    let ahead = rest.windows(2).take(SHORTEST_SWEEP - 1);
    let goes_on = |pair: &[usize]| step(&frames[pair[0]], &frames[pair[1]]).is_some_and(|s| s > 0);
    back && rest.len() >= SHORTEST_SWEEP
        && mute(before)
        && mute(&frames[rest[0]])
        && ahead.into_iter().all(goes_on)
}

/// Puts pieces that are too short to be sweeps to the one before, or to the one after where they come first.
fn strays_taken_in(sweeps: Vec<Vec<usize>>) -> Vec<Vec<usize>> {
    let mut kept: Vec<Vec<usize>> = Vec::new();
    for sweep in sweeps {
        match kept.last_mut() {
            Some(last) if sweep.len() <= STRAY || last.len() <= STRAY => last.extend(sweep),
            _ => kept.push(sweep),
        }
    }
    kept
}

#[cfg(test)]
mod namings;
#[cfg(test)]
mod tests;
