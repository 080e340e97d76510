//! Cards and folders as they come, and the sweeps they are.

use super::*;
use crate::sweep::CaptureTime;
use crate::units::{FNumber, FocusDistance, Metres, Millimetres};
use time::macros::datetime;

/// Frames of one sweep, 0.8 s apart, from `start_s` on and from file number `number` on.
pub(super) fn sweep(mm: f64, number: usize, start_s: f64, count: usize) -> Vec<FrameInfo> {
    (0..count)
        .map(|i| FrameInfo {
            file: format!("SWP_{:04}.JPG", number + i),
            captured_at: Some(CaptureTime {
                local: datetime!(2026-04-03 10:00:00)
                    + time::Duration::seconds_f64(start_s + 0.8 * i as f64),
                offset: None,
            }),
            focal_length: Millimetres::new(mm).ok(),
            lens: Some("Brackwell Span 28-135 mm".to_owned()),
            camera: Some("Tindra Bench 2".to_owned()),
            ..FrameInfo::default()
        })
        .collect()
}

pub(super) fn shapes(frames: &[FrameInfo], source: &str) -> Vec<(String, usize)> {
    split(frames, source)
        .into_iter()
        .map(|group| (group.name, group.frames.len()))
        .collect()
}

fn named(name: &str, count: usize) -> (String, usize) {
    (name.to_owned(), count)
}

#[test]
fn a_folder_of_six_focal_lengths_is_six_sweeps() {
    let mut frames = Vec::new();
    for (i, mm) in [28.0, 35.0, 50.0, 75.0, 100.0, 135.0]
        .into_iter()
        .enumerate()
    {
        frames.extend(sweep(mm, 1 + 6 * i, 60.0 * i as f64, 6));
    }
    let wanted: Vec<_> = [28, 35, 50, 75, 100, 135]
        .map(|mm| named(&format!("zoom {mm} mm"), 6))
        .to_vec();
    assert_eq!(shapes(&frames, "zoom"), wanted);
}

#[test]
fn one_frame_is_a_group_and_no_frame_is_none() {
    assert!(split(&[], "card").is_empty());
    let mut frames = sweep(50.0, 1, 0.0, 1);
    "a/b".clone_into(&mut frames[0].folder);
    assert_eq!(shapes(&frames, "card"), [named("b", 1)]);
}

#[test]
fn a_repeat_after_a_pause_is_a_sweep_of_its_own() {
    let mut frames = sweep(50.0, 1, 0.0, 24);
    frames.extend(sweep(50.0, 25, 90.0, 24));
    assert_eq!(
        shapes(&frames, "card"),
        [named("card 50 mm", 24), named("card 50 mm (2)", 24)]
    );
}

/// A few seconds suffice to stop down; a macro lens that closes its aperture by itself, and one odd frame, are one sweep.
#[test]
fn another_aperture_is_another_sweep() {
    let set = |f_number: fn(usize) -> f64| (0..24).map(f_number).collect::<Vec<f64>>();
    let cases = [
        ("stopped down", set(|i| if i < 12 { 4.0 } else { 8.0 }), 2),
        ("as it was", set(|_| 5.6), 1),
        ("macro", set(|i| [2.8, 3.2, 3.5, 4.0][i / 6]), 1),
        ("one odd frame", set(|i| if i == 7 { 16.0 } else { 5.6 }), 1),
    ];
    for (name, f_number, sweeps) in cases {
        let mut frames = sweep(50.0, 1, 0.0, 12);
        frames.extend(sweep(50.0, 13, 15.0, 12));
        for (i, frame) in frames.iter_mut().enumerate() {
            frame.f_number = FNumber::new(f_number[i]).ok();
        }
        assert_eq!(split(&frames, "card").len(), sweeps, "{name}");
    }
}

#[test]
fn a_focus_that_comes_back_to_near_is_a_new_sweep_without_a_pause() {
    let mut frames = sweep(50.0, 1, 0.0, 24);
    for (i, frame) in frames.iter_mut().enumerate() {
        let d = 2.0 * (1.0 - (i % 12) as f64 / 11.0);
        frame.focus_distance =
            Some(Metres::new(1.0 / d).map_or(FocusDistance::Infinity, FocusDistance::At));
    }
    assert_eq!(
        shapes(&frames, "card"),
        [named("card 50 mm", 12), named("card 50 mm (2)", 12)]
    );
}

#[test]
fn a_clock_that_jumps_ends_no_sweep() {
    for jump_s in [3600.0, -1800.0, -40.0] {
        let mut frames = sweep(50.0, 1, 0.0, 12);
        frames.extend(sweep(50.0, 13, 9.6 + jump_s, 12));
        assert_eq!(shapes(&frames, "card"), [named("card", 24)], "{jump_s}");
    }
}

/// The clock was set just where files are missing: still one sweep, in the order of its numbers.
#[test]
fn a_clock_that_jumps_over_missing_files_ends_no_sweep() {
    for jump_s in [3600.0, 7200.0, -3600.0, -1800.0, -40.0] {
        for missing in [1, 2, 5] {
            for at in [3, 12, 20] {
                let mut frames = sweep(50.0, 1, 0.0, 24);
                for frame in &mut frames[at..] {
                    if let Some(time) = &mut frame.captured_at {
                        time.local += time::Duration::seconds_f64(jump_s);
                    }
                }
                frames.drain(at - 1..at - 1 + missing);
                let sweeps = split(&frames, "card");
                let name = format!("{jump_s} s, {missing} missing at {at}");
                assert_eq!(sweeps.len(), 1, "{name}");
                let order = order::by_files(&frames, crate::sweep::FrameOrder::Automatic);
                assert!(order.is_sorted(), "{name}: {order:?}");
            }
        }
    }
    // Of two sweeps of one focal length, the clock was set back in the second.
    let mut frames = sweep(50.0, 1, 0.0, 24);
    frames.extend(sweep(50.0, 101, 90.0, 12));
    frames.extend(sweep(50.0, 114, 90.0 + 13.0 * 0.8 - 3600.0, 11));
    assert_eq!(
        shapes(&frames, "card"),
        [named("card 50 mm", 24), named("card 50 mm (2)", 23)]
    );
}

/// A copy that got the next number stays with its sweep, beside its original where a time or distance tells.
#[test]
fn copies_are_no_sweeps() {
    type Change = fn(&mut FrameInfo);
    let changes: [(&str, Change); 4] = [
        ("as shot", |_| {}),
        ("without times", |frame| frame.captured_at = None),
        ("without distances", |frame| frame.focus_distance = None),
        ("mute", |frame| {
            (frame.captured_at, frame.focus_distance) = (None, None);
        }),
    ];
    for (how, change) in changes {
        for (file, of) in [
            ("SWP_0025.JPG", 2),
            ("SWP_0025.JPG", 20),
            ("SWP_0199.JPG", 9),
            ("SWP_0003 (1).JPG", 2),
            ("Copy of SWP_0010.JPG", 9),
        ] {
            let mut frames = sweep(50.0, 1, 0.0, 24);
            for (i, frame) in frames.iter_mut().enumerate() {
                frame.focus_distance = Some(
                    Metres::new(23.0 / (2.0 * (23 - i) as f64))
                        .map_or(FocusDistance::Infinity, FocusDistance::At),
                );
                change(frame);
            }
            let mut copy = frames[of].clone();
            file.clone_into(&mut copy.file);
            frames.push(copy);
            // A number far off without time or distance may be anything.
            let alone = how == "mute" && file == "SWP_0199.JPG";
            let sweeps = split(&frames, "card").len();
            assert!(sweeps == 1 || alone, "{file}, {how}: {sweeps}");
        }
    }
}

#[test]
fn folders_named_by_focal_length_are_no_folders_of_a_card() {
    let mut frames = Vec::new();
    for folder in ["100mmF28", "135mmF28"] {
        let mut one = sweep(100.0, 1, 0.0, 12);
        for frame in &mut one {
            *frame = FrameInfo {
                file: frame.file.clone(),
                folder: folder.to_owned(),
                ..FrameInfo::default()
            };
        }
        frames.extend(one);
    }
    assert_eq!(
        shapes(&frames, "card"),
        [named("100mmF28", 12), named("135mmF28", 12)]
    );
}

#[test]
fn a_focal_length_that_wanders_a_little_is_one_setting() {
    let mut frames = sweep(70.0, 1, 0.0, 9);
    frames[3].focal_length = Millimetres::new(69.0).ok();
    frames[7].focal_length = Millimetres::new(71.0).ok();
    assert_eq!(shapes(&frames, "card"), [named("card", 9)]);
    // Neighbouring marks of a wide zoom are not.
    let mut marks = sweep(16.0, 1, 0.0, 5);
    marks.extend(sweep(18.0, 6, 60.0, 5));
    assert_eq!(shapes(&marks, "card").len(), 2);
}

#[test]
fn lenses_and_cameras_in_one_folder_are_told_apart() {
    let mut frames = sweep(50.0, 1, 0.0, 6);
    let mut other = sweep(50.0, 7, 60.0, 6);
    for frame in &mut other {
        frame.lens = Some("Ostrel Meridian 50 mm".to_owned());
    }
    frames.extend(other);
    assert_eq!(
        shapes(&frames, "card"),
        [
            named("card Brackwell Span 28-135 mm 50 mm", 6),
            named("card Ostrel Meridian 50 mm 50 mm", 6)
        ]
    );
}

#[test]
fn a_sweep_that_runs_over_into_the_next_card_folder_is_one() {
    let mut frames = sweep(50.0, 9990, 0.0, 10);
    let mut rest = sweep(50.0, 1, 8.0, 10);
    for frame in &mut frames {
        "DCIM/100TINDR".clone_into(&mut frame.folder);
    }
    for frame in &mut rest {
        "DCIM/101TINDR".clone_into(&mut frame.folder);
    }
    frames.extend(rest);
    assert_eq!(shapes(&frames, "evening"), [named("evening", 20)]);
}

#[test]
fn a_file_without_metadata_stays_with_its_folder() {
    let mut frames = sweep(50.0, 1, 0.0, 8);
    frames[4] = FrameInfo {
        file: frames[4].file.clone(),
        ..FrameInfo::default()
    };
    assert_eq!(shapes(&frames, "card"), [named("card", 8)]);
}

#[test]
fn without_times_a_gap_in_the_numbers_parts() {
    let mut frames = sweep(50.0, 1, 0.0, 8);
    frames.extend(sweep(50.0, 101, 0.0, 8));
    for frame in &mut frames {
        frame.captured_at = None;
    }
    assert_eq!(shapes(&frames, "card").len(), 2);
}

/// Without times, names in no order and distances that run to and fro are one sweep, not many fragments; two sweeps shot
/// one after the other stay two.
#[test]
fn shuffled_names_without_times_are_one_sweep() {
    let untimed = |order: &[usize]| -> Vec<FrameInfo> {
        let mut frames = sweep(50.0, 1, 0.0, order.len());
        for (frame, place) in frames.iter_mut().zip(order) {
            frame.captured_at = None;
            frame.focus_distance = Some(FocusDistance::At(
                Metres::new(0.45 + 0.3 * *place as f64).expect("in range"),
            ));
        }
        frames
    };
    let shuffled = untimed(&[7, 2, 10, 0, 5, 11, 3, 8, 1, 9, 4, 6]);
    assert_eq!(shapes(&shuffled, "card").len(), 1);
    let twice: Vec<usize> = (0..8).chain(0..8).collect();
    assert_eq!(shapes(&untimed(&twice), "card").len(), 2);
}
