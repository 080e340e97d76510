//! Missing files: a sweep that lost some says what the whole one says, wherever the gap is. Fed with targets instead of
//! pictures, so that every gap can be tried.

use rand::{RngExt, SeedableRng};

use super::*;
use crate::measure::{Target, Unmeasurable};
use crate::sweep::sorting::naming;
use crate::sweep::tracking::look::Sight;
use crate::sweep::{CaptureTime, Code};
use crate::units::{FocusDistance, Measured};
use time::macros::datetime;

/// Most that the worst shift may be off, percentage points: half of the last digit that is printed. One centre's noise of
/// 0.004 px is 0.0003 points, one step of the flattest curve here 0.04.
const OFF_PCT: f64 = 0.005;

/// A bracket with known truth.
#[derive(Clone)]
struct Bracket {
    frames: usize,
    closest_m: f64,
    /// Shift, per cent, at a share of the way from infinity (0) to closest focus (1).
    shift_pct: fn(f64) -> f64,
    /// Frame after which the picture is larger by this share.
    slip: Option<(usize, f64)>,
    /// A frame in which something else was taken for the targets.
    clutter: Option<usize>,
}

/// Evenly growing, as most lenses: `worst` at closest focus.
fn growing(worst: f64, t: f64) -> f64 {
    worst * (2.0 * t / 3.0 + t * t / 3.0)
}

fn brackets() -> Vec<(&'static str, Bracket)> {
    let bracket = |frames, closest_m, shift_pct| Bracket {
        frames,
        closest_m,
        shift_pct,
        slip: None,
        clutter: None,
    };
    vec![
        ("50 mm", bracket(24, 0.5, |t| growing(2.6, t))),
        ("85 mm", bracket(24, 0.85, |t| growing(2.05, t))),
        ("85 mm, long", bracket(48, 0.85, |t| growing(2.05, t))),
        ("35 mm", bracket(36, 0.35, |t| growing(-3.0, t))),
        // Wider by 2.6 % on the way, tighter by 1 % at the end.
        ("turning", bracket(24, 0.85, |t| t - 12.4 * t * (1.0 - t))),
    ]
}

impl Bracket {
    fn t(&self, frame: usize) -> f64 {
        1.0 - frame as f64 / (self.frames - 1) as f64
    }

    fn truth_pct(&self, frame: usize) -> f64 {
        (self.shift_pct)(self.t(frame))
    }

    /// Worst shift of some frames against the last of them, per cent.
    fn worst_pct(&self, kept: &[usize]) -> f64 {
        let last = kept.last().map_or(0.0, |&frame| self.truth_pct(frame));
        kept.iter()
            .map(|&frame| 100.0 * ((100.0 + self.truth_pct(frame)) / (100.0 + last) - 1.0))
            .max_by(|a, b| a.abs().total_cmp(&b.abs()))
            .unwrap_or(0.0)
    }

    fn info(&self, frame: usize) -> FrameInfo {
        let shot = time::Duration::seconds_f64(0.8 * frame as f64);
        let dioptres = self.t(frame) / self.closest_m;
        FrameInfo {
            file: format!("SWP_{:04}.JPG", frame + 1),
            captured_at: Some(CaptureTime {
                local: datetime!(2026-04-03 10:00:00) + shot,
                offset: None,
            }),
            focus_distance: Some(
                Metres::new(1.0 / dioptres).map_or(FocusDistance::Infinity, FocusDistance::At),
            ),
            ..FrameInfo::default()
        }
    }

    fn sight(&self, frame: usize) -> Sight {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(frame as u64);
        let mut noise = || {
            let (a, b): (f64, f64) = (random.random(), random.random());
            (-2.0 * (1.0 - a).ln()).sqrt() * (std::f64::consts::TAU * b).cos()
        };
        let mut scale = 1.0 + self.truth_pct(frame) / 100.0;
        if let Some((_, share)) = self.slip.filter(|(from, _)| frame >= *from) {
            scale *= 1.0 + share;
        }
        if self.clutter == Some(frame) {
            scale *= 1.008;
        }
        let blur = 40.0 * (self.t(frame) / self.closest_m - 0.5);
        let variance = scale * scale * (240.0 + blur * blur / 16.0);
        let candidates = [-700.0, 700.0]
            .map(|x| {
                let off = 0.004 * noise();
                Target {
                    variance_px2: Measured::new(variance * (1.0 + 2e-4 * noise()), 2e-4 * variance),
                    ..Target::plain(960.0 + scale * x + off, 640.0, variance)
                }
            })
            .to_vec();
        Sight {
            size: (1920, 1280),
            candidates,
        }
    }

    /// Measures the frames that are kept; `change` may say something else of a file than the camera did, `broken` ones
    /// can't be read.
    fn measure(
        &self,
        kept: &[usize],
        change: &dyn Fn(usize, &mut FrameInfo),
        broken: &[usize],
    ) -> SweepMeasurement {
        let infos: Vec<FrameInfo> = kept
            .iter()
            .enumerate()
            .map(|(place, &frame)| {
                let mut info = self.info(frame);
                change(place, &mut info);
                info
            })
            .collect();
        let unread = || Unmeasurable::Undecodable("it ends in the middle".to_owned());
        let look = |indices: &[usize]| {
            let see = |&place: &usize| match broken.contains(&place) {
                true => Err(unread()),
                false => Ok(self.sight(kept[place])),
            };
            indices.iter().map(see).collect()
        };
        let settings = SweepSettings::default();
        let load = |_| Err(unread());
        measure_seen("sweep", &infos, &look, &load, &settings, Lie::SideBySide).0
    }

    /// Holds a measurement against the truth: value, no false alarm, no good frame thrown out.
    fn check(&self, name: &str, kept: &[usize], broken: usize, measured: &SweepMeasurement) {
        let found: Vec<Code> = measured.findings.iter().map(|f| f.code).collect();
        for alarm in [
            Code::CameraMoved,
            Code::FocalLengthChanged,
            Code::ReferenceNotAtInfinity,
            Code::OrderUncertain,
        ] {
            // Without its last frame a sweep does end short of infinity.
            let is_true =
                alarm == Code::ReferenceNotAtInfinity && !kept.contains(&(self.frames - 1));
            let raised = found.contains(&alarm);
            assert!(!raised || is_true, "{name}: {:?}", measured.findings);
        }
        assert_eq!(
            measured.measured_count(),
            measured.frames.len() - broken,
            "{name}"
        );
        let worst = measured.summary.as_ref().expect("a result").worst_shift_pct;
        let truth = self.worst_pct(kept);
        assert!(
            (worst.value - truth).abs() < OFF_PCT,
            "{name}: {worst:?}, true {truth}"
        );
        assert!(worst.std_error < OFF_PCT, "{name}: {worst:?}");
    }
}

/// The number in a name of the brackets.
fn number_of(file: &str) -> u64 {
    naming::counters([file])[0].unwrap_or_default()
}

/// All frames but `count` from `from` on.
fn without(frames: usize, from: usize, count: usize) -> Vec<usize> {
    (0..frames)
        .filter(|&frame| !(from..from + count).contains(&frame))
        .collect()
}

#[test]
fn any_missing_file_leaves_the_result_alone() {
    for (name, bracket) in brackets() {
        for count in [0, 1, 2] {
            // Nothing is missing in one way only; two are, from every second frame on.
            let last = if count == 0 {
                0
            } else {
                bracket.frames - count
            };
            for from in (0..=last).step_by(count.max(1)) {
                let kept = without(bracket.frames, from, count);
                let measured = bracket.measure(&kept, &|_, _| {}, &[]);
                let name = format!("{name}, {count} missing from {from}");
                bracket.check(&name, &kept, 0, &measured);
                let inside = count > 0 && from > 0 && from + count < bracket.frames;
                let said = measured
                    .findings
                    .iter()
                    .any(|f| f.code == Code::FrameMissing);
                assert_eq!(said, inside, "{name}");
            }
        }
    }
}

/// Whatever the files say or leave unsaid: the gap is seen.
#[test]
fn gaps_are_seen_however_the_files_are_named() {
    let (_, bracket) = brackets().remove(0);
    type Change = fn(usize, &mut FrameInfo);
    let changes: [(&str, Change); 11] = [
        ("numbers alone", |_, info| {
            (info.captured_at, info.focus_distance) = (None, None);
        }),
        ("renumbered, times tell", |place, info| {
            info.file = format!("x{:03}.jpg", place + 1);
            info.focus_distance = None;
        }),
        ("renumbered, distances tell", |place, info| {
            info.file = format!("x{:03}.jpg", place + 1);
            info.captured_at = None;
        }),
        ("names without numbers, times tell", |place, info| {
            info.file = format!("{}.jpg", char::from(b'a' + place as u8));
            info.focus_distance = None;
        }),
        ("shuffled numbers, times tell", |place, info| {
            info.file = format!("x{:03}.jpg", (place * 7 + 3) % 29);
        }),
        ("every third number", |_, info| {
            let number = number_of(&info.file);
            info.file = format!("B{:04}.jpg", 3 * number + 5);
        }),
        ("over 9999", |_, info| {
            let number = number_of(&info.file);
            info.file = format!("B{:04}.jpg", (number + 9980) % 9999 + 1);
        }),
        ("over a round number that cameras leave out", |_, info| {
            let number = number_of(&info.file) + 9990;
            info.file = format!("P{}.JPG", 1_010_000 + number + number / 10_000);
            (info.captured_at, info.focus_distance) = (None, None);
        }),
        ("renumbered, the pictures tell", |place, info| {
            info.file = format!("x{:03}.jpg", place + 1);
            (info.captured_at, info.focus_distance) = (None, None);
        }),
        ("the clock was set forward", |place, info| {
            if let Some(time) = info.captured_at.as_mut().filter(|_| place > 9) {
                time.local += time::Duration::hours(1);
            }
        }),
        ("the clock was set back", |place, info| {
            if let Some(time) = info.captured_at.as_mut().filter(|_| place > 9) {
                time.local -= time::Duration::hours(1);
            }
        }),
    ];
    for (name, change) in changes {
        for from in [1, 2, 9, 12, 21, 22] {
            let kept = without(bracket.frames, from, 1);
            let measured = bracket.measure(&kept, &change, &[]);
            bracket.check(&format!("{name}, {from} missing"), &kept, 0, &measured);
        }
    }
}

/// A frame was shot, thrown away and shot again: the numbers leave one out, the focus does not.
#[test]
fn a_number_left_out_is_no_gap_where_the_focus_goes_on_evenly() {
    for (name, bracket) in brackets() {
        let all: Vec<usize> = (0..bracket.frames).collect();
        for again in [1, 2, 12, bracket.frames - 2] {
            let skip = |place: usize, info: &mut FrameInfo| {
                let number = place + 1 + usize::from(place >= again);
                info.file = format!("SWP_{number:04}.JPG");
                (info.captured_at, info.focus_distance) = (None, None);
            };
            let measured = bracket.measure(&all, &skip, &[]);
            bracket.check(&format!("{name}, {again} again"), &all, 0, &measured);
        }
    }
}

/// Shot from far to near, one file missing: turned round, and still right.
#[test]
fn gaps_are_seen_from_far_to_near() {
    let (_, bracket) = brackets().remove(0);
    for from in [1, 2, 12, 22] {
        let kept = without(bracket.frames, from, 1);
        let turn = |_: usize, info: &mut FrameInfo| {
            let number = number_of(&info.file);
            info.file = format!("SWP_{:04}.JPG", 25 - number);
            info.captured_at = None;
        };
        let measured = bracket.measure(&kept, &turn, &[]);
        assert_eq!(measured.frames[0].info.file, "SWP_0024.JPG");
        assert_eq!(measured.measured_count(), 23);
        let worst = measured.summary.expect("a result").worst_shift_pct.value;
        assert!(
            (worst - bracket.worst_pct(&kept)).abs() < OFF_PCT,
            "{from}: {worst}"
        );
    }
}

/// A broken file holds its place; a broken copy under another number holds none.
#[test]
fn broken_files_and_copies_change_nothing() {
    let (_, bracket) = brackets().remove(0);
    let all: Vec<usize> = (0..bracket.frames).collect();
    for lost in [1, 9, 12, 21, 22] {
        let measured = bracket.measure(&all, &|_, _| {}, &[lost]);
        bracket.check(&format!("{lost} broken"), &all, 1, &measured);
    }
    for (file, with_time) in [
        ("SWP_0025.JPG", true),
        ("SWP_0010 (1).JPG", false),
        ("SWP_0199.JPG", false),
        ("Copy of SWP_0010.JPG", true),
    ] {
        let mut with_copy = all.clone();
        with_copy.push(9);
        let copy = |place: usize, info: &mut FrameInfo| {
            if place == 24 {
                file.clone_into(&mut info.file);
            }
            if !with_time {
                info.captured_at = None;
            }
        };
        let measured = bracket.measure(&with_copy, &copy, &[24]);
        bracket.check(file, &all, 1, &measured);
    }
}

/// A slipped zoom ring beside a gap is still found, and so is a frame in which something else was measured.
#[test]
fn what_is_wrong_beside_a_gap_is_still_found() {
    let (_, mut bracket) = brackets().remove(1);
    bracket.slip = Some((12, 0.004));
    for from in [8, 11, 12, 15] {
        let kept = without(bracket.frames, from, 1);
        let measured = bracket.measure(&kept, &|_, _| {}, &[]);
        let found = measured.findings.iter();
        let said = found
            .filter(|finding| finding.code == Code::FocalLengthChanged)
            .map(|finding| finding.message.clone())
            .next();
        assert!(
            said.is_some_and(|said| said.contains("+0.4")),
            "{from}: {:?}",
            measured.findings
        );
    }
    // As far as one or two missing frames would take it, where the blur is least.
    for share in [-0.0015, -0.002, -0.0025] {
        bracket.slip = Some((14, share));
        let measured = bracket.measure(&without(24, 0, 0), &|_, _| {}, &[]);
        let mut found = measured.findings.iter();
        assert!(found.any(|f| f.code == Code::FocalLengthChanged), "{share}");
    }
    bracket.slip = None;
    for (wrong, from) in [(5, 3), (5, 4), (5, 6), (12, 13), (20, 21)] {
        bracket.clutter = Some(wrong);
        let kept = without(bracket.frames, from, 1);
        let measured = bracket.measure(&kept, &|_, _| {}, &[]);
        let lost: Vec<usize> = (0..measured.frames.len())
            .filter(|&place| measured.frames[place].state != FrameState::Measured)
            .map(|place| kept[place])
            .collect();
        assert_eq!(lost, [wrong], "{from} missing");
        let worst = measured.summary.expect("a result").worst_shift_pct.value;
        assert!(
            (worst - bracket.worst_pct(&kept)).abs() < OFF_PCT,
            "{from}: {worst}"
        );
    }
}
