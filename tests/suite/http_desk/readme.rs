//! The README's worked example, run as it stands there.

use std::process::Command;

use breathmark::store::{TokenDraft, TokenScope};
use breathmark::web::secret;

use super::bench::{Bench, frames, lens};

/// The block of the README that uploads.
fn example() -> String {
    let readme = include_str!("../../../README.md");
    let blocks = readme.split("```sh\n").skip(1);
    let block = blocks
        .filter_map(|rest| rest.split("```").next())
        .find(|block| block.contains("/api/v1/uploads"));
    block.expect("the README shows an upload").to_owned()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_folder_is_uploaded_and_published_by_curl_in_a_loop() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("Mara").await;
    assert_eq!(mara.post_json("/api/v1/lenses", lens()).await.status, 201);
    let account = bench.app.store.account_by_name("Mara").await;
    let account = account.expect("readable").expect("made by the bench").id;
    let token = secret::new().expect("random bytes");
    let now = breathmark::store::now_ms();
    let draft = TokenDraft::lasting(account, "bench".into(), TokenScope::Publish, 1.0, now);
    let store = &bench.app.store;
    let added = store.add_token(&draft, &secret::digest(&token), now).await;
    added.expect("a new token");

    let folder = tempfile::tempdir().expect("a folder");
    let evening = folder.path().join("evening");
    std::fs::create_dir(&evening).expect("made");
    for (name, bytes) in frames() {
        std::fs::write(evening.join(name), bytes).expect("written");
    }
    std::fs::write(folder.path().join("bench.token"), &token).expect("written");
    let site = "site=https://breathing.example";
    let script = example();
    assert!(script.contains(site), "{script}");
    let script = script.replace(site, &format!("site=http://{}", bench.at));
    let ran = tokio::task::spawn_blocking(move || {
        Command::new("bash")
            .args(["-euo", "pipefail", "-c", &script])
            .current_dir(folder.path())
            .output()
    });
    let ran = ran.await.expect("no panic").expect("bash is there");
    let said = String::from_utf8_lossy(&ran.stderr);
    assert!(
        ran.status.success(),
        "{said}{}",
        String::from_utf8_lossy(&ran.stdout)
    );
    let published = bench.get("/api/v1/lenses/ostrel-tern-50").await;
    assert_eq!(published.status, 200, "{}", published.text());
}
