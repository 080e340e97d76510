//! Frames that run through the focus more than once: two brackets shot without a pause, or one to infinity and back. Files
//! don't tell them from one sweep, but a sweep gets sharp once, and never comes back to where it began.

use super::restore::{Look, normalised, turns};
use crate::sweep::FrameInfo;

/// From one frame to the next, separation and blur, each from 0 to 1 over all frames, change by so much where a run begins anew …
const JUMP: f64 = 0.4;
/// … and within runs by at most this share of that: with six frames a run it is 0.6.
const SMOOTHER: f64 = 0.7;
/// A run that begins anew is blurred as the first one was, to this share of the widest blur: a step of the bracket.
const AS_FIRST: f64 = 0.15;
/// A run goes at least so far off the blur that it began with, as a share of the widest: slipped frames don't.
const WENT: f64 = 0.4;
/// Fewer frames are no run.
const SHORTEST: usize = 5;
/// Steps of the blur below this share of the widest may be noise, where all of it is slight.
const STEP_SHARE: f64 = 0.15;
/// Targets are sharp from this share of the widest blur on, and blurred again from the other.
const SHARP: (f64, f64) = (0.25, 0.5);
/// The same where the last frame is scaled and blurred as the first one is: to infinity and back, past targets that hang at up to
/// four times closest focus.
const SHARP_AND_BACK: (f64, f64) = (0.2, 0.3);

/// More runs than one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::sweep) enum Runs<Frame = usize> {
    /// A run begins anew at each of these frames.
    Anew(Vec<Frame>),
    /// No jump, but the targets get sharp at each of these frames, and blurred between.
    ToAndFro(Vec<Frame>),
}

impl Runs {
    /// The frames, in the order that their files give, parted where a run begins anew; all together where nothing shows that.
    pub(in crate::sweep) fn parted(runs: Option<&Self>, by_files: &[usize]) -> Vec<Vec<usize>> {
        let begins =
            |frame: &usize| matches!(runs, Some(Self::Anew(begin)) if begin.contains(frame));
        let together = by_files.chunk_by(|_, next| !begins(next));
        together.map(<[usize]>::to_vec).collect()
    }

    /// The same with the frames' files instead of their indices.
    pub(in crate::sweep) fn named(&self, frames: &[FrameInfo]) -> Runs<String> {
        let names = |at: &[usize]| at.iter().map(|&i| frames[i].file.clone()).collect();
        match self {
            Self::Anew(begin) => Runs::Anew(names(begin)),
            Self::ToAndFro(sharp) => Runs::ToAndFro(names(sharp)),
        }
    }
}

/// More than one run through the focus, by what is seen of the frames in the order that they were shot in: numbers of frames
/// with their looks. `None` for one run, and where the frames come in no order.
pub(in crate::sweep) fn find(seen: &[(usize, Look)]) -> Option<Runs> {
    if seen.len() < 2 * SHORTEST {
        return None;
    }
    let looks: Vec<Look> = seen.iter().map(|(_, look)| *look).collect();
    let (places, _) = normalised(&looks);
    let radius: Vec<f64> = places.iter().map(|place| place.1).collect();
    let steps: Vec<f64> = places
        .windows(2)
        .map(|pair| (pair[0].0 - pair[1].0).hypot(pair[0].1 - pair[1].1))
        .collect();
    let largest = steps.iter().copied().fold(0.0, f64::max);
    let begins = |k: &usize| {
        steps[k - 1] >= JUMP.max(SMOOTHER * largest) && (radius[*k] - radius[0]).abs() <= AS_FIRST
    };
    let begin: Vec<usize> = (1..places.len()).filter(begins).collect();
    let frames = |places: &[usize]| places.iter().map(|&k| seen[k].0).collect();
    if !begin.is_empty() {
        return are_runs(&radius, &steps, &begin).then(|| Runs::Anew(frames(&begin)));
    }
    let came_back = {
        let (first, last) = (places[0], places[places.len() - 1]);
        (last.0 - first.0).abs() <= AS_FIRST && (last.1 - first.1).abs() <= AS_FIRST
    };
    let sharp = sharpest(&radius, if came_back { SHARP_AND_BACK } else { SHARP });
    let smooth = steps.iter().all(|step| *step < JUMP);
    let courses = turns(&radius, STEP_SHARE) < 2 * sharp.len();
    (sharp.len() > 1 && smooth && courses).then(|| Runs::ToAndFro(frames(&sharp)))
}

/// Whether the stretches that begin at 0 and at these places are runs: long enough, smooth, through the focus once.
fn are_runs(radius: &[f64], steps: &[f64], begin: &[usize]) -> bool {
    let least = begin.iter().map(|&k| steps[k - 1]).fold(f64::MAX, f64::min);
    let bounds: Vec<usize> = [&[0], begin, &[radius.len()]].concat();
    bounds.windows(2).all(|bound| {
        let (from, to) = (bound[0], bound[1]);
        let run = &radius[from..to];
        let inner = &steps[from..to - 1];
        run.len() >= SHORTEST
            && inner.iter().all(|step| *step < SMOOTHER * least)
            && run.iter().any(|r| (r - run[0]).abs() > WENT)
            && turns(run, STEP_SHARE) <= 1
    })
}

/// The sharpest of each stretch in which the targets are sharp: from one share of the widest blur on until the other is passed.
fn sharpest(radius: &[f64], (enough, again): (f64, f64)) -> Vec<usize> {
    let mut found: Vec<usize> = Vec::new();
    let mut is_within = false;
    for (k, r) in radius.iter().enumerate() {
        if !is_within && *r < enough {
            is_within = true;
            found.push(k);
        }
        is_within &= *r <= again;
        if let Some(last) = found.last_mut()
            && is_within
            && *r < radius[*last]
        {
            *last = k;
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A bracket of so many frames: separation 1000 px at infinity and 2 % more at closest focus, blur 120 px there, at
    /// infinity a share of that.
    fn run(count: usize, far: f64) -> Vec<Look> {
        let of = |k: usize| {
            let near = 1.0 - k as f64 / (count - 1) as f64;
            let blur = 120.0 * (near * (1.0 + far) - far);
            Look {
                separation: 1000.0 + 20.0 * near,
                variance: 100.0 + blur * blur / 16.0,
            }
        };
        (0..count).map(of).collect()
    }

    fn found(looks: Vec<Look>) -> Option<Runs> {
        let seen: Vec<(usize, Look)> = looks.into_iter().enumerate().collect();
        find(&seen)
    }

    #[test]
    fn each_run_is_found_and_one_is_one() {
        for far in [0.05, 0.67, 1.0, 1.4] {
            for count in [5, 6, 12, 24] {
                let one = run(count, far);
                let name = format!("{count} frames, {far}");
                assert_eq!(found(one.clone()), None, "{name}");
                let twice = Runs::Anew(vec![count]);
                assert_eq!(
                    found([one.clone(), one.clone()].concat()),
                    Some(twice),
                    "{name}"
                );
                let thrice = Runs::Anew(vec![count, 2 * count]);
                let runs = [one.clone(), one.clone(), one.clone()].concat();
                assert_eq!(found(runs), Some(thrice), "{name}");
                // The zoom ring was touched between them.
                let mut touched = one.clone();
                for look in &mut touched {
                    look.separation *= 1.01;
                }
                let twice = Runs::Anew(vec![count]);
                assert_eq!(found([one, touched].concat()), Some(twice), "{name}");
            }
        }
        // To infinity and back, all of it blurred enough to be seen.
        for far in [0.4, 0.5, 0.67, 1.0] {
            let mut back = run(24, far);
            back.extend(run(24, far).into_iter().rev());
            let runs = found(back);
            assert!(
                matches!(&runs, Some(Runs::ToAndFro(sharp)) if sharp.len() == 2),
                "{far}: {runs:?}"
            );
        }
    }

    #[test]
    fn what_is_odd_in_one_run_is_no_second_one() {
        for far in [0.05, 0.67, 1.0, 1.4] {
            let good = run(24, far);
            for at in 1..24 {
                let mut slipped = good.clone();
                for look in &mut slipped[at..] {
                    look.separation *= 1.02;
                }
                assert_eq!(found(slipped), None, "slip at {at}, {far}");
                let mut copy = good.clone();
                copy.insert(at, good[0]);
                assert_eq!(found(copy), None, "a copy at {at}, {far}");
                let mut wrong = good.clone();
                wrong[at].variance = 3000.0;
                assert_eq!(found(wrong), None, "a wrong target at {at}, {far}");
            }
            let shuffled = (0..24).map(|k| good[(k * 7 + 3) % 24]).collect();
            assert_eq!(found(shuffled), None, "shuffled, {far}");
        }
    }
}
