//! Backup while the server runs, and the way back, by the built program.

use std::fs;
use std::path::Path;

use super::bench::Bench;
use crate::support::program::{Server, run, stderr, stdout};

fn told(arguments: &[&str], paths: &[&Path]) -> (Option<i32>, String) {
    let mut all: Vec<&str> = arguments.to_vec();
    all.extend(paths.iter().map(|path| path.to_str().expect("UTF-8")));
    let output = run(&all);
    (
        output.status.code(),
        format!("{}{}", stdout(&output), stderr(&output)),
    )
}

#[tokio::test]
async fn a_backup_made_under_a_running_server_restores_to_the_same_pages() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("Mara").await;
    let sweep = mara.measured_sweep().await;
    let published = mara.post(&format!("/sweeps/{sweep}/publish"), &[]).await;
    assert_eq!(published.status, 303, "{}", published.text());
    let before = bench.get("/lenses/ostrel-tern-50.json").await;
    assert_eq!(before.status, 200);

    let elsewhere = tempfile::tempdir().expect("a folder");
    let file = elsewhere.path().join("evening.zip");
    let data = bench.app.config.folder.data.clone();
    let made = told(&["backup", "--data"], &[&data, &file]);
    assert_eq!(made.0, Some(0), "{}", made.1);
    assert!(made.1.contains("8 originals"), "{}", made.1);
    let again = told(&["backup", "--data"], &[&data, &file]);
    assert_eq!(again.0, Some(2), "a backup is never overwritten");
    assert!(again.1.contains("give a new name"), "{}", again.1);
    let mode = std::os::unix::fs::PermissionsExt::mode(
        &fs::metadata(&file).expect("it is there").permissions(),
    );
    assert_eq!(mode & 0o077, 0, "nobody else reads it");

    let restored = elsewhere.path().join("restored");
    let back = told(&["restore", "--data"], &[&restored, &file]);
    assert_eq!(back.0, Some(0), "{}", back.1);
    let doctor = told(&["doctor", "--data"], &[&restored]);
    assert_eq!(doctor.0, Some(0), "{}", doctor.1);
    let twice = told(&["restore", "--data"], &[&restored, &file]);
    assert_eq!(twice.0, Some(2));
    assert!(twice.1.contains("left alone"), "{}", twice.1);

    let server = Server::start(&restored);
    let at = server.address.trim_start_matches("http://");
    let at = at.parse().expect("an address");
    let after = super::client::Request::new("GET", "/lenses/ostrel-tern-50.json")
        .send(at)
        .await;
    let comparable = |answer: &super::client::Answer| {
        answer
            .text()
            .replace(&bench.at.to_string(), "HOST")
            .replace("127.0.0.1:0/", "HOST/")
            .replace(&at.to_string(), "HOST")
    };
    assert_eq!(comparable(&after), comparable(&before));

    // Every kind of harm is refused, and leaves neither a folder nor anything beside it.
    let good = fs::read(&file).expect("readable");
    let harmed = elsewhere.path().join("harmed.zip");
    let target = elsewhere.path().join("target");
    let mut harms = vec![
        ("empty", Vec::new()),
        ("no zip", b"tape on black".to_vec()),
        ("cut short", good[..good.len() / 2].to_vec()),
        ("last byte gone", good[..good.len() - 1].to_vec()),
    ];
    for part in 1..16 {
        let mut flipped = good.clone();
        // A run longer than any entry's head, where not every byte matters.
        let start = good.len() * part / 16;
        flipped[start..start + 300]
            .iter_mut()
            .for_each(|byte| *byte ^= 0x10);
        harms.push(("bits flipped", flipped));
    }
    let count = || fs::read_dir(elsewhere.path()).expect("readable").count();
    for (what, bytes) in harms {
        fs::write(&harmed, bytes).expect("writable");
        let there = count();
        let refused = told(&["restore", "--data"], &[&target, &harmed]);
        assert_eq!(refused.0, Some(2), "{what}: {}", refused.1);
        assert!(refused.1.contains("damaged"), "{what}: {}", refused.1);
        assert!(!target.exists(), "{what}");
        assert_eq!(count(), there, "{what}: nothing is left beside it");
    }
}

#[tokio::test]
async fn damage_is_not_backed_up_silently() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("Mara").await;
    mara.measured_sweep().await;
    let known = bench.app.store.originals().await.expect("readable");
    let victim = bench.app.originals.path(&known[0].0);
    fs::write(&victim, b"other bytes").expect("writable");
    let elsewhere = tempfile::tempdir().expect("a folder");
    let file = elsewhere.path().join("evening.zip");
    let data = bench.app.config.folder.data.clone();
    let refused = told(&["backup", "--data"], &[&data, &file]);
    assert_eq!(refused.0, Some(2), "{}", refused.1);
    assert!(refused.1.contains(&known[0].0) && refused.1.contains("doctor"));
    assert_eq!(fs::read_dir(elsewhere.path()).expect("readable").count(), 0);
    let doctor = told(&["doctor", "--data"], &[&data]);
    assert_eq!(doctor.0, Some(1), "{}", doctor.1);
    let named = doctor.1.lines().any(|line| {
        line.starts_with("HARM") && line.contains(&known[0].0) && line.contains("backup")
    });
    assert!(named, "{}", doctor.1);
}
