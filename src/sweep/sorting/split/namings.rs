//! Files as cameras, phones and programs name them.

use super::tests::{shapes, sweep};
use super::*;

/// Names that cameras, phones and programs give: 30 frames and their folder, first to last.
fn namings() -> Vec<(&'static str, Vec<String>)> {
    let count = |name: fn(usize) -> String| (0..30).map(name).collect::<Vec<_>>();
    vec![
        ("DSC_", count(|i| format!("DSC_{:04}.JPG", i + 1))),
        ("_DSC", count(|i| format!("_DSC{:04}.JPG", i + 990))),
        ("IMG_", count(|i| format!("IMG_{:04}.JPG", i + 85))),
        ("_MG_", count(|i| format!("_MG_{:04}.JPG", i + 1))),
        ("DSCF", count(|i| format!("DSCF{:04}.jpg", i + 95))),
        ("DSC0", count(|i| format!("DSC{:05}.JPG", i + 9980))),
        ("P101", count(|i| format!("P101{:04}.JPG", i + 1))),
        (
            "month",
            count(|i| format!("P{}.JPG", 1_019_990 + i + i / 10)),
        ),
        ("R000", count(|i| format!("R{:07}.JPG", i + 9985))),
        ("100_", count(|i| format!("100_{:04}.jpg", i + 1))),
        ("bare", count(|i| format!("{}.jpg", i + 1))),
        ("frame", count(|i| format!("frame{}.jpg", i + 1))),
        (
            "mixed case",
            count(|i| match i % 2 {
                0 => format!("img_{:04}.jpg", i + 1),
                _ => format!("IMG_{:04}.JPG", i + 1),
            }),
        ),
        ("exported", count(|i| format!("tern 85 ({}).jpg", i + 1))),
        ("number first", count(|i| format!("{}_85mm_f4.jpg", i + 1))),
        ("date", count(|i| format!("2026-04-03_{:03}.jpg", i + 1))),
        (
            "date, no zeros",
            count(|i| format!("2026-04-03 sweep {}.jpg", i + 1)),
        ),
        (
            "phone",
            count(|i| {
                format!(
                    "20260403_10{:02}{:02}.jpg",
                    15 + (i + 50) / 60,
                    (i + 50) % 60
                )
            }),
        ),
        (
            "phone, slow",
            count(|i| {
                format!(
                    "IMG_20260403_{:02}{:02}07.jpg",
                    10 + (i + 45) / 60,
                    (i + 45) % 60
                )
            }),
        ),
        (
            "phone, thousandths",
            count(|i| {
                format!(
                    "PXL_20260403_1015{:02}{:03}.jpg",
                    i / 2,
                    100 + 500 * (i % 2)
                )
            }),
        ),
        (
            "dotted",
            count(|i| format!("Photo 2026-04-03 10.15.{:02}.jpg", i + 20)),
        ),
        (
            "over the end",
            count(|i| format!("DSC_{:04}.JPG", (i + 9984) % 9999 + 1)),
        ),
        (
            "over the end, lost some",
            count(|i| format!("DSC_{:04}.JPG", (i + 9970 + 2 * (i / 10)) % 9999 + 1)),
        ),
        (
            "next folder",
            count(|i| {
                format!(
                    "DCIM/10{}ABCDE/DSC_{:04}.JPG",
                    i / 14,
                    (i + 9985) % 9999 + 1
                )
            }),
        ),
        (
            "next folder, small letters",
            count(|i| format!("dcim/10{}_pana/p1010{:03}.jpg", i / 14, i + 1)),
        ),
    ]
}

/// Whatever a sweep's files are called, with times and without: one sweep, first to last, every number counted.
#[test]
fn namings_of_several_cameras_keep_order_and_sweep() {
    for (naming, paths) in namings() {
        for timed in [true, false] {
            let mut frames = sweep(50.0, 1, 0.0, paths.len());
            for (frame, path) in frames.iter_mut().zip(&paths) {
                let (folder, file) = path.rsplit_once('/').unwrap_or(("", path));
                (frame.folder, frame.file) = (folder.to_owned(), file.to_owned());
                if !timed {
                    frame.captured_at = None;
                }
            }
            // As a file system lists them: in no order.
            let listed: Vec<usize> = (0..paths.len()).map(|i| i * 7 % paths.len()).collect();
            let shown: Vec<FrameInfo> = listed.iter().map(|&i| frames[i].clone()).collect();
            let sweeps = split(&shown, "card");
            assert_eq!(sweeps.len(), 1, "{naming}, times: {timed}");
            let order: Vec<usize> = order::by_files(&shown, crate::sweep::FrameOrder::Automatic)
                .into_iter()
                .map(|i| listed[i])
                .collect();
            assert!(order.is_sorted(), "{naming}, times: {timed}: {order:?}");
        }
    }
}

/// Where names are all that is known, a counter that begins again begins a sweep.
#[test]
fn a_counter_that_begins_again_is_a_new_sweep() {
    for names in [
        ["a_", "b_"],
        ["2026-04-03_", "2026-04-04_"],
        ["tern 35 (", "tern 85 ("],
    ] {
        let mut frames = Vec::new();
        for name in names {
            let mut one = sweep(50.0, 1, 0.0, 12);
            for (i, frame) in one.iter_mut().enumerate() {
                let end = if name.ends_with('(') { ")" } else { "" };
                frame.file = format!("{name}{}{end}.jpg", i + 1);
                frame.captured_at = None;
            }
            frames.extend(one);
        }
        let sizes: Vec<usize> = shapes(&frames, "card").iter().map(|(_, n)| *n).collect();
        assert_eq!(sizes, [12, 12], "{names:?}");
    }
}
