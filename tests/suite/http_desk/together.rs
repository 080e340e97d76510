//! What came with one upload is published together, after a preview of the page of the lens.

use breathmark::simulate::{Scene, SweepScript};
use serde_json::json;

use super::bench::{Bench, SignedIn, frames, lens};
use super::client::Request;

/// The sweep of all tests, and one more at 35 mm on the same card.
fn card() -> Vec<(String, Vec<u8>)> {
    let mut script = SweepScript::plain(35.0, -1.0, 8);
    script.scene = Scene::two_targets(480, 320);
    script.capture.start += time::Duration::hours(1);
    let more = (0..script.frames).map(|frame| {
        let bytes = script.jpeg(frame).expect("rendering to memory");
        (format!("LATE_{frame:03}.JPG"), bytes)
    });
    frames().iter().cloned().chain(more).collect()
}

async fn page(reviewer: &SignedIn<'_>, path: &str) -> String {
    let answer = reviewer.get(path).await;
    assert_eq!(answer.status, 200, "{path}: {}", answer.text());
    answer.text()
}

async fn publish(reviewer: &SignedIn<'_>, sweeps: &[i64]) -> super::client::Answer {
    let fields: Vec<String> = sweeps.iter().map(|id| format!("sweep={id}")).collect();
    let request = Request::new("POST", "/desk/uploads/1/publish");
    let form = "application/x-www-form-urlencoded";
    reviewer.send(request.body(form, fields.join("&"))).await
}

#[tokio::test]
async fn the_sweeps_of_an_upload_are_published_together_or_not_at_all() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let first = mara.uploaded(&card()).await;
    let second = first + 1;
    for sweep in [first, second] {
        mara.wait_until_measured(sweep).await;
    }
    let arrived = page(&mara, "/desk/uploads/1").await;
    assert!(
        arrived.contains("/desk/uploads/1/publish") && arrived.contains("+2.00"),
        "{arrived}"
    );
    let offered = page(&mara, "/desk/uploads/1/publish").await;
    for words in [
        "tighter by 2.00",
        "wider by 1.00",
        "not on the page",
        "Look again",
    ] {
        assert!(offered.contains(words), "{words}: {offered}");
    }
    assert!(
        offered.contains(&format!("value=\"{second}\" checked")),
        "{offered}"
    );

    for nothing in [vec![], vec![first, 999]] {
        assert_eq!(publish(&mara, &nothing).await.status, 409, "{nothing:?}");
        assert_eq!(
            bench.get("/api/v1/sweeps/1").await.status,
            404,
            "nothing is public"
        );
    }
    let preview = format!("/desk/uploads/1/publish/preview?sweep={first}&sweep={second}");
    let preview = page(&mara, &preview).await;
    assert!(preview.contains("Back to publishing 2 sweeps"), "{preview}");
    assert_eq!(
        bench.get("/api/v1/sweeps/1").await.status,
        404,
        "a preview publishes nothing"
    );

    assert_eq!(publish(&mara, &[first]).await.location(), "/desk/uploads/1");
    let left = page(&mara, "/desk/uploads/1/publish").await;
    assert!(left.contains("Its newest result is public"), "{left}");
    assert_eq!(
        publish(&mara, &[first, second]).await.status,
        409,
        "all or none"
    );
    assert_eq!(publish(&mara, &[second]).await.status, 303);
    let public = bench.get("/lenses/ostrel-tern-50").await.text();
    for row in ["+2.00", "−1.00"] {
        assert!(
            public.contains(row) && preview.contains(row),
            "{row}: {public}"
        );
    }
    let done = page(&mara, "/desk/uploads/1/publish").await;
    assert!(done.contains("No sweep of this upload waits"), "{done}");
    let rows = bench.app.store.audit_rows(10).await.expect("readable");
    assert_eq!(
        rows.iter().filter(|row| row.action == "publish").count(),
        2,
        "{rows:?}"
    );
}

/// Opens an upload of a lens, sends frames that state nothing and waits for the result; upload and sweep.
async fn mute_sweep(reviewer: &SignedIn<'_>, lens: serde_json::Value) -> (i64, i64) {
    let made = reviewer.post_json("/api/v1/lenses", lens).await;
    assert_eq!(made.status, 201, "{}", made.text());
    let slug = json!({"lens": made.json()["slug"]});
    let opened = reviewer.post_json("/api/v1/uploads", slug).await;
    let upload = opened.json()["id"].as_i64().expect("a key");
    let mut script = SweepScript::plain(50.0, 2.0, 8);
    script.scene = Scene::two_targets(480, 320);
    script.capture.write_metadata = false;
    // Other pictures than those of the other lens.
    script.picture.jpeg_quality -= u8::try_from(upload).expect("small");
    for frame in 0..script.frames {
        let path = format!("/api/v1/uploads/{upload}/files/{}", script.file_name(frame));
        let bytes = script.jpeg(frame).expect("rendering to memory");
        assert_eq!(reviewer.put(&path, &bytes).await.status, 201);
    }
    let finish = format!("/api/v1/uploads/{upload}/finish");
    let finished = reviewer.post_json(&finish, json!({})).await;
    let sweep = finished.json()["sweeps"][0].as_i64().expect("one sweep");
    reviewer.wait_until_measured(sweep).await;
    (upload, sweep)
}

#[tokio::test]
async fn a_focal_length_that_nobody_gave_is_asked_for_and_a_prime_has_its_own() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let mut zoom = lens();
    zoom["model"] = json!("Tern 24-70");
    zoom["kind"] = json!("zoom");
    (zoom["focal_min_mm"], zoom["focal_max_mm"]) = (json!(24), json!(70));
    let (upload, sweep) = mute_sweep(&mara, zoom).await;
    let field = format!("/sweeps/{sweep}/publish#focal_length_mm");
    for path in [
        "/desk".to_owned(),
        format!("/desk/uploads/{upload}"),
        format!("/desk/uploads/{upload}/publish"),
    ] {
        let page = page(&mara, &path).await;
        assert!(page.contains(&field), "{path}: {page}");
        for wrong in ["Ready to publish", "Publish what is ready"] {
            assert!(!page.contains(wrong), "{path}: {page}");
        }
    }
    let own = page(&mara, &format!("/sweeps/{sweep}")).await;
    assert!(
        own.contains("<a href=\"#focal_length_mm\">Give it"),
        "{own}"
    );
    let publish = format!("/sweeps/{sweep}/publish");
    let asked = page(&mara, &publish).await;
    assert!(asked.contains("id=\"focal_length_mm\""), "{asked}");
    assert_eq!(mara.post(&publish, &[]).await.status, 409);
    let give = format!("/sweeps/{sweep}/focal-length");
    for wrong in ["", "wide", "0"] {
        let refused = mara.post(&give, &[("focal_length_mm", wrong)]).await;
        assert_eq!(refused.status, 422, "{wrong}");
        assert!(refused.text().contains("field-error"), "{}", refused.text());
    }
    let odd = bench.signed_in("odd").await;
    let strange = odd.post(&give, &[("focal_length_mm", "50")]).await;
    assert_eq!(strange.status, 404);
    let given = mara.post(&give, &[("focal_length_mm", "50")]).await;
    assert_eq!(given.location(), format!("/sweeps/{sweep}"));
    mara.wait_until_measured(sweep).await;
    assert!(page(&mara, "/desk").await.contains("Ready to publish"));
    assert_eq!(mara.post(&publish, &[]).await.status, 303);

    let (_, sweep) = mute_sweep(&mara, lens()).await;
    let publish = format!("/sweeps/{sweep}/publish");
    assert_eq!(mara.post(&publish, &[]).await.status, 303);
    let public = page(&mara, "/lenses/ostrel-tern-50").await;
    assert!(public.contains("50\u{a0}mm"), "{public}");
}

#[tokio::test]
async fn what_a_finding_asks_for_is_linked_to_its_field() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let (_, sweep) = mute_sweep(&mara, lens()).await;
    let own = page(&mara, &format!("/sweeps/{sweep}")).await;
    for field in ["closest_focus_m", "target_distance_m", "distances"] {
        for there in [format!("href=\"#{field}\""), format!("id=\"{field}\"")] {
            assert!(own.contains(&there), "{there}: {own}");
        }
    }
    assert!(!own.contains("--closest"), "{own}");
    let publish = format!("/sweeps/{sweep}/publish");
    assert!(page(&mara, &publish).await.contains("#closest_focus_m"));
    assert_eq!(mara.post(&publish, &[]).await.status, 303);
    let public = bench.get(&format!("/sweeps/{sweep}")).await.text();
    assert!(
        public.contains("distances") && !public.contains("#closest_focus_m"),
        "{public}"
    );
}
