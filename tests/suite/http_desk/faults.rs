//! Power cuts: the server is killed without warning at many moments of an evening; what it acknowledged is there.

use std::collections::BTreeSet;
use std::net::SocketAddr;
use std::path::Path;
use std::time::Duration;

use serde_json::{Value, json};

use super::bench::{Bench, frames, lens};
use super::client::{Answer, Request};
use crate::support::program::{Server, run, run_with_input, stderr, stdout};

/// Kills at most this many times before all must have arrived: far more than it takes.
const MOST_KILLS: u64 = 80;

/// A moment after the start of the server's work, another one each time.
fn moment(turn: u64) -> Duration {
    Duration::from_millis(2 + (turn * turn * 7 + turn * 3) % 23)
}

/// Makes an account on a fresh data folder; the token of its scripts.
fn token(data: &str) -> String {
    let account = [
        "account", "add", "Mara", "--role", "reviewer", "--data", data,
    ];
    let added = run_with_input(&account, "tape on black cloth\n");
    assert!(added.status.success(), "{}", stderr(&added));
    let made = run(&[
        "token",
        "add",
        "bench",
        "--account",
        "Mara",
        "--scope",
        "publish",
        "--data",
        data,
    ]);
    assert!(made.status.success(), "{}", stderr(&made));
    stdout(&made).trim().to_owned()
}

/// Somebody who sends to a server that may be gone.
struct Sender<'a> {
    token: &'a str,
    data: &'a Path,
}

impl Sender<'_> {
    fn start(&self) -> (Server, SocketAddr) {
        let server = Server::start(self.data);
        let at = server.address.trim_start_matches("http://").parse();
        (server, at.expect("an address"))
    }

    async fn send(&self, to: SocketAddr, request: Request) -> std::io::Result<Answer> {
        let bearer = format!("Bearer {}", self.token);
        request.header("authorization", &bearer).try_send(to).await
    }

    /// Sends it again and again to servers that are killed, until one of them has answered.
    async fn until_answered(&self, request: impl Fn() -> Request) -> Answer {
        for turn in 0..MOST_KILLS {
            let (server, at) = self.start();
            let sending = self.send(at, request());
            let answered = tokio::time::timeout(moment(turn), sending).await;
            drop(server);
            if let Ok(Ok(answer)) = answered {
                return answer;
            }
        }
        panic!("{MOST_KILLS} servers were killed before one answered");
    }
}

/// Everything but what says which row of which database it is.
fn result_only(mut document: Value) -> Value {
    let fields = document.as_object_mut().expect("an object");
    for own in ["id", "name", "measured_at", "uploaded_at"] {
        fields.remove(own);
    }
    document
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn killed_at_many_moments_it_keeps_what_it_acknowledged() {
    let folder = tempfile::tempdir().expect("a folder");
    let data = folder.path().join("data");
    let data_name = data.to_str().expect("UTF-8");
    let token = token(data_name);
    let sender = Sender {
        token: &token,
        data: &data,
    };

    let made = sender
        .until_answered(|| Request::new("POST", "/api/v1/lenses").json(&lens()))
        .await;
    // A lens may have been made by a server that was killed before it could say so.
    assert!(made.status == 201 || made.status == 409, "{}", made.text());
    let opened = sender
        .until_answered(|| {
            Request::new("POST", "/api/v1/uploads").json(&json!({"lens": "ostrel-tern-50"}))
        })
        .await;
    assert_eq!(opened.status, 201, "{}", opened.text());
    let upload = format!("/api/v1/uploads/{}", opened.json()["id"]);

    let mut acknowledged = BTreeSet::new();
    let mut kills = 0;
    while acknowledged.len() < frames().len() {
        assert!(kills < MOST_KILLS, "only {acknowledged:?} arrived");
        let (server, at) = sender.start();
        let sending = async {
            for (name, bytes) in frames() {
                if acknowledged.contains(name) {
                    continue;
                }
                let put = Request::new("PUT", &format!("{upload}/files/{name}"))
                    .body("application/octet-stream", bytes.as_slice());
                let Ok(answer) = sender.send(at, put).await else {
                    return;
                };
                assert!(matches!(answer.status, 200 | 201), "{}", answer.text());
                acknowledged.insert(name.clone());
            }
        };
        // Ends in the middle of a file, between two, or after the last.
        let _ended = tokio::time::timeout(moment(kills), sending).await;
        drop(server);
        kills += 1;
        let (_server, at) = sender.start();
        let there = sender.send(at, Request::new("GET", &upload)).await;
        let there = there.expect("a server that nobody kills").json();
        let files = there["files"].as_array().expect("a list");
        for name in &acknowledged {
            let (_, bytes) = frames()
                .iter()
                .find(|(known, _)| known == name)
                .expect("sent");
            assert!(
                files
                    .iter()
                    .any(|file| file["name"] == **name && file["bytes"] == bytes.len()),
                "{name} was acknowledged: {there}"
            );
        }
    }
    assert!(kills > 1, "nothing was interrupted");

    // Killed while the sweeps are made, and again while they are measured; a third time would set the sweep aside.
    let finish = format!("{upload}/finish");
    let finish = || Request::new("POST", &finish).json(&json!({}));
    let (server, at) = sender.start();
    let _cut = tokio::time::timeout(Duration::from_millis(8), sender.send(at, finish())).await;
    drop(server);
    let (server, at) = sender.start();
    let finished = sender.send(at, finish()).await.expect("answers");
    assert_eq!(finished.status, 200, "{}", finished.text());
    let sweep = finished.json()["sweeps"][0].clone();
    tokio::time::sleep(Duration::from_millis(30)).await;
    drop(server);

    let (server, at) = sender.start();
    let result = format!("/sweeps/{sweep}/result.json");
    let mut told = sender
        .send(at, Request::new("GET", &result))
        .await
        .expect("answers");
    // The next server goes on at once.
    for _ in 0..400 {
        if told.status == 200 {
            break;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
        told = sender
            .send(at, Request::new("GET", &result))
            .await
            .expect("answers");
    }
    assert_eq!(told.status, 200, "{}", told.text());
    let bench = Bench::start().await;
    let mara = bench.signed_in("Mara").await;
    let calm = mara.measured_sweep().await;
    let calm = mara.get(&format!("/sweeps/{calm}/result.json")).await;
    assert_eq!(result_only(told.json()), result_only(calm.json()));

    assert_eq!(server.stop(), Some(0));
    let doctor = run(&["doctor", "--data", data_name]);
    assert!(doctor.status.success(), "{}", stdout(&doctor));
}
