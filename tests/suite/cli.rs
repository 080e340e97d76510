//! The command line as a stranger uses it: what it prints, how it ends, what it says when it can't.

mod card;
mod repeats;
mod stranger;

use std::fs;

use serde_json::Value;

use crate::support::program::{run, run_with_input, stderr, stdout};
use crate::support::sweeps::{small, write_frames};

fn json(arguments: &[&str]) -> (Option<i32>, Value) {
    let output = run(arguments);
    let value = serde_json::from_str(&stdout(&output))
        .unwrap_or_else(|error| panic!("no JSON: {error}: {}", stderr(&output)));
    (output.status.code(), value)
}

/// Two focal lengths in one folder are two sweeps, each with the shift it was rendered with.
#[test]
fn a_folder_is_split_and_measured() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().to_str().expect("UTF-8");
    write_frames(&small(50.0, 2.4, 12), folder.path());
    let mut second = small(85.0, -1.1, 12);
    second.capture.first_number = 20;
    second.capture.start += time::Duration::minutes(5);
    write_frames(&second, folder.path());
    fs::write(folder.path().join(".DS_Store"), b"x").expect("a stray file");
    fs::write(folder.path().join("notes.txt"), b"tape on felt").expect("a stray file");

    let (code, report) = json(&["measure", path, "--format", "json"]);
    assert_eq!(code, Some(0));
    assert_eq!(report["algorithm"], breathmark::sweep::ALGORITHM_VERSION);
    let sweeps = report["sweeps"].as_array().expect("sweeps");
    let worst: Vec<f64> = sweeps
        .iter()
        .map(|sweep| sweep["worst_shift_pct"].as_f64().expect("a number"))
        .collect();
    // 512 px between the targets: 0.03 points are 0.15 px, five times the noise of a centre at quality 90.
    assert!((worst[0] - 2.4).abs() < 0.03, "{worst:?}");
    assert!((worst[1] + 1.1).abs() < 0.03, "{worst:?}");
    assert_eq!(sweeps[0]["direction"], "tighter");
    assert_eq!(sweeps[1]["direction"], "wider");
    assert_eq!(sweeps[0]["tolerance_outcome"], "exceeded");
    assert_eq!(sweeps[1]["tolerance_outcome"], "within");
    assert_eq!(sweeps[0]["distance_source"], "exif");
    assert_eq!(sweeps[0]["frames"][11]["focus_dioptres"], 0.0);
    assert_eq!(sweeps[0]["frames"][11]["focus_distance_m"], Value::Null);
    assert_eq!(report["skipped"].as_array().map(Vec::len), Some(2));

    let table = stdout(&run(&["measure", path]));
    for words in [
        "+2.4",
        "−1.1",
        "tighter",
        "wider",
        "50 mm",
        "85 mm",
        " ft ",
        "never exceeded",
    ] {
        assert!(table.contains(words), "{words:?} is missing in\n{table}");
    }
    let rows = stdout(&run(&["measure", path, "--format", "csv"]));
    assert_eq!(rows.lines().count(), 1 + 24, "{rows}");
}

/// Lost on the way from the card: beside closest focus, in the middle, beside infinity.
#[test]
fn a_missing_file_changes_no_result() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().to_str().expect("UTF-8");
    let script = small(50.0, 2.6, 24);
    write_frames(&script, folder.path());
    for lost in [1, 2, 12, 22] {
        let file = folder.path().join(script.file_name(lost));
        let bytes = fs::read(&file).expect("a frame");
        fs::remove_file(&file).expect("it can be lost");
        let (_, report) = json(&["measure", path, "--format", "json"]);
        let sweep = &report["sweeps"][0];
        let worst = sweep["worst_shift_pct"].as_f64().expect("a number");
        // As above; a curve through 23 frames has less noise than one centre.
        assert!((worst - 2.6).abs() < 0.02, "{lost}: {worst}");
        let codes = sweep["findings"].as_array().expect("findings");
        let codes: Vec<&Value> = codes.iter().map(|finding| &finding["code"]).collect();
        assert_eq!(codes, ["frame_missing"], "{lost}");
        fs::write(&file, bytes).expect("it can be found again");
    }
}

/// Field names of a report are a contract with scripts and other sites: none may go missing.
#[test]
fn the_report_keeps_its_names() {
    let folder = tempfile::tempdir().expect("a folder");
    write_frames(&small(85.0, 2.0, 5), folder.path());
    let (_, report) = json(&[
        "measure",
        folder.path().to_str().expect("UTF-8"),
        "--format",
        "json",
    ]);
    let has = |object: &Value, names: &str| {
        for name in names.split_whitespace() {
            assert!(object.get(name).is_some(), "{name} is missing in {object}");
        }
    };
    has(&report, "breathmark algorithm sweeps");
    let sweep = &report["sweeps"][0];
    has(
        sweep,
        "name focal_length_mm f_number camera lens captured_at frame_count measured_count reference_file \
         worst_shift_pct worst_shift_u_pct worst_shift_file direction equivalent_focal_length_mm equivalent_focal_length_u_mm closest_focus_m \
         tolerance_pct tolerance_outcome tolerance_distance_m tolerance_distance_u_m distance_source frames findings",
    );
    has(
        &sweep["frames"][0],
        "file state reason travel focus_distance_m focus_dioptres focus_u_dioptres separation_px separation_u_px \
         shift_pct shift_u_pct targets",
    );
    has(&sweep["frames"][0]["targets"][0], "x_px y_px blur_px");
    has(&sweep["findings"][0], "code severity message files");
    assert_eq!(sweep["findings"][0]["code"], "too_few_frames");
    assert_eq!(sweep["captured_at"], "2026-04-03T10:00:00");
}

/// A sweep that can't be measured ends with 1, and the report says why.
#[test]
fn a_sweep_that_fails_is_reported() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut script = small(50.0, 2.0, 6);
    script.scene.targets.truncate(1);
    write_frames(&script, folder.path());
    let (code, report) = json(&[
        "measure",
        folder.path().to_str().expect("UTF-8"),
        "--format",
        "json",
    ]);
    assert_eq!(code, Some(1));
    let sweep = &report["sweeps"][0];
    assert_eq!(sweep["worst_shift_pct"], Value::Null);
    assert!(
        sweep["findings"]
            .as_array()
            .expect("findings")
            .iter()
            .any(|finding| {
                finding["code"] == "targets_not_found" && finding["severity"] == "stop"
            }),
        "{sweep}"
    );
}

/// One picture that breaks off loses one frame, not the sweep; an empty file is passed over with its reason.
#[test]
fn a_bad_file_never_loses_the_others() {
    let folder = tempfile::tempdir().expect("a folder");
    let script = small(50.0, 2.0, 12);
    write_frames(&script, folder.path());
    let broken = folder.path().join(script.file_name(5));
    let bytes = fs::read(&broken).expect("a frame");
    fs::write(&broken, &bytes[..bytes.len() / 2]).expect("a truncated frame");
    fs::write(folder.path().join("SWP_0099.JPG"), b"").expect("an empty file");
    // Half a copy of the first frame comes to lie beside it, where there was no step of the bracket.
    let first = fs::read(folder.path().join(script.file_name(0))).expect("a frame");
    fs::write(
        folder.path().join("SWP_0901.JPG"),
        &first[..first.len() / 2],
    )
    .expect("half a copy");
    let (code, report) = json(&[
        "measure",
        folder.path().to_str().expect("UTF-8"),
        "--format",
        "json",
    ]);
    assert_eq!(code, Some(0));
    let sweep = &report["sweeps"][0];
    assert_eq!(sweep["frame_count"], 13);
    assert_eq!(sweep["measured_count"], 11);
    for (place, file) in [(1, "SWP_0901.JPG"), (6, "SWP_0006.JPG")] {
        let frame = &sweep["frames"][place];
        assert_eq!(frame["file"], file);
        assert_eq!(frame["state"], "failed");
        assert!(
            frame["reason"]
                .as_str()
                .is_some_and(|reason| reason.contains("card again"))
        );
    }
    assert_eq!(sweep["worst_shift_file"], "SWP_0001.JPG");
    let worst = sweep["worst_shift_pct"].as_f64().expect("a number");
    // As above: five times the noise of a centre.
    assert!((worst - 2.0).abs() < 0.03, "{worst}");
    assert!(
        report["skipped"][0]["reason"]
            .as_str()
            .is_some_and(|reason| reason.contains("empty"))
    );
}

/// A copy of a frame, under the same name elsewhere or under another, is no frame of the sweep.
#[test]
fn a_picture_that_comes_twice_counts_once() {
    let folder = tempfile::tempdir().expect("a folder");
    write_frames(&small(85.0, 2.0, 6), folder.path());
    let (first, third) = (
        folder.path().join("SWP_0001.JPG"),
        folder.path().join("SWP_0003.JPG"),
    );
    fs::create_dir(folder.path().join("Backup")).expect("a folder");
    fs::copy(&first, folder.path().join("Backup/SWP_0001.JPG")).expect("a copy");
    fs::copy(&third, folder.path().join("SWP_0903.JPG")).expect("a copy");
    let path = folder.path().to_str().expect("UTF-8");
    let (_, report) = json(&["measure", path, "--format", "json"]);
    let frames: Vec<u64> = report["sweeps"]
        .as_array()
        .expect("sweeps")
        .iter()
        .map(|sweep| sweep["frame_count"].as_u64().expect("a number"))
        .collect();
    let said: Vec<&str> = report["skipped"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|skipped| skipped["reason"].as_str().expect("words"))
        .collect();
    assert_eq!(frames, [6]);
    assert_eq!(
        said,
        [1, 3].map(|number| format!("the same picture as SWP_000{number}.JPG; it counts once"))
    );
}

/// The simulator writes what the measurement finds again.
#[test]
fn simulate_then_measure() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("practice");
    let path = path.to_str().expect("UTF-8");
    let options = [
        "--frames",
        "6",
        "--width-px",
        "640",
        "--worst-shift-pct",
        "-3",
        "--f-number",
        "8",
    ];
    let output = run(&[&["simulate", path], options.as_slice()].concat());
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let again = run(&[&["simulate", path], options.as_slice()].concat());
    assert_eq!(
        again.status.code(),
        Some(2),
        "a folder that is not empty is not written into"
    );
    let (_, report) = json(&["measure", path, "--format", "json"]);
    let shift = report["sweeps"][0]["worst_shift_pct"]
        .as_f64()
        .expect("a number");
    // As above: five times the noise of a centre.
    assert!((shift + 3.0).abs() < 0.03, "{shift}");
}

#[test]
fn an_account_is_made_once_and_with_a_decent_password() {
    let data = tempfile::tempdir().expect("a folder");
    let data = data.path().to_str().expect("UTF-8");
    let add = [
        "account", "add", "Maren", "--role", "reviewer", "--data", data,
    ];
    let short = run_with_input(&add, "short\n");
    assert_eq!(short.status.code(), Some(2));
    assert!(stderr(&short).contains('8'), "{}", stderr(&short));
    let made = run_with_input(&add, "lantern quay 7\n");
    assert_eq!(made.status.code(), Some(0), "{}", stderr(&made));
    let again = run_with_input(&add, "lantern quay 7\n");
    assert_eq!(again.status.code(), Some(2));
    let doctor = run(&["doctor", "--data", data]);
    assert_eq!(doctor.status.code(), Some(0), "{}", stderr(&doctor));
    for words in ["schema ", "0 files, 0.0 MB", "free space", "in order"] {
        assert!(stdout(&doctor).contains(words), "{}", stdout(&doctor));
    }
}

/// The README names every command and every variable, and names none that is not there.
#[test]
fn the_readme_and_the_program_agree() {
    let readme =
        fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/README.md")).expect("README");
    let help = stdout(&run(&["--help"]));
    let commands: Vec<&str> = help
        .split("Commands:")
        .nth(1)
        .expect("the help lists commands")
        .split("Options:")
        .next()
        .expect("a part")
        .lines()
        .filter_map(|line| {
            line.strip_prefix("  ")
                .filter(|rest| !rest.starts_with(' '))?
                .split_whitespace()
                .next()
        })
        .filter(|word| *word != "help" && word.chars().all(char::is_alphabetic))
        .collect();
    assert!(commands.len() >= 8, "{help}");
    for command in &commands {
        assert!(
            readme.contains(&format!("breathmark {command}")),
            "the README says nothing of {command}"
        );
    }
    let serve = stdout(&run(&["serve", "--help"]));
    let variables = |text: &str| -> Vec<String> {
        let mut found: Vec<String> = text
            .split(|c: char| !c.is_ascii_uppercase() && c != '_')
            .filter(|word| word.starts_with("BREATHMARK_"))
            .map(str::to_owned)
            .collect();
        found.sort();
        found.dedup();
        found
    };
    let mut known = variables(&serve);
    known.push("BREATHMARK_LOG".to_owned());
    known.sort();
    assert_eq!(
        variables(&readme),
        known,
        "README on the left, the program on the right"
    );
}
