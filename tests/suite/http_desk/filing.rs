//! Which lens a sweep is filed under: a card with several lenses, and a sweep that is moved.

use breathmark::simulate::{Scene, SweepScript};
use serde_json::json;

use super::bench::{Bench, SignedIn, lens};
use super::client::Request;

/// Frames of a lens that the files call so.
fn frames(model: &str, focal_mm: f64, first: u32) -> Vec<(String, Vec<u8>)> {
    let mut script = SweepScript::plain(focal_mm, 2.4, 8);
    script.scene = Scene::two_targets(480, 320);
    script.lens.model = model.to_owned();
    script.capture.first_number = first;
    script.capture.start += time::Duration::hours(i64::from(first));
    (0..script.frames)
        .map(|frame| {
            let bytes = script.jpeg(frame).expect("rendering to memory");
            (script.file_name(frame), bytes)
        })
        .collect()
}

async fn lens_of(person: &SignedIn<'_>, sweep: i64) -> String {
    let sweep = person.bench.app.store.sweep(sweep).await.expect("readable");
    sweep.expect("there").lens.slug
}

async fn publish(person: &SignedIn<'_>, sweep: i64) -> u16 {
    person.wait_until_measured(sweep).await;
    let answer = person.post(&format!("/sweeps/{sweep}/publish"), &[]).await;
    answer.status
}

#[tokio::test]
async fn a_card_with_several_lenses_is_sorted_by_the_names_that_are_known() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    // The bench's lens is known by its name once a sweep of it is public.
    let tern = mara.uploaded(&frames("Tern 50", 50.0, 1)).await;
    assert_eq!(publish(&mara, tern).await, 303);
    let mut other = lens();
    other["model"] = json!("Gannet 85");
    other["focal_min_mm"] = json!(85);
    assert_eq!(mara.post_json("/api/v1/lenses", other).await.status, 201);

    let card = [frames("Tern 50", 50.0, 100), frames("Gannet 85", 85.0, 200)].concat();
    let opened = json!({"lens": "ostrel-gannet-85"});
    let opened = mara.post_json("/api/v1/uploads", opened).await.json();
    let upload = format!("/api/v1/uploads/{}", opened["id"]);
    for (name, bytes) in &card {
        let put = mara.put(&format!("{upload}/files/{name}"), bytes).await;
        assert_eq!(put.status, 201, "{}", put.text());
    }
    let finished = mara
        .post_json(&format!("{upload}/finish"), json!({}))
        .await
        .json();
    let sweeps: Vec<i64> = serde_json::from_value(finished["sweeps"].clone()).expect("keys");
    let mut lenses = Vec::new();
    for sweep in &sweeps {
        lenses.push(lens_of(&mara, *sweep).await);
    }
    assert_eq!(
        lenses,
        ["ostrel-gannet-85", "ostrel-tern-50"],
        "chosen, and known"
    );

    // The same bytes again change nothing, finished or not; other files come too late.
    let (name, bytes) = &card[0];
    assert_eq!(
        mara.put(&format!("{upload}/files/{name}"), bytes)
            .await
            .status,
        200
    );
    let late = mara.put(&format!("{upload}/files/late.jpg"), bytes).await;
    assert_eq!(late.status, 409, "{}", late.text());
}

#[tokio::test]
async fn a_sweep_is_moved_to_the_lens_that_it_is_of() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let sweep = mara.measured_sweep().await;
    let mut other = lens();
    other["model"] = json!("Tern 50 Mark II");
    let made = mara.post_json("/api/v1/lenses", other).await.json();
    let other = made["slug"].as_str().expect("a slug");
    let at = format!("/sweeps/{sweep}/lens");
    assert!(
        mara.get(&format!("/sweeps/{sweep}"))
            .await
            .text()
            .contains(&at)
    );
    for into in ["", "no-such-lens", "ostrel-tern-50"] {
        assert_eq!(
            mara.post(&at, &[("into", into)]).await.status,
            422,
            "{into}"
        );
    }
    let moved = mara.post(&at, &[("into", other)]).await;
    assert_eq!(
        moved.location(),
        format!("/sweeps/{sweep}"),
        "{}",
        moved.text()
    );
    assert_eq!(lens_of(&mara, sweep).await, other);

    assert_eq!(publish(&mara, sweep).await, 303);
    let public = mara.post(&at, &[("into", "ostrel-tern-50")]).await;
    assert_eq!(public.status, 422);
    assert!(
        public.text().contains("withdraw it first"),
        "{}",
        public.text()
    );
    let path = format!("/api/v1/sweeps/{sweep}");
    let patch = |slug: &str| mara.send(Request::new("PATCH", &path).json(&json!({"lens": slug})));
    assert_eq!(patch("ostrel-tern-50").await.status, 409);
    assert_eq!(patch("no-such-lens").await.status, 422);
    let reason = [("withdraw_reason", "another lens")];
    mara.post(&format!("/sweeps/{sweep}/withdraw"), &reason)
        .await;
    assert_eq!(patch("ostrel-tern-50").await.status, 200);
    assert_eq!(lens_of(&mara, sweep).await, "ostrel-tern-50");
    assert_eq!(publish(&mara, sweep).await, 303);
    let record = bench.get("/lenses/ostrel-tern-50.json").await.json();
    assert_eq!(record["results"][0]["sweeps"], json!([sweep]));
    let left = bench.get(&format!("/lenses/{other}.json")).await.json();
    assert_eq!(left["results"], json!([]), "nothing is left behind");
    let rows = bench.app.store.audit_rows(20).await.expect("readable");
    assert_eq!(
        rows.iter()
            .filter(|row| row.action == "sweep moved")
            .count(),
        2
    );
}
