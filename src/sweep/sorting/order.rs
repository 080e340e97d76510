//! Putting the frames of a sweep in order, near to far, by what their files say.

use std::cmp::Ordering;

use super::naming;
use crate::sweep::{FrameInfo, FrameOrder};

/// The frames' indices in the order that the files give, near to far, before a picture is looked at.
///
/// `Automatic` and `Time` go by capture time with sub-seconds where every frame has one, then by natural name;
/// `Reverse` is the same, last first. `Automatic` and `Reverse` go by name where the clock was set back while shooting.
#[must_use]
pub(in crate::sweep) fn by_files(frames: &[FrameInfo], order: FrameOrder) -> Vec<usize> {
    let mut indices: Vec<usize> = (0..frames.len()).collect();
    match order {
        FrameOrder::Name => sort_by_name(frames, &mut indices),
        FrameOrder::Time => sort_by_time(frames, &mut indices),
        FrameOrder::Automatic | FrameOrder::Reverse => sort(frames, &mut indices),
    }
    if order == FrameOrder::Reverse {
        indices.reverse();
    }
    indices
}

/// Sorts indices by time, or by name where times are missing or the clock was set back.
pub(super) fn sort(frames: &[FrameInfo], indices: &mut [usize]) {
    sort_by_name(frames, indices);
    if !clock_set_back(frames, indices) {
        sort_by_time(frames, indices);
    }
}

/// Sorts indices by natural name; a counter that ran over its end within one folder goes on behind it.
pub(super) fn sort_by_name(frames: &[FrameInfo], indices: &mut [usize]) {
    indices.sort_by(|&a, &b| by_name(&frames[a], &frames[b]));
    let folder = |&i: &usize| &frames[i].folder;
    if indices
        .windows(2)
        .all(|pair| folder(&pair[0]) == folder(&pair[1]))
    {
        let over = naming::ran_over(&numbers(frames, indices));
        indices.rotate_left(over);
    }
}

fn sort_by_time(frames: &[FrameInfo], indices: &mut [usize]) {
    sort_by_name(frames, indices);
    if indices.iter().all(|&i| moment(&frames[i]).is_some()) {
        indices.sort_by(|&a, &b| by_time(&frames[a], &frames[b]));
    }
}

/// File numbers that a counter may leave out between two frames of a sweep, where some were lost.
pub(super) const LEFT_OUT: i64 = 5;
/// Copies that are named after the last frame are taken for copies, and not for frames after a clock was set, up to so
/// many.
const MOST_COPIES: usize = 3;

/// Whether file numbers count on, mostly one by one, while the clock, once, goes back in the middle of them: it was set,
/// and the numbers are right.
fn clock_set_back(frames: &[FrameInfo], by_name: &[usize]) -> bool {
    let moments: Option<Vec<f64>> = by_name.iter().map(|&i| moment(&frames[i])).collect();
    let numbers: Option<Vec<u64>> = numbers(frames, by_name).into_iter().collect();
    let (Some(moments), Some(numbers)) = (moments, numbers) else {
        return false;
    };
    let steps: Vec<i64> = numbers
        .windows(2)
        .map(|pair| naming::steps(pair[0], pair[1]))
        .collect();
    let back: Vec<usize> = (1..moments.len())
        .filter(|&k| moments[k] < moments[k - 1])
        .collect();
    let &[back] = back.as_slice() else {
        return false;
    };
    let gaps = steps.iter().filter(|step| **step > 1).count();
    // A frame of the same moment and focus is the same frame, whatever number its copy has.
    let is_copy = |k: usize| {
        let focus = |k: usize| frames[by_name[k]].focus_distance;
        (0..back).any(|j| moments[j].total_cmp(&moments[k]).is_eq() && focus(j) == focus(k))
    };
    let copies = moments.len() - back <= MOST_COPIES && (back..moments.len()).all(is_copy);
    steps.iter().all(|step| *step > 0)
        && steps[back - 1] <= 1 + LEFT_OUT
        && by_name.len() > 2
        && 4 * gaps < by_name.len()
        && !copies
}

/// What the names of some frames count.
fn numbers(frames: &[FrameInfo], indices: &[usize]) -> Vec<Option<u64>> {
    naming::counters(indices.iter().map(|&i| frames[i].file.as_str()))
}

/// Natural order of folder and file name (`9` before `10`), case ignored first and used only to break ties.
pub(in crate::sweep) fn by_name(a: &FrameInfo, b: &FrameInfo) -> Ordering {
    natord::compare_ignore_case(&a.folder, &b.folder)
        .then_with(|| natord::compare_ignore_case(&a.file, &b.file))
        .then_with(|| a.folder.cmp(&b.folder))
        .then_with(|| a.file.cmp(&b.file))
}

/// Order of capture, unknown times first. The camera's own clock is what counts: a change of its offset from UTC
/// (summer time) moves that clock, so where both say an offset the moments in UTC are compared.
pub(super) fn by_time(a: &FrameInfo, b: &FrameInfo) -> Ordering {
    match (moment(a), moment(b)) {
        (Some(a), Some(b)) => a.total_cmp(&b),
        (a, b) => a.is_some().cmp(&b.is_some()),
    }
}

/// When a frame was taken, s since 1970: by what the camera wrote, else by a time in the file's name.
pub(in crate::sweep) fn moment(frame: &FrameInfo) -> Option<f64> {
    match &frame.captured_at {
        Some(time) => Some(seconds(time)),
        None => naming::time_in(&frame.file).map(|(moment, _)| moment),
    }
}

/// Whether the moment of a frame is known to the second only.
pub(in crate::sweep) fn in_whole_seconds(frame: &FrameInfo) -> bool {
    match &frame.captured_at {
        Some(time) => time.local.nanosecond() == 0,
        None => naming::time_in(&frame.file).is_none_or(|(_, whole)| whole),
    }
}

/// Seconds since 1970 of a capture time: in UTC where the offset is known, else by the camera's clock.
fn seconds(time: &crate::sweep::CaptureTime) -> f64 {
    let utc = time.local.assume_utc();
    let nanoseconds = utc.unix_timestamp_nanos();
    let offset = time
        .offset
        .map_or(0.0, |offset| f64::from(offset.whole_seconds()));
    // Split so that sub-seconds survive: 2026 is 1.8e9 s, a double then resolves 0.2 µs.
    (nanoseconds / 1_000_000_000) as f64 + (nanoseconds % 1_000_000_000) as f64 * 1e-9 - offset
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sweep::CaptureTime;
    use time::macros::{datetime, offset};

    fn named(file: &str) -> FrameInfo {
        FrameInfo {
            file: file.to_owned(),
            ..FrameInfo::default()
        }
    }

    fn at(file: &str, local: time::PrimitiveDateTime) -> FrameInfo {
        FrameInfo {
            captured_at: Some(CaptureTime {
                local,
                offset: None,
            }),
            ..named(file)
        }
    }

    #[test]
    fn names_go_by_their_numbers() {
        let frames = ["F_10.jpg", "F_9.jpg", "f_1.jpg"].map(named);
        assert_eq!(by_files(&frames, FrameOrder::Automatic), [2, 1, 0]);
        assert_eq!(by_files(&frames, FrameOrder::Reverse), [0, 1, 2]);
    }

    #[test]
    fn time_with_its_fraction_goes_before_the_name() {
        let frames = [
            at("a.jpg", datetime!(2026-04-03 10:00:00.5)),
            at("b.jpg", datetime!(2026-04-03 10:00:00.25)),
            at("c.jpg", datetime!(2026-04-03 9:59:59)),
        ];
        assert_eq!(by_files(&frames, FrameOrder::Automatic), [2, 1, 0]);
        assert_eq!(by_files(&frames, FrameOrder::Name), [0, 1, 2]);
    }

    #[test]
    fn one_frame_without_time_makes_names_decide() {
        let frames = [
            at("2.jpg", datetime!(2026-04-03 10:00:00)),
            named("1.jpg"),
            at("3.jpg", datetime!(2026-04-03 9:00:00)),
        ];
        assert_eq!(by_files(&frames, FrameOrder::Automatic), [1, 0, 2]);
    }

    #[test]
    fn a_clock_that_was_set_back_leaves_the_numbers_in_charge() {
        let frames = [
            at("S_1.jpg", datetime!(2026-04-03 11:00:00)),
            at("S_2.jpg", datetime!(2026-04-03 11:00:01)),
            at("S_3.jpg", datetime!(2026-04-03 10:00:02)),
            at("S_4.jpg", datetime!(2026-04-03 10:00:03)),
        ];
        assert_eq!(by_files(&frames, FrameOrder::Automatic), [0, 1, 2, 3]);
        assert_eq!(by_files(&frames, FrameOrder::Time), [2, 3, 0, 1]);
    }

    #[test]
    fn moments_are_compared_across_a_change_of_offset() {
        let mut early = at("a.jpg", datetime!(2026-10-25 2:59:59));
        let mut late = at("b.jpg", datetime!(2026-10-25 2:00:01));
        for (frame, offset) in [(&mut early, offset!(+2)), (&mut late, offset!(+1))] {
            if let Some(time) = &mut frame.captured_at {
                time.offset = Some(offset);
            }
        }
        assert_eq!(by_time(&early, &late), Ordering::Less);
    }
}
