//! Lenses and cameras: corrected, merged, what files call them.

use serde_json::json;

use super::bench::{Bench, SignedIn, lens};
use super::client::Request;

async fn page(reviewer: &SignedIn<'_>, path: &str) -> String {
    let answer = reviewer.get(path).await;
    assert_eq!(answer.status, 200, "{path}: {}", answer.text());
    answer.text()
}

/// The fields of the form, with one of them changed.
fn form<'a>(field: &'a str, value: &'a str) -> Vec<(&'a str, &'a str)> {
    let mut fields = vec![
        ("maker", "Ostrel"),
        ("model", "Tern 50 II"),
        ("mount", "Harrow lock"),
        ("kind", "prime"),
        ("focal_min_mm", "50"),
        ("focal_max_mm", ""),
        ("max_aperture", "1.8"),
        ("marked_closest_focus_m", "0.45"),
    ];
    fields.retain(|(name, _)| *name != field);
    fields.push((field, value));
    fields
}

#[tokio::test]
async fn a_lens_is_corrected_by_form_and_api_and_keeps_its_address() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    assert_eq!(mara.post_json("/api/v1/lenses", lens()).await.status, 201);
    let at = "/desk/lenses/ostrel-tern-50";
    assert!(page(&mara, "/desk").await.contains("/desk/lenses"));
    assert!(page(&mara, "/desk/lenses").await.contains(at));
    for (field, value, words) in [
        ("focal_max_mm", "24", "shorter than the shortest"),
        ("maker", "", "the name on the lens"),
        ("max_aperture", "0", "out of range"),
    ] {
        let refused = mara.post(at, &form(field, value)).await;
        assert_eq!(refused.status, 422, "{field}");
        assert!(
            refused.text().contains(words),
            "{words}: {}",
            refused.text()
        );
    }
    let kept = mara.post(at, &form("mount", "Skerry bayonet")).await;
    assert_eq!(kept.status, 303, "{}", kept.text());
    let shown = bench.get("/lenses/ostrel-tern-50").await.text();
    assert!(
        shown.contains("Tern 50 II") && shown.contains("Skerry"),
        "{shown}"
    );

    let path = "/api/v1/lenses/ostrel-tern-50";
    let patch =
        |document: serde_json::Value| mara.send(Request::new("PATCH", path).json(&document));
    let corrected = patch(json!({"model": "Tern 50"})).await;
    assert_eq!(corrected.status, 200, "{}", corrected.text());
    assert_eq!(
        corrected.json()["mount"],
        "Skerry bayonet",
        "the rest stays"
    );
    // Sent as null is taken back; not sent stays.
    for (document, closest) in [
        (json!({"closest_focus_m": 0.5}), json!(0.5)),
        (json!({"mount": "Skerry bayonet"}), json!(0.5)),
        (json!({"closest_focus_m": null}), json!(null)),
        (json!({"mount": "Skerry bayonet"}), json!(null)),
    ] {
        let corrected = patch(document.clone()).await;
        assert_eq!(corrected.status, 200, "{}", corrected.text());
        assert_eq!(corrected.json()["closest_focus_m"], closest, "{document}");
    }
    let refused = patch(json!({"focal_min_mm": 70, "focal_max_mm": 24})).await;
    assert_eq!(
        (refused.status, &refused.json()["errors"][0]["field"]),
        (422, &json!("focal_max_mm"))
    );
    let anonymous = bench
        .send(Request::new("PATCH", path).json(&json!({})))
        .await;
    assert_eq!(anonymous.status, 401);
    let rows = bench.app.store.audit_rows(10).await.expect("readable");
    let corrections = rows.iter().filter(|row| row.action == "lens corrected");
    assert_eq!(corrections.count(), 6);
}

#[tokio::test]
async fn doubles_are_merged_with_all_they_have_and_the_old_address_leads_on() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let sweep = mara.measured_sweep().await;
    let published = mara.post(&format!("/sweeps/{sweep}/publish"), &[]).await;
    assert_eq!(published.status, 303);
    let mut double = lens();
    double["model"] = json!("Tern 50 mm");
    let made = mara.post_json("/api/v1/lenses", double).await;
    assert_eq!(made.json()["slug"], "ostrel-tern-50-mm");
    let noted = page(&mara, "/desk/lenses/ostrel-tern-50").await;
    assert!(
        noted.contains("/forget"),
        "publishing noted what files call it: {noted}"
    );

    let upload = page(&mara, "/desk/upload").await;
    assert!(
        !upload.contains("value=\"ostrel-tern-50\" data-names=\"\""),
        "the upload page can propose it: {upload}"
    );

    let merge = "/desk/lenses/ostrel-tern-50/merge";
    let odd = bench.signed_in("odd").await;
    let others = odd.post(merge, &[("same_as", "ostrel-tern-50-mm")]).await;
    assert_eq!(
        others.status, 403,
        "another's sweeps are not theirs to move"
    );
    let mut unlike = lens();
    unlike["model"] = json!("Tern 50 S");
    unlike["mount"] = json!("Skerry bayonet");
    assert_eq!(mara.post_json("/api/v1/lenses", unlike).await.status, 201);
    for (into, sure, words) in [
        ("", "on", "choose the lens"),
        ("ostrel-tern-50", "on", "choose the lens"),
        ("ostrel-tern-50-mm", "", "undone"),
        (
            "ostrel-tern-50-s",
            "on",
            "mount Harrow lock and that one Skerry bayonet",
        ),
    ] {
        let refused = mara.post(merge, &[("same_as", into), ("sure", sure)]).await;
        assert_eq!(refused.status, 422, "{into}");
        assert!(
            refused.text().contains(words),
            "{words}: {}",
            refused.text()
        );
    }
    let merged = mara
        .post(merge, &[("same_as", "ostrel-tern-50-mm"), ("sure", "on")])
        .await;
    assert_eq!(merged.location(), "/desk/lenses/ostrel-tern-50-mm");

    for (old, new) in [
        ("/lenses/ostrel-tern-50", "/lenses/ostrel-tern-50-mm"),
        (
            "/lenses/ostrel-tern-50.json?tolerance_pct=1",
            "/lenses/ostrel-tern-50-mm.json?tolerance_pct=1",
        ),
    ] {
        let moved = bench.get(old).await;
        assert_eq!((moved.status, moved.location()), (301, new), "{old}");
    }
    let record = bench.get("/lenses/ostrel-tern-50-mm.json").await.json();
    assert_eq!(record["results"][0]["sweeps"], json!([sweep]));
    let names = page(&mara, "/desk/lenses/ostrel-tern-50-mm").await;
    assert!(names.contains("/forget"), "names go along: {names}");
    // A new lens of the old name gets an address of its own.
    let again = mara.post_json("/api/v1/lenses", lens()).await;
    assert_eq!(again.json()["slug"], "ostrel-tern-50-2", "{}", again.text());
    let rows = bench.app.store.audit_rows(10).await.expect("readable");
    assert!(
        rows.iter().any(|row| row.action == "lenses merged"),
        "{rows:?}"
    );
    let damage = bench.app.store.integrity_check().await.expect("readable");
    assert!(damage.is_empty(), "{damage:?}");
}

#[tokio::test]
async fn a_camera_has_the_width_it_is_given() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let sweep = mara.measured_sweep().await;
    let camera = bench.app.store.cameras().await.expect("readable").remove(0);
    let at = format!("/desk/cameras/{}", camera.id);
    let refused = mara.post(&at, &[("sensor_width_mm", "900")]).await;
    assert_eq!(refused.status, 422);
    assert!(
        refused.text().contains("out of range"),
        "{}",
        refused.text()
    );
    let kept = mara.post(&at, &[("sensor_width_mm", "23,5")]).await;
    assert_eq!(kept.status, 303);
    let input = bench.app.store.sweep_input(sweep).await.expect("readable");
    let width = input
        .expect("there")
        .settings
        .sensor_width
        .map(|width| width.mm());
    assert_eq!(width, Some(23.5), "the next measurement uses it");
    assert!(page(&mara, "/desk/lenses").await.contains("value=\"23.5\""));
    assert_eq!(mara.post("/desk/cameras/99", &[]).await.status, 404);
}

#[tokio::test]
async fn the_width_of_a_picture_is_told_by_both_focal_lengths_of_its_files() {
    let bench = Bench::start_without_worker().await;
    let mara = bench.signed_in("mara").await;
    let mut script = breathmark::simulate::SweepScript::plain(50.0, 2.0, 6);
    script.scene = breathmark::simulate::Scene::two_targets(240, 160);
    script.scene.sensor_width_mm = 23.5;
    let frames: Vec<(String, Vec<u8>)> = (0..script.frames)
        .map(|frame| {
            let bytes = script.jpeg(frame).expect("rendering to memory");
            (script.file_name(frame), bytes)
        })
        .collect();
    mara.uploaded(&frames).await;
    let camera = bench.app.store.cameras().await.expect("readable").remove(0);
    // 50 mm is stated as 77 mm, a whole number of millimetres: 36 · 50 / 77.
    let derived = camera.derived_width_mm.expect("the files tell it");
    assert!((derived - 36.0 * 50.0 / 77.0).abs() < 1e-9, "{derived}");
    assert_eq!(camera.sensor_width_mm, None, "nobody has given it");
    let shown = page(&mara, "/desk/lenses").await;
    assert!(shown.contains("its files tell about 23.4 mm"), "{shown}");
}

/// What one reviewer has published is not changed under their hands by another.
#[tokio::test]
async fn lenses_and_cameras_of_others_are_changed_by_operators_only() {
    let bench = Bench::start_without_worker().await;
    let mara = bench.signed_in("mara").await;
    mara.uploaded_sweep().await;
    let camera = bench.app.store.cameras().await.expect("readable").remove(0);
    let camera = format!("/desk/cameras/{}", camera.id);
    let lens = "/desk/lenses/ostrel-tern-50";
    let forget = format!("{lens}/forget");
    let odd = bench.signed_in("odd").await;
    let quay = bench.signed_in("quay").await;
    let form = form("mount", "Skerry bayonet");
    let width = [("sensor_width_mm", "35.9")];
    let patch = |by: &str| json!({"model": format!("Tern 50 as {by} has it")});
    for (path, fields) in [(lens, &form[..]), (&forget, &[]), (&camera, &width)] {
        assert_eq!(odd.post(path, fields).await.status, 403, "{path}");
        assert_eq!(quay.post(path, fields).await.status, 303, "{path}");
        assert_eq!(mara.post(path, fields).await.status, 303, "{path}");
    }
    let api = Request::new("PATCH", "/api/v1/lenses/ostrel-tern-50").json(&patch("odd"));
    assert_eq!(odd.send(api).await.status, 403);
    let rows = bench.app.store.audit_rows(20).await.expect("readable");
    let widths = rows.iter().filter(|row| row.action == "camera corrected");
    assert_eq!(widths.count(), 2, "{rows:?}");

    // A lens that nobody has shot is its maker's.
    let fresh = [
        ("maker", "Tindra"),
        ("model", "Sound 85"),
        ("mount", "Harrow lock"),
        ("kind", "prime"),
        ("focal_min_mm", "85"),
        ("max_aperture", "2"),
    ];
    let made = odd.post("/desk/lenses", &fresh).await;
    assert_eq!(made.location(), "/desk/lenses/tindra-sound-85");
    assert_eq!(
        mara.post("/desk/lenses/tindra-sound-85", &fresh)
            .await
            .status,
        403
    );
    assert_eq!(
        mara.post("/desk/lenses", &fresh).await.status,
        422,
        "it is there already"
    );
    let bare = odd.post("/desk/lenses", &[("maker", "Tindra")]).await;
    assert_eq!(bare.status, 422);
    assert!(bare.text().contains("mount"), "{}", bare.text());
}

/// What a lens, a camera or a set-up can be is one range wherever it is said: here its far ends.
#[tokio::test]
async fn a_quantity_has_the_same_limits_in_every_room() {
    let bench = Bench::start_without_worker().await;
    let mara = bench.signed_in("mara").await;
    let telescope = json!({
        "maker": "Ostrel", "model": "Heron 5000", "mount": "Harrow lock", "kind": "prime",
        "focal_min_mm": 5000, "max_aperture": 128, "closest_focus_m": 10_000
    });
    let made = mara.post_json("/api/v1/lenses", telescope).await;
    assert_eq!(made.status, 201, "{}", made.text());
    let typed = [
        ("maker", "Ostrel"),
        ("model", "Heron 4000"),
        ("mount", "Harrow lock"),
        ("kind", "prime"),
        ("focal_min_mm", "4000"),
        ("max_aperture", "0.5"),
        ("marked_closest_focus_m", "0.01"),
    ];
    let made = mara.post("/desk/lenses", &typed).await;
    assert_eq!(made.status, 303, "{}", made.text());

    let sweep = mara.uploaded_sweep().await;
    let path = format!("/api/v1/sweeps/{sweep}");
    let far = json!({
        "focal_length_mm": 5000, "f_number": 128, "sensor_width_mm": 200,
        "target_distance_m": 10_000, "closest_focus_m": 0.01
    });
    let changed = mara.send(Request::new("PATCH", &path).json(&far)).await;
    assert_eq!(changed.status, 200, "{}", changed.text());
    let plan = "/plan?focal_mm=5000&max_aperture=0.5&f_number=128&closest_focus_m=20\
                &target_distance_m=10000&sensor_width_mm=200&sensor_height_mm=200";
    for address in [
        plan,
        "/lenses.json?tolerance_pct=0.01&focal_mm=5000",
        "/lenses.json?tolerance_pct=100&holds_from_m=10000",
    ] {
        let answer = bench.get(address).await;
        assert_eq!(answer.status, 200, "{address}: {}", answer.text());
    }
    for (address, words) in [
        ("/lenses.json?tolerance_pct=100.1", "0.01 to 100"),
        ("/lenses.json?focal_mm=5001", "1 to 5000"),
    ] {
        let answer = bench.get(address).await;
        assert_eq!(answer.status, 422, "{address}");
        assert!(answer.text().contains(words), "{}", answer.text());
    }
}
