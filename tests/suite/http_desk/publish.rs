//! The page before publishing: preview, what changes, versions, doubts, pictures that were sent twice.

use breathmark::report::words;
use breathmark::simulate::{Scene, SweepScript};
use breathmark::units::Measured;
use serde_json::json;

use super::bench::{Bench, SignedIn, frames, lens};
use super::client::Request;

async fn page(reviewer: &SignedIn<'_>, path: &str) -> String {
    let answer = reviewer.get(path).await;
    assert_eq!(answer.status, 200, "{path}: {}", answer.text());
    answer.text()
}

/// What a page says, from its heading on. Moments are cut down to their day: publishing is later than its preview.
fn content(page: &str) -> String {
    const MOMENT: &str = "datetime=\"";
    let main = page.split_once("<h1>").expect("a heading").1;
    let main = main.split_once("<footer").expect("a foot").0;
    let mut pieces = main.split(MOMENT);
    let mut content = pieces.next().unwrap_or_default().to_owned();
    for piece in pieces {
        let (moment, rest) = piece.split_once('"').expect("a whole attribute");
        content += &format!("{MOMENT}{}\"{rest}", &moment[.."2026-11-26".len()]);
    }
    content
}

#[tokio::test]
async fn the_preview_is_the_page_and_previewing_publishes_nothing() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let sweep = mara.measured_sweep().await;
    let at = format!("/sweeps/{sweep}");
    let publish = page(&mara, &format!("{at}/publish")).await;
    for words in [
        "becomes version 1",
        "not on the page",
        "tolerance distance",
        "<button>Publish as version 1</button>",
    ] {
        assert!(publish.contains(words), "{words}: {publish}");
    }
    let preview = mara.get(&format!("{at}/publish/preview")).await;
    assert_eq!(preview.header("cache-control"), Some("private, no-store"));
    let preview = preview.text();
    assert!(preview.contains("Back to publishing"), "{preview}");
    assert_eq!(bench.get(&at).await.status, 404, "still a draft");
    let before = bench.get("/lenses/ostrel-tern-50").await.text();
    assert!(before.contains("Not measured yet"), "{before}");
    let rows = bench.app.store.audit_rows(10).await.expect("readable");
    assert!(rows.iter().all(|row| row.action != "publish"), "{rows:?}");
    for stranger in ["odd", "nobody"] {
        for path in [format!("{at}/publish"), format!("{at}/publish/preview")] {
            let status = match stranger {
                "odd" => bench.signed_in("odd").await.get(&path).await.status,
                _ => bench.get(&path).await.status,
            };
            assert!(
                status == 404 || status == 401,
                "{stranger} {path}: {status}"
            );
        }
    }

    let published = mara.post(&format!("{at}/publish"), &[]).await;
    assert_eq!(published.location(), format!("{at}/publish"));
    let public = page(&mara, "/lenses/ostrel-tern-50").await;
    assert_eq!(content(&preview), content(&public));
}

#[tokio::test]
async fn a_change_after_publishing_makes_a_version_and_the_old_one_stays_readable() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let sweep = mara.measured_sweep().await;
    let at = format!("/sweeps/{sweep}");
    assert_eq!(mara.post(&format!("{at}/publish"), &[]).await.status, 303);
    let again = page(&mara, &format!("{at}/publish")).await;
    assert!(
        again.contains("Readers see the newest result") && !again.contains("id=\"reasons\""),
        "{again}"
    );
    let noted = json!({"notes": "for reviewers only"});
    let path = format!("/api/v1/sweeps/{sweep}");
    mara.send(Request::new("PATCH", &path).json(&noted)).await;
    mara.wait_until_measured(sweep).await;
    let again = mara.post(&format!("{at}/publish"), &[]).await;
    assert_eq!(again.status, 409, "notes are not for readers");

    // Conditions alone change no number, but the place in the ranking.
    let corrected = json!({"distortion_correction": "on"});
    mara.send(Request::new("PATCH", &path).json(&corrected))
        .await;
    mara.wait_until_measured(sweep).await;
    let changed = page(&mara, &format!("{at}/publish")).await;
    for words in [
        "becomes version 2; older versions stay readable",
        "Distortion correction: published as “not stated”, now “on”",
        "Every frame, finding and figure is the same",
        "distortion correction on",
    ] {
        assert!(changed.contains(words), "{words}: {changed}");
    }
    assert_eq!(mara.post(&format!("{at}/publish"), &[]).await.status, 303);
    let newest = bench.get(&at).await.text();
    assert!(
        newest.contains("<dt>Distortion correction</dt><dd>on</dd>"),
        "{newest}"
    );
    let first = bench.get(&format!("{at}/versions/1")).await;
    assert_eq!(first.status, 200);
    let first = first.text();
    assert!(first.contains("The newest version is 2"), "{first}");
    assert!(
        first.contains("<dt>Distortion correction</dt><dd>not stated</dd>"),
        "{first}"
    );
    assert!(
        !first.contains("for reviewers only") && !first.contains("/settings"),
        "{first}"
    );
    assert_eq!(bench.get(&format!("{at}/versions/3")).await.status, 404);

    let reason = [("withdraw_reason", "the mount was loose")];
    assert_eq!(
        mara.post(&format!("{at}/withdraw"), &reason).await.status,
        303
    );
    for path in [at.clone(), format!("{at}/versions/1")] {
        let gone = bench.get(&path).await;
        assert_eq!(gone.status, 410, "{path}");
        assert!(
            gone.text().contains("the mount was loose"),
            "{}",
            gone.text()
        );
    }
    let lens = bench.get("/lenses/ostrel-tern-50").await.text();
    assert!(lens.contains("the mount was loose"), "{lens}");

    // Its reviewer is told too, and publishing anew brings no withdrawn version back.
    let desk = page(&mara, "/desk").await;
    assert!(desk.contains("<h2>Withdrawn</h2>"), "{desk}");
    for path in [at.clone(), format!("{at}/publish")] {
        let told = page(&mara, &path).await;
        assert!(told.contains("the mount was loose"), "{path}: {told}");
        assert!(!told.contains("draft, seen by you only"), "{path}: {told}");
    }
    let offered = page(&mara, &format!("{at}/publish")).await;
    assert!(
        offered.contains("versions that were withdrawn stay so"),
        "{offered}"
    );
    assert_eq!(mara.post(&format!("{at}/publish"), &[]).await.status, 303);
    let gone = bench.get(&format!("{at}/versions/1")).await;
    assert_eq!(gone.status, 410, "{}", gone.text());
    assert!(
        gone.text().contains("the mount was loose"),
        "{}",
        gone.text()
    );
}

#[tokio::test]
async fn the_same_card_sent_twice_is_no_repeat() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let (first, second) = (mara.measured_sweep().await, mara.measured_sweep().await);
    assert_ne!(first, second);
    for sweep in [first, second] {
        let published = mara.post(&format!("/sweeps/{sweep}/publish"), &[]).await;
        assert_eq!(published.status, 303, "{}", published.text());
    }
    let record = bench.get("/lenses/ostrel-tern-50.json").await.json();
    let result = &record["results"][0];
    assert_eq!(result["sweep_count"], 1);
    assert_eq!(result["sweeps"], json!([second]), "the newest counts");
    assert_eq!(result["same_pictures"], json!([first]));
    let alone = bench
        .app
        .store
        .sweep(second)
        .await
        .expect("readable")
        .expect("there");
    let u = alone
        .result
        .expect("measured")
        .measurement
        .summary
        .expect("a result")
        .worst_shift_pct
        .std_error;
    let told_u = result["worst_shift_u_pct"].as_f64().expect("a number");
    // A mean of one goes through 1/√(1/u²), which may turn the last bit; two would be surer by a third.
    assert!(
        (told_u / u - 1.0).abs() < 1e-12,
        "no surer than one sweep: {told_u} {u}"
    );
    let beside = page(&mara, &format!("/sweeps/{first}")).await;
    assert!(
        beside.contains("Repeats side by side") && beside.contains("same pictures, not counted"),
        "{beside}"
    );
    let told = page(&mara, &format!("/sweeps/{first}/publish")).await;
    assert!(told.contains("same pictures, byte for byte"), "{told}");
    let lens = bench.get("/lenses/ostrel-tern-50").await.text();
    assert!(
        lens.contains("holds the same pictures and is not counted again"),
        "{lens}"
    );
    // With the newest one gone, the other counts again.
    let reason = [("withdraw_reason", "sent twice")];
    mara.post(&format!("/sweeps/{second}/withdraw"), &reason)
        .await;
    let record = bench.get("/lenses/ostrel-tern-50.json").await.json();
    assert_eq!(record["results"][0]["sweeps"], json!([first]));
}

#[tokio::test]
async fn frames_of_another_lens_or_focal_length_are_doubted() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let sweep = mara.measured_sweep().await;
    for path in [
        format!("/sweeps/{sweep}"),
        format!("/sweeps/{sweep}/publish"),
    ] {
        let plain = page(&mara, &path).await;
        assert!(!plain.contains("Look again"), "{plain}");
    }
    mara.post(&format!("/sweeps/{sweep}/publish"), &[]).await;

    // The same frames under a lens of another name and range.
    let mut other = lens();
    other["maker"] = json!("Tindra");
    other["model"] = json!("Sound 85");
    other["focal_min_mm"] = json!(85);
    let made = mara.post_json("/api/v1/lenses", other).await;
    assert_eq!(made.status, 201, "{}", made.text());
    let slug = made.json()["slug"].clone();
    let opened = mara
        .post_json("/api/v1/uploads", json!({"lens": slug}))
        .await;
    let upload = opened.json()["id"].as_i64().expect("a key");
    for (name, bytes) in frames() {
        mara.put(&format!("/api/v1/uploads/{upload}/files/{name}"), bytes)
            .await;
    }
    let finished = mara
        .post_json(&format!("/api/v1/uploads/{upload}/finish"), json!({}))
        .await;
    let sweep = finished.json()["sweeps"][0].as_i64().expect("one sweep");
    mara.wait_until_measured(sweep).await;
    for path in [
        format!("/sweeps/{sweep}"),
        format!("/sweeps/{sweep}/publish"),
    ] {
        let doubted = page(&mara, &path).await;
        for words in [
            "which so far was Ostrel Tern 50, but this sweep is filed under Tindra Sound 85",
            "The focal length is 50 mm, and Tindra Sound 85 has 85 mm",
        ] {
            assert!(doubted.contains(words), "{path}: {words}: {doubted}");
        }
    }
}

/// The desk tells of repeats what the page of the lens tells: one figure, and that they disagree.
#[tokio::test]
async fn the_desk_and_the_lens_page_tell_the_same_of_repeats_that_disagree() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let mut script = SweepScript::plain(50.0, -3.0, 8);
    script.scene = Scene::two_targets(480, 320);
    // Else the frame at infinity, where nothing shifts, would be the same picture.
    script.seed = 7;
    let wider: Vec<(String, Vec<u8>)> = (0..script.frames)
        .map(|frame| {
            let bytes = script.jpeg(frame).expect("rendering to memory");
            (script.file_name(frame), bytes)
        })
        .collect();
    let tighter = mara.measured_sweep().await;
    let wider = mara.uploaded(&wider).await;
    mara.wait_until_measured(wider).await;
    for sweep in [tighter, wider] {
        let published = mara.post(&format!("/sweeps/{sweep}/publish"), &[]).await;
        assert_eq!(published.status, 303, "{}", published.text());
    }
    let record = bench.get("/lenses/ostrel-tern-50.json").await.json();
    let result = &record["results"][0];
    assert_eq!(result["repeats_disagree"], true, "{result}");
    let told = |name: &str| result[name].as_f64().expect("a number");
    let figure = words::shift(Measured::new(
        told("worst_shift_pct"),
        told("worst_shift_u_pct"),
    ));
    for sweep in [tighter, wider] {
        let beside = page(&mara, &format!("/sweeps/{sweep}")).await;
        let beside = beside.replace('\u{a0}', " ");
        assert!(
            beside.contains("They disagree by more than their uncertainties")
                && beside.contains(&format!("as uncertain as they differ: {figure} (k = 2)")),
            "{figure}: {beside}"
        );
    }
}
