//! Server-sent events of a sweep's measuring.

use std::time::Duration;

use super::bench::Bench;
use super::client::Request;

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

#[tokio::test]
async fn an_open_stream_does_not_hold_up_the_shutdown() {
    let bench = Bench::start_without_worker().await;
    let mara = bench.signed_in("Mara").await;
    let sweep = mara.uploaded_sweep().await;
    let listening = Request::new("GET", &format!("/api/v1/sweeps/{sweep}/events"))
        .header("cookie", &mara.cookie)
        .send(bench.at);
    let listening = tokio::spawn(listening);
    tokio::time::sleep(Duration::from_millis(300)).await;
    assert!(!listening.is_finished(), "it is open while the sweep waits");
    // The server closes what is left after 10 s; the stream has to end long before by itself.
    tokio::time::timeout(Duration::from_secs(5), bench.stop())
        .await
        .expect("it stops at once");
    let told = listening.await.expect("no panic").text();
    assert!(told.contains("event: progress"), "{told}");
    assert!(!told.contains("event: done"), "{told}");
}
