//! The same lens and focal length shot more than once, and pictures that come more than once.

use std::fs;
use std::path::Path;

use breathmark::units::{FocusDistance, Metres};
use serde_json::Value;

use super::json;
use crate::support::program::{run, stdout};
use crate::support::sweeps::{small, write_frames};

/// A sweep of this worst shift, so many minutes into the evening.
fn shoot(
    folder: &Path,
    worst_pct: f64,
    minutes: i64,
    change: &dyn Fn(&mut breathmark::simulate::SweepScript),
) {
    let mut script = small(85.0, worst_pct, 12);
    script.capture.start += time::Duration::minutes(minutes);
    script.capture.first_number = 1 + 20 * u32::try_from(minutes).expect("a small number");
    change(&mut script);
    write_frames(&script, folder);
}

fn number(value: &Value, name: &str) -> f64 {
    value[name]
        .as_f64()
        .unwrap_or_else(|| panic!("no {name} in {value}"))
}

/// Twice the same, and once more at another focal length and with another aperture, which repeat nothing.
#[test]
fn repeats_are_taken_together() {
    let card = tempfile::tempdir().expect("a folder");
    let path = card.path().to_str().expect("UTF-8");
    shoot(card.path(), 2.4, 0, &|_| {});
    shoot(card.path(), 2.4, 5, &|script| script.seed += 1);
    shoot(card.path(), 2.4, 10, &|script| script.lens.f_number = 16.0);
    shoot(card.path(), 2.4, 15, &|script| script.lens.focal_mm = 100.0);

    let (code, report) = json(&["measure", path, "--format", "json"]);
    assert_eq!(code, Some(0));
    let sweeps = report["sweeps"].as_array().expect("sweeps");
    assert_eq!(sweeps.len(), 4);
    let repeats = report["repeats"].as_array().expect("repeats");
    assert_eq!(repeats.len(), 1, "{repeats:?}");
    let together = &repeats[0];
    let counted: Vec<&Value> = together["sweeps"]
        .as_array()
        .expect("places")
        .iter()
        .map(|place| &sweeps[usize::try_from(place.as_u64().expect("a place")).expect("small")])
        .collect();
    assert_eq!(counted.len(), 2);
    let worst: Vec<f64> = counted
        .iter()
        .map(|sweep| number(sweep, "worst_shift_pct"))
        .collect();
    let shown = number(together, "worst_shift_pct");
    assert!(
        worst[0].min(worst[1]) <= shown && shown <= worst[0].max(worst[1]),
        "{worst:?} {shown}"
    );
    // 512 px between the targets: 0.03 points are five times the noise of a centre.
    assert!((shown - 2.4).abs() < 0.03, "{shown}");
    for sweep in &counted {
        assert!(number(together, "worst_shift_u_pct") < number(sweep, "worst_shift_u_pct"));
        assert_eq!(together["focal_length_mm"], sweep["focal_length_mm"]);
    }
    assert_eq!(together["disagree"], false);
    assert_eq!(together["tolerance_outcome"], "exceeded");

    let table = stdout(&run(&["measure", path]));
    for words in [
        "Ostrel Practice at 85 mm, 2 sweeps together",
        "weighted by certainty",
        "they agree",
    ] {
        assert!(table.contains(words), "{words:?} is missing in\n{table}");
    }
    let rows = stdout(&run(&["measure", path, "--format", "csv"]));
    let mut reader = csv::Reader::from_reader(rows.as_bytes());
    let header = reader.headers().expect("a header").clone();
    let at = header
        .iter()
        .position(|name| name == "repeats_worst_shift_pct")
        .expect("a column");
    let of_repeats: Vec<String> = reader
        .records()
        .map(|row| row.expect("a row")[at].to_owned())
        .filter(|cell| !cell.is_empty())
        .collect();
    assert_eq!(of_repeats, vec![shown.to_string(); 24]);
}

/// Begun at twice the closest focus, or ended at 3 m: told, and not averaged with those that cover all of it, as on the site.
#[test]
fn a_sweep_that_covers_less_is_not_averaged() {
    let card = tempfile::tempdir().expect("a folder");
    let path = card.path().to_str().expect("UTF-8");
    shoot(card.path(), 2.4, 0, &|_| {});
    shoot(card.path(), 2.4, 5, &|script| script.seed += 1);
    shoot(card.path(), 1.2, 10, &|script| {
        script.closest_focus_m *= 2.0;
    });
    shoot(card.path(), 2.4, 15, &|script| {
        script.last = FocusDistance::At(Metres::new(3.0).expect("in range"));
    });
    let (_, report) = json(&["measure", path, "--format", "json"]);
    let together = &report["repeats"][0];
    for (list, count) in [("sweeps", 2), ("partial", 2), ("same_pictures", 0)] {
        let places = together[list].as_array().expect("places");
        assert_eq!(places.len(), count, "{list}: {together}");
    }
    let shown = number(together, "worst_shift_pct");
    // As above: five times the noise of a centre.
    assert!((shown - 2.4).abs() < 0.03, "{shown}");
    let table = stdout(&run(&["measure", path]));
    let told = table.matches("covers less of the focus range").count();
    assert_eq!(told, 2, "{table}");
}

/// 2.4 and 2.9 per cent differ by far more than either is uncertain: said everywhere, and the uncertainty holds it.
#[test]
fn repeats_that_disagree_are_named() {
    let card = tempfile::tempdir().expect("a folder");
    let path = card.path().to_str().expect("UTF-8");
    shoot(card.path(), 2.4, 0, &|_| {});
    shoot(card.path(), 2.9, 5, &|_| {});
    let (_, report) = json(&["measure", path, "--format", "json"]);
    let together = &report["repeats"][0];
    assert_eq!(together["disagree"], true);
    assert_eq!(together["findings"][0]["code"], "repeats_disagree");
    // Both are within twice of it: half of what they differ by, were both equally sure.
    let (shown, u) = (
        number(together, "worst_shift_pct"),
        number(together, "worst_shift_u_pct"),
    );
    assert!(shown - 2.4 < 2.0 * u && 2.9 - shown < 2.0 * u, "{together}");
    let message = together["findings"][0]["message"].as_str().expect("words");
    for sweep in report["sweeps"].as_array().expect("sweeps") {
        assert!(
            message.contains(sweep["name"].as_str().expect("a name")),
            "{message}"
        );
    }
    let table = stdout(&run(&["measure", path]));
    assert!(
        table.contains("WARNING: The worst shifts of repeated sweeps differ"),
        "{table}"
    );
    let rows = stdout(&run(&["measure", path, "--format", "csv"]));
    assert!(
        rows.lines().skip(1).all(|row| row.ends_with(",true")),
        "{rows}"
    );
}

/// The same files given twice are two sweeps, told apart by name, and no repeat of each other.
#[test]
fn the_same_pictures_are_no_repeat() {
    let card = tempfile::tempdir().expect("a folder");
    let (one, other) = (card.path().join("a/85"), card.path().join("b/85"));
    shoot(&one, 2.4, 0, &|_| {});
    shoot(&other, 2.4, 0, &|_| {});
    let paths = [&one, &other].map(|path| path.to_str().expect("UTF-8"));
    let (_, report) = json(&["measure", paths[0], paths[1], "--format", "json"]);
    let names: Vec<&Value> = report["sweeps"]
        .as_array()
        .expect("sweeps")
        .iter()
        .map(|sweep| &sweep["name"])
        .collect();
    assert_eq!(names, ["85", "85 (2)"]);
    assert_eq!(report["repeats"], Value::Array(Vec::new()));
}

/// A copy that was numbered far off and lost all its metadata, or came through a program that only rewrote them, is the same
/// picture and no sweep of its own.
#[test]
fn a_copy_without_metadata_counts_once() {
    let card = tempfile::tempdir().expect("a folder");
    let path = card.path().to_str().expect("UTF-8");
    shoot(card.path(), 2.4, 0, &|_| {});
    let frame = fs::read(card.path().join("SWP_0003.JPG")).expect("a frame");
    // Segments of metadata stand first; each says how long it is.
    let mut at = 2;
    while frame[at + 1] >= 0xE0 {
        at += 2 + usize::from(u16::from_be_bytes([frame[at + 2], frame[at + 3]]));
    }
    let bare = [&[0xFF, 0xD8], &frame[at..]].concat();
    assert!(bare.len() < frame.len(), "the frame has metadata");
    for name in ["AAA_0001.JPG", "SWP_9041.JPG"] {
        fs::write(card.path().join(name), &bare).expect("a copy");
    }
    let (code, report) = json(&["measure", path, "--format", "json"]);
    assert_eq!(code, Some(0));
    let sweeps = report["sweeps"].as_array().expect("sweeps");
    assert_eq!(sweeps.len(), 1);
    assert_eq!(sweeps[0]["frame_count"], 12);
    let skipped: Vec<(&str, &str)> = report["skipped"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|one| {
            let text = |name: &str| one[name].as_str().expect("words");
            (text("file"), text("reason"))
        })
        .collect();
    let said = "the same picture as SWP_0003.JPG; it counts once";
    assert_eq!(skipped, [("AAA_0001.JPG", said), ("SWP_9041.JPG", said)]);
}
