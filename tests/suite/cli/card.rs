//! Cards and lists of distances as they come from an evening: several lenses, odd names, odd lists.

use std::fs;

use breathmark::simulate::ClockJump;

use super::json;
use crate::support::program::{run, stderr};
use crate::support::sweeps::{small, write_frames};

/// A card with two lenses, a focal length shot twice, a counter that runs over its end into the next folder, and names
/// that come twice: each sweep by itself, under a name that tells them apart.
#[test]
fn a_card_of_an_evening() {
    let card = tempfile::tempdir().expect("a folder");
    let folders = ["100TINDR", "101TINDR"].map(|folder| card.path().join("DCIM").join(folder));
    for folder in &folders {
        fs::create_dir_all(folder).expect("a folder");
    }
    let script = |lens: &str, focal, worst, minutes, number| {
        let mut script = small(focal, worst, 6);
        lens.clone_into(&mut script.lens.model);
        "DSC_####.JPG".clone_into(&mut script.capture.name);
        script.capture.start += time::Duration::minutes(minutes);
        script.capture.first_number = number;
        script
    };
    let before = [
        script("Brackwell Span 28-135 mm", 35.0, -1.0, 0, 9985),
        script("Brackwell Span 28-135 mm", 85.0, 2.4, 5, 9991),
    ];
    for script in &before {
        write_frames(script, &folders[0]);
    }
    // 9997 to 9999 lie in the first folder, 0001 to 0003 in the next one.
    let over = script("Brackwell Span 28-135 mm", 85.0, 2.4, 10, 9997);
    write_frames(&over, &folders[1]);
    for frame in 0..3 {
        let name = over.file_name(frame);
        fs::rename(folders[1].join(&name), folders[0].join(&name)).expect("moved");
    }
    // Another body's card, copied beside it: the same names again.
    let mut other = script("Ostrel Tern 50 mm", 50.0, 1.5, 1, 1);
    "Tindra Bench 3".clone_into(&mut other.capture.camera_model);
    write_frames(&other, &card.path().join("DCIM"));

    let path = card.path().to_str().expect("UTF-8");
    let (_, report) = json(&["measure", path, "--format", "json"]);
    let sweeps = report["sweeps"].as_array().expect("sweeps");
    let found: Vec<(u64, f64, String)> = sweeps
        .iter()
        .map(|sweep| {
            let worst = sweep["worst_shift_pct"].as_f64().expect("a number");
            (
                sweep["frame_count"].as_u64().expect("a number"),
                (10.0 * worst).round() / 10.0,
                sweep["frames"][0]["file"]
                    .as_str()
                    .expect("a name")
                    .to_owned(),
            )
        })
        .collect();
    let wanted = [
        (6, -1.0, "DSC_9985.JPG"),
        (6, 2.4, "DSC_9991.JPG"),
        (6, 2.4, "DSC_9997.JPG"),
        (6, 1.5, "DSC_0001.JPG"),
    ];
    assert_eq!(found.len(), wanted.len(), "{found:?}");
    for (count, worst, first) in wanted {
        let wanted = (count, worst, first.to_owned());
        assert!(found.contains(&wanted), "{wanted:?} is not among {found:?}");
    }
    let mut names: Vec<&str> = sweeps
        .iter()
        .map(|sweep| sweep["name"].as_str().expect("a name"))
        .collect();
    names.dedup();
    assert_eq!(names.len(), wanted.len(), "{names:?}");
}

/// Distances that belong to no frame, or to several, are told; a list that can't be read names line and remedy.
#[test]
fn a_list_of_distances_that_does_not_fit_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    write_frames(&small(85.0, 2.0, 6), folder.path());
    let path = folder.path().to_str().expect("UTF-8");
    let list = folder.path().join("distances.csv");
    let measured = |content: &str| {
        fs::write(&list, content).expect("a list");
        run(&[
            "measure",
            path,
            "--distances",
            list.to_str().expect("UTF-8"),
        ])
    };
    let good = measured("\u{feff}file;distance_m\r\nSWP_0001.JPG;0,85\r\n\r\nSWP_0006.JPG;∞\r\n");
    assert_eq!(good.status.code(), Some(0));
    let said = stderr(&good);
    assert!(!said.contains("the list of distances"), "{said}");
    let strange =
        measured("file,distance_m\nSWP_0001.jpg,0.85\nSWP_0099.JPG,2\nSWP_0006.JPG,inf\n");
    assert_eq!(strange.status.code(), Some(0));
    let said = stderr(&strange);
    assert!(
        said.contains("names SWP_0001.jpg, SWP_0099.JPG, and no frame is called so"),
        "{said}"
    );
    for (list, words) in [
        ("file,distance_m\nSWP_0001.JPG,0,85\n", "line 2"),
        ("file,distance_m\n\nSWP_0001.JPG,3 ft\n", "write 0.914"),
        ("SWP_0001.JPG,0.85\n", "the first line has to be"),
    ] {
        let refused = measured(list);
        assert_eq!(refused.status.code(), Some(2), "{list:?}");
        let said = stderr(&refused);
        assert!(said.contains(words), "{list:?}: {said}");
        assert_eq!(said.trim_end().lines().count(), 1, "{said}");
    }
}

/// Without distances, half a minute's rest in a bracket is none between two, and two brackets without a rest between them are
/// two. The first was one half of the breathing twice over, the other a zoom ring that slipped.
#[test]
fn a_rest_ends_no_sweep_and_two_sweeps_need_none() {
    let script = || {
        let mut script = small(85.0, 2.0, 12);
        script.capture.interval_s = 3.0;
        script.capture.write_distances = false;
        script
    };
    let mut twice = script();
    twice.capture.first_number += 12;
    twice.capture.start += time::Duration::seconds(36);
    let mut rested = script();
    rested.capture.clock_jump = Some(ClockJump {
        frame: 6,
        seconds: 30.0,
    });
    for (scripts, counts) in [
        (vec![rested], vec![12]),
        (vec![script(), twice], vec![12, 12]),
    ] {
        let folder = tempfile::tempdir().expect("a folder");
        for script in &scripts {
            write_frames(script, folder.path());
        }
        let path = folder.path().to_str().expect("UTF-8");
        let (code, report) = json(&["measure", path, "--format", "json"]);
        assert_eq!(code, Some(0), "{counts:?}");
        let sweeps = report["sweeps"].as_array().expect("sweeps");
        assert_eq!(sweeps.len(), counts.len(), "{counts:?}");
        for (sweep, count) in sweeps.iter().zip(&counts) {
            assert_eq!(sweep["frame_count"], *count, "{counts:?}");
            let worst = sweep["worst_shift_pct"].as_f64().expect("a number");
            // 512 px between the targets: 0.03 points are five times the noise of a centre.
            assert!((worst - 2.0).abs() < 0.03, "{counts:?}: {worst}");
            let findings = sweep["findings"].as_array().expect("findings");
            let codes: Vec<_> = findings.iter().map(|finding| &finding["code"]).collect();
            assert_eq!(codes, ["distance_unknown"], "{counts:?}");
        }
    }
}

/// Two frames in the middle of a sweep name another lens: nobody changes lenses so fast, so they stay, and the sweep has no
/// result until somebody says what is right.
#[test]
fn another_lens_in_the_middle_of_a_sweep_is_named() {
    let folder = tempfile::tempdir().expect("a folder");
    let script = small(85.0, 2.0, 12);
    write_frames(&script, folder.path());
    let mut other = script.clone();
    other.lens.model = "Ostrel Other".to_owned();
    let odd = [script.file_name(4), script.file_name(9)];
    for (name, frame) in odd.iter().zip([4, 9]) {
        let bytes = other.jpeg(frame).expect("a frame can be encoded");
        fs::write(folder.path().join(name), bytes).expect("a frame can be written");
    }
    let path = folder.path().to_str().expect("UTF-8");
    let (code, report) = json(&["measure", path, "--format", "json"]);
    assert_eq!(code, Some(1));
    let sweeps = report["sweeps"].as_array().expect("sweeps");
    assert_eq!(sweeps.len(), 1);
    let finding = &sweeps[0]["findings"][0];
    assert_eq!(finding["code"], "mixed_lenses");
    assert_eq!(finding["severity"], "stop");
    let named: Vec<_> = finding["files"].as_array().expect("files").to_vec();
    assert_eq!(named, odd);
}

/// Half a copy of a frame that got the next number lies beside its original, fails alone, and makes no sweep of its own.
#[test]
fn half_a_copy_with_the_next_number_is_no_sweep() {
    let folder = tempfile::tempdir().expect("a folder");
    let script = small(85.0, 2.0, 12);
    write_frames(&script, folder.path());
    let third = fs::read(folder.path().join(script.file_name(2))).expect("a frame");
    fs::write(
        folder.path().join("SWP_0013.JPG"),
        &third[..third.len() / 2],
    )
    .expect("half a copy");
    let path = folder.path().to_str().expect("UTF-8");
    let (code, report) = json(&["measure", path, "--format", "json"]);
    assert_eq!(code, Some(0));
    let sweeps = report["sweeps"].as_array().expect("sweeps");
    let counts: Vec<_> = sweeps
        .iter()
        .map(|sweep| {
            (
                sweep["frame_count"].as_u64(),
                sweep["measured_count"].as_u64(),
            )
        })
        .collect();
    assert_eq!(counts, [(Some(13), Some(12))]);
    let codes: Vec<&str> = sweeps[0]["findings"]
        .as_array()
        .expect("findings")
        .iter()
        .filter_map(|finding| finding["code"].as_str())
        .collect();
    assert_eq!(codes, ["frames_not_measured"]);
    let worst = sweeps[0]["worst_shift_pct"].as_f64().expect("a number");
    // 512 px between the targets: 0.03 points are five times the noise of a centre.
    assert!((worst - 2.0).abs() < 0.03, "{worst}");
}
