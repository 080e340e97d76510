//! Server-sent events of a sweep's measuring.

use std::time::Duration;

use sqlx::{Connection as _, SqliteConnection};
use tokio::task::JoinHandle;

use super::bench::{Bench, SignedIn};
use super::client::{Answer, Request};

#[tokio::test]
async fn the_measuring_is_told_until_it_is_done() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("Mara").await;
    let sweep = mara.uploaded_sweep().await;
    let path = format!("/api/v1/sweeps/{sweep}/events");
    let told = mara.get(&path).await;
    assert_eq!(told.status, 200, "{}", told.text());
    assert_eq!(told.header("content-type"), Some("text/event-stream"));
    let text = told.text();
    let last = text.trim_end().rsplit("\n\n").next().expect("an event");
    assert!(last.starts_with("event: done\n"), "{text}");
    assert!(last.contains("\"measuring\":false"), "{text}");
    assert!(last.contains("\"state\":\"done\""), "{text}");
    let odd = bench.signed_in("Odd").await;
    assert_eq!(odd.get(&path).await.status, 404, "drafts of others");
    assert_eq!(bench.get(&path).await.status, 401);
}

/// A stream of events that has begun.
async fn listening(bench: &Bench, listener: &SignedIn<'_>, sweep: i64) -> JoinHandle<Answer> {
    let listening = Request::new("GET", &format!("/api/v1/sweeps/{sweep}/events"))
        .header("cookie", &listener.cookie)
        .send(bench.at);
    let listening = tokio::spawn(listening);
    tokio::time::sleep(Duration::from_millis(300)).await;
    listening
}

#[tokio::test]
async fn an_open_stream_does_not_hold_up_the_shutdown() {
    let bench = Bench::start_without_worker().await;
    let mara = bench.signed_in("Mara").await;
    let sweep = mara.uploaded_sweep().await;
    let listening = listening(&bench, &mara, sweep).await;
    assert!(!listening.is_finished(), "it is open while the sweep waits");
    // The server closes what is left after 10 s; the stream has to end long before by itself.
    tokio::time::timeout(Duration::from_secs(5), bench.stop())
        .await
        .expect("it stops at once");
    let told = listening.await.expect("no panic").text();
    assert!(told.contains("event: progress"), "{told}");
    assert!(!told.contains("event: done"), "{told}");
}

/// Changes the database under the server, without the checks of its columns.
async fn damage(bench: &Bench, sql: &'static str) {
    let path = bench.app.config.folder.database().expect("a data folder");
    let address = format!("sqlite://{}", path.display());
    let mut database = SqliteConnection::connect(&address).await.expect("a file");
    for sql in ["PRAGMA ignore_check_constraints = ON", sql] {
        let done = sqlx::query(sql).execute(&mut database).await;
        done.expect("valid SQL");
    }
    database.close().await.expect("closed");
}

#[tokio::test]
async fn a_stream_goes_on_where_the_database_was_away_for_a_moment() {
    let bench = Bench::start_without_worker().await;
    let mara = bench.signed_in("Mara").await;
    let sweep = mara.uploaded_sweep().await;
    let listening = listening(&bench, &mara, sweep).await;
    damage(&bench, "UPDATE jobs SET state = 'unreadable'").await;
    // The stream looks four times a second.
    tokio::time::sleep(Duration::from_millis(600)).await;
    damage(&bench, "UPDATE jobs SET state = 'done'").await;
    let told = tokio::time::timeout(Duration::from_secs(5), listening).await;
    let told = told.expect("it ends").expect("no panic").text();
    assert!(told.contains("event: done"), "{told}");
}

/// Progress and pictures are asked for all the time: neither takes the measurement, which is all frames and targets.
#[tokio::test]
async fn progress_and_pictures_do_not_read_the_measurement() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("Mara").await;
    let sweep = mara.measured_sweep().await;
    damage(&bench, "UPDATE results SET document = 'unreadable'").await;
    let status = async |path: &str| mara.get(path).await.status;
    assert_eq!(status(&format!("/sweeps/{sweep}")).await, 500);
    for path in [
        format!("/sweeps/{sweep}/progress"),
        format!("/api/v1/sweeps/{sweep}/events"),
        format!("/sweeps/{sweep}/frames/1.jpg?side=320"),
        format!("/sweeps/{sweep}/frames/1/original"),
    ] {
        assert_eq!(status(&path).await, 200, "{path}");
    }
    for path in ["0.jpg", "9.jpg", "-1.jpg", "x.jpg", "9/original"] {
        let path = format!("/sweeps/{sweep}/frames/{path}");
        assert_eq!(status(&path).await, 404, "{path}");
    }
}
