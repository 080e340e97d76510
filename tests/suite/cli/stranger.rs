//! What somebody meets who uses the program for the first time, and gives it what it can't use.

use std::fs;

use super::json;
use crate::support::program::{run, run_with_input, stderr, stdout};
use crate::support::sweeps::{small, write_frames};

/// Wrong usage and unreadable input end with 2 and one line that says how to mend it.
#[test]
fn what_is_wrong_is_said_in_one_line() {
    let empty = tempfile::tempdir().expect("a folder");
    let empty = empty.path().to_str().expect("UTF-8");
    for (arguments, words) in [
        (vec!["measure", "/no/such/folder"], "check the path"),
        (vec!["measure", empty], "no picture"),
        (vec!["measure"], "--help"),
        (
            vec!["measure", empty, "--tolerance-pct", "-1"],
            "from 0.01 to 100",
        ),
        (
            vec!["measure", empty, "--tolerance-pct", "nan"],
            "not a number",
        ),
        (
            vec!["measure", empty, "--focal-length-mm", "0"],
            "from 1 to 5000 mm",
        ),
        (
            vec!["measure", empty, "--closest-focus-m", "-3"],
            "from 0.01 to 10000 m",
        ),
        (
            vec!["measure", empty, "--closest-focus-m", "1e-30"],
            "from 0.01 to 10000 m, not 1e-30",
        ),
        (
            vec!["measure", empty, "--target-distance-m", "1e99"],
            "from 0.01 to 10000 m, not 1e99",
        ),
        (
            vec!["measure", empty, "--sensor-width-mm", "1e-9"],
            "from 1 to 200 mm",
        ),
        (
            vec!["measure", empty, "--f-number", "1e-9"],
            "from 0.5 to 128",
        ),
        (
            vec![
                "plan",
                "--focal-length-mm",
                "85",
                "--closest-focus-m",
                "1e-30",
            ],
            "from 0.01 to 10000 m",
        ),
        (
            vec!["simulate", "/proc/nowhere", "--farthest-focus-m", "-1"],
            "from 0.01 to 10000 m",
        ),
        (
            vec!["demo", "--measure-threads", "99999999999"],
            "0 to 1024 threads",
        ),
        (
            vec!["simulate", "/proc/nowhere", "--frames", "0"],
            "0 is not in 1 to 200",
        ),
        (
            vec!["serve", "--listen", "localhost"],
            "like 127.0.0.1:8317",
        ),
        (
            vec!["restore", "/no/such.zip", "--data", empty],
            "/no/such.zip is not there; nothing was restored",
        ),
        (
            vec!["restore", "Cargo.toml", "--data", empty],
            "name a file that `breathmark backup` wrote",
        ),
        (
            vec!["measure", empty, "--distances", "/no/such.csv"],
            "check the path",
        ),
        (vec!["measure", empty, "--order", "sideways"], "reverse"),
        (vec!["measure", empty, "--format", "poem"], "table"),
        (vec!["masure"], "masure"),
        (
            vec![
                "plan",
                "--focal-length-mm",
                "85",
                "--target-distance-m",
                "0.04",
            ],
            "--target-distance-m: targets at 0.04 m",
        ),
        (
            vec!["plan", "--focal-length-mm", "85", "--f-number", "1.4"],
            "or a larger number",
        ),
        (
            vec![
                "plan",
                "--focal-length-mm",
                "50",
                "--sensor-width-mm",
                "3600",
            ],
            "from 1 to 200 mm",
        ),
        (vec!["simulate", "/proc/nowhere"], "can't be made"),
        (vec!["doctor", "--data", "/no/such/folder"], "--data"),
        (
            vec!["account", "add", "Maren", "--role", "emperor"],
            "reviewer or operator",
        ),
    ] {
        let output = run(&arguments);
        let said = stderr(&output);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        assert!(
            said.contains(words),
            "{arguments:?} says {said:?}, not {words:?}"
        );
        assert_eq!(
            said.trim_end().lines().count(),
            1,
            "{arguments:?} says more than one line: {said}"
        );
    }
}

/// The help that is named is that of the very command.
#[test]
fn wrong_usage_names_the_help_to_read() {
    for (arguments, help) in [
        (vec!["account", "add"], "`breathmark account add --help`"),
        (vec!["token", "add", "x"], "`breathmark token add --help`"),
        (vec!["plan"], "`breathmark plan --help`"),
        (vec!["--format", "json"], "`breathmark --help`"),
    ] {
        let said = stderr(&run(&arguments));
        assert!(said.contains(help), "{arguments:?}: {said}");
    }
    let help = stdout(&run(&["measure", "--help"]));
    assert!(
        help.contains("Examples:") && help.contains("Exit code:"),
        "{help}"
    );
}

/// Names in any script, links to files, a link that leads back, a link to nowhere, a single picture.
#[cfg(unix)]
#[test]
fn odd_folders_are_measured_and_what_is_odd_is_said() {
    use std::os::unix::fs::symlink;
    let place = tempfile::tempdir().expect("a folder");
    let frames = place.path().join("Über größe 日本 ♥");
    let script = small(85.0, 2.0, 12);
    write_frames(&script, &frames);
    let card = place.path().join("card");
    fs::create_dir(&card).expect("a folder");
    for frame in 0..script.frames {
        let name = script.file_name(frame);
        symlink(frames.join(&name), card.join(&name)).expect("a link");
    }
    symlink(&card, card.join("again")).expect("a link");
    symlink("/no/such/file", card.join("lost.JPG")).expect("a link");
    for folder in [&frames, &card] {
        let path = folder.to_str().expect("UTF-8");
        let (code, report) = json(&["measure", path, "--format", "json"]);
        assert_eq!(code, Some(0), "{path}");
        assert_eq!(report["sweeps"][0]["measured_count"], 12, "{path}");
    }
    let said = stderr(&run(&["measure", card.to_str().expect("UTF-8")]));
    for words in [
        "again passed over: a link to a folder; give that folder itself",
        "lost.JPG passed over: a link that leads nowhere",
    ] {
        assert!(said.contains(words), "{said}");
    }
    let single = frames.join(script.file_name(0));
    let output = run(&["measure", single.to_str().expect("UTF-8")]);
    assert_eq!(output.status.code(), Some(1));
    let table = stdout(&output);
    assert!(
        table.contains("The sweep has 1 usable frame, and"),
        "{table}"
    );
    assert!(!table.contains("distances"), "{table}");
}

/// What has no end, or waits for somebody who never comes, is not read: pipes, sockets, devices, links to them.
#[cfg(unix)]
#[test]
fn only_files_are_read() {
    use std::os::unix::fs::symlink;
    let place = tempfile::tempdir().expect("a folder");
    write_frames(&small(85.0, 2.0, 5), place.path());
    let inside = |name: &str| place.path().join(name).to_str().expect("UTF-8").to_owned();
    let path = place.path().to_str().expect("UTF-8");
    let pipe = inside("SWP_0098.JPG");
    let made = std::process::Command::new("mkfifo").arg(&pipe).status();
    assert!(made.expect("mkfifo can be run").success());
    symlink("/dev/zero", inside("SWP_0099.JPG")).expect("a link");
    let (code, report) = json(&["measure", path, "--format", "json"]);
    assert_eq!(code, Some(0));
    assert_eq!(report["sweeps"][0]["frame_count"], 5);
    let skipped = report["skipped"].as_array().expect("a list");
    assert_eq!(skipped.len(), 2, "{skipped:?}");
    for skipped in skipped {
        let reason = skipped["reason"].as_str().expect("words");
        assert!(reason.contains("only files are read"), "{reason}");
    }
    for (arguments, words) in [
        (vec!["measure", &pipe], "only files are read"),
        (vec!["measure", "/dev/zero"], "only files are read"),
        (
            vec!["measure", path, "--distances", "/dev/zero"],
            "more than 4 MB",
        ),
        (vec!["restore", &pipe, "--data", &inside("data")], "a pipe"),
    ] {
        let refused = run(&arguments);
        let said = stderr(&refused);
        assert_eq!(refused.status.code(), Some(2), "{arguments:?}: {said}");
        assert!(said.contains(words), "{arguments:?}: {said}");
    }
}

/// A folder of raw files beside the pictures fills no screen.
#[test]
fn many_files_passed_over_are_counted() {
    let place = tempfile::tempdir().expect("a folder");
    write_frames(&small(85.0, 2.0, 5), place.path());
    for number in 0..40 {
        fs::write(place.path().join(format!("SWP_{number:04}.txt")), b"x").expect("a file");
    }
    let said = stderr(&run(&["measure", place.path().to_str().expect("UTF-8")]));
    assert_eq!(said.lines().count(), 13, "{said}");
    assert!(said.contains("28 files more passed over"), "{said}");
}

/// What a finding asks for is named by its option on a terminal, and by no interface where programs read it.
#[test]
fn what_a_finding_asks_for_has_an_option() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut script = small(85.0, 2.0, 8);
    script.capture.write_metadata = false;
    write_frames(&script, folder.path());
    let path = folder.path().to_str().expect("UTF-8");
    let table = stdout(&run(&["measure", path]));
    let options = table
        .lines()
        .find_map(|line| line.trim().strip_prefix("Options for that: "))
        .unwrap_or_else(|| panic!("{table}"));
    let help = stdout(&run(&["measure", "--help"]));
    for option in options.split(", ") {
        assert!(help.contains(&format!("{option} <")), "{option}: {help}");
    }
    let document = stdout(&run(&["measure", path, "--format", "json"]));
    assert!(!document.contains("--"), "{document}");
}

/// A data folder that somebody works with gets no invented lenses and no reviewer of the demo's, whom a second run would take for its own.
#[test]
fn the_demo_leaves_a_folder_in_use_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let data = folder.path().to_str().expect("UTF-8");
    let add = [
        "account", "add", "Mara", "--role", "reviewer", "--data", data,
    ];
    let added = run_with_input(&add, "tape on black cloth\n");
    assert!(added.status.success(), "{}", stderr(&added));
    for _ in 0..2 {
        let refused = run(&["demo", "--listen", "127.0.0.1:0", "--data", data]);
        assert_eq!(refused.status.code(), Some(2));
        let said = stderr(&refused);
        assert!(said.contains("in use") && said.contains("--data"), "{said}");
    }
}
