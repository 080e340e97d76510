//! The reviewer API.

use breathmark::store::{TokenDraft, TokenScope};
use serde_json::json;
use sha2::{Digest as _, Sha256};

use super::bench::{Bench, frames, lens};
use super::client::Request;

#[tokio::test]
async fn an_upload_goes_on_where_it_stopped() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let upload = mara.open_upload().await;
    let (name, bytes) = &frames()[0];
    let path = format!("/api/v1/uploads/{upload}/files/card/{name}");
    let first = mara.put(&path, bytes).await;
    assert_eq!(first.status, 201, "{}", first.text());
    assert_eq!(first.json()["files"][0]["bytes"], bytes.len());
    assert_eq!(
        mara.put(&path, bytes).await.status,
        200,
        "the same again changes nothing"
    );
    let other = mara.put(&path, &frames()[1].1).await;
    assert_eq!(other.status, 409, "{}", other.text());
    assert!(other.text().contains("rename"), "{}", other.text());
    let state = mara.get(&format!("/api/v1/uploads/{upload}")).await.json();
    assert_eq!(state["files"].as_array().map(Vec::len), Some(1));
    assert_eq!(state["files"][0]["name"], format!("card/{name}"));
    assert_eq!(state["finished"], false);
}

#[tokio::test]
async fn what_is_no_frame_is_refused_with_what_to_do() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let upload = mara.open_upload().await;
    let good = &frames()[0].1;
    for (name, bytes, words) in [
        ("empty.jpg", &b""[..], "empty"),
        (
            "notes.jpg",
            b"just a text, whatever its name says",
            "not a JPEG",
        ),
        ("huge.jpg", &super::form::jpeg_of_65500(), "65500"),
        ("._a.jpg", good, ""),
        (".DS_Store", b"x", ""),
    ] {
        let answer = mara
            .put(&format!("/api/v1/uploads/{upload}/files/{name}"), bytes)
            .await;
        assert_eq!(answer.status, 422, "{name}: {}", answer.text());
        let problem = answer.json();
        assert_eq!(problem["title"], "The file can't be used");
        assert!(
            problem["detail"]
                .as_str()
                .is_some_and(|said| said.contains(words)),
            "{problem}"
        );
    }
    let nothing = mara
        .post_json(&format!("/api/v1/uploads/{upload}/finish"), json!({}))
        .await;
    assert_eq!(nothing.status, 409, "no frame arrived: {}", nothing.text());
    // A broken copy is replaced by a good one under the same name.
    let mended = mara
        .put(&format!("/api/v1/uploads/{upload}/files/empty.jpg"), good)
        .await;
    assert_eq!(mended.status, 201, "{}", mended.text());
    let state = mara.get(&format!("/api/v1/uploads/{upload}")).await.json();
    let refused: Vec<&str> = state["refused"]
        .as_array()
        .expect("a list")
        .iter()
        .filter_map(|file| file["name"].as_str())
        .collect();
    assert_eq!(refused, ["._a.jpg", ".DS_Store", "huge.jpg", "notes.jpg"]);
}

#[tokio::test]
async fn too_many_bytes_are_413_before_and_while_they_come() {
    let bench = Bench::start_with(&["--max-file-mb", "1"]).await;
    let mara = bench.signed_in("mara").await;
    let upload = mara.open_upload().await;
    let path = format!("/api/v1/uploads/{upload}/files/big.jpg");
    let mut big = frames()[0].1.clone();
    big.resize((1 << 20) + 1, 0);
    let answer = mara.put(&path, &big).await;
    assert_eq!(answer.status, 413, "{}", answer.text());
    assert!(answer.text().contains("1048576"), "{}", answer.text());
    let declared = Request::new("PUT", &path)
        .header("content-length", "99999999999")
        .header("cookie", &mara.cookie);
    let answer = bench.send(declared).await;
    assert_eq!(answer.status, 413, "{}", answer.text());
    let tmp = std::fs::read_dir(bench.app.originals.tmp())
        .expect("the folder is there")
        .count();
    assert_eq!(tmp, 0, "nothing is left over");
}

#[tokio::test]
async fn lenses_and_uploads_name_the_field_that_is_wrong() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let mut absurd = lens();
    absurd["focal_min_mm"] = json!(-50);
    absurd["kind"] = json!("fisheye");
    let answer = mara.post_json("/api/v1/lenses", absurd).await;
    assert_eq!(answer.status, 422);
    let fields: Vec<String> = answer.json()["errors"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|error| error["field"].as_str().unwrap_or_default().to_owned())
        .collect();
    assert_eq!(fields, ["kind", "focal_min_mm"]);
    let mut unknown = lens();
    unknown["colour"] = json!("black");
    let answer = mara.post_json("/api/v1/lenses", unknown).await;
    assert_eq!(
        (answer.status, &answer.json()["errors"][0]["field"]),
        (422, &json!("colour"))
    );
    assert_eq!(mara.post_json("/api/v1/lenses", lens()).await.status, 201);
    assert_eq!(mara.post_json("/api/v1/lenses", lens()).await.status, 409);
    let answer = mara
        .post_json("/api/v1/uploads", json!({"lens": "nobody-made-this"}))
        .await;
    assert_eq!(
        (answer.status, &answer.json()["errors"][0]["field"]),
        (422, &json!("lens"))
    );
    let answer = mara
        .post_json(
            "/api/v1/uploads",
            json!({"lens": "ostrel-tern-50", "conditions": {"target_distance_m": 1e12}}),
        )
        .await;
    assert_eq!(
        (answer.status, &answer.json()["errors"][0]["field"]),
        (422, &json!("target_distance_m"))
    );
    for (garbled, status) in [
        ("{\"lens\": \"a", 400),
        ("", 400),
        (&"[".repeat(100_000), 422),
    ] {
        let request = Request::new("POST", "/api/v1/uploads").body("application/json", garbled);
        assert_eq!(mara.send(request).await.status, status, "{garbled:.20}");
    }
    let large =
        Request::new("POST", "/api/v1/uploads").body("application/json", " ".repeat(2 << 20));
    assert_eq!(mara.send(large).await.status, 413);
}

#[tokio::test]
async fn a_token_for_drafts_uploads_but_does_not_publish() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let upload = mara.open_upload().await;
    let account = bench.app.store.account_by_name("mara").await;
    let account = account.expect("readable").expect("there").id;
    for (secret, scope, expires_ms) in [
        ("drafts", TokenScope::Drafts, i64::MAX),
        ("publish", TokenScope::Publish, i64::MAX),
        ("over", TokenScope::Publish, 1),
    ] {
        let draft = TokenDraft {
            account,
            name: secret.to_owned(),
            scope,
            expires_ms,
        };
        let hash: [u8; 32] = Sha256::digest(secret).into();
        bench
            .app
            .store
            .add_token(&draft, &hash, 1)
            .await
            .expect("a new token");
    }
    let with = |secret: &str, method: &str, path: &str| {
        Request::new(method, path).header("authorization", &format!("Bearer {secret}"))
    };
    let files = format!("/api/v1/uploads/{upload}/files/{}", frames()[0].0);
    let put = with("drafts", "PUT", &files).body("image/jpeg", frames()[0].1.clone());
    assert_eq!(bench.send(put).await.status, 201);
    let finish = with(
        "drafts",
        "POST",
        &format!("/api/v1/uploads/{upload}/finish"),
    );
    let sweep = bench.send(finish).await.json()["sweeps"][0].clone();
    let publish = format!("/api/v1/sweeps/{sweep}/publish");
    let refused = bench.send(with("drafts", "POST", &publish)).await;
    assert_eq!(refused.status, 403, "{}", refused.text());
    let over = bench.send(with("over", "POST", &publish)).await;
    assert_eq!(over.status, 401, "{}", over.text());
    let single_frame = bench.send(with("publish", "POST", &publish)).await;
    assert_eq!(
        single_frame.status, 409,
        "it may, but there is no result yet"
    );
}

#[tokio::test]
async fn uploads_of_others_are_not_there() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let upload = mara.open_upload().await;
    let odd = bench.signed_in("odd").await;
    let path = format!("/api/v1/uploads/{upload}");
    assert_eq!(odd.get(&path).await.status, 404);
    assert_eq!(
        odd.put(&format!("{path}/files/a.jpg"), &frames()[0].1)
            .await
            .status,
        404
    );
    assert_eq!(
        odd.post_json(&format!("{path}/finish"), json!({}))
            .await
            .status,
        404
    );
    assert_eq!(
        odd.get(&format!("/desk/uploads/{upload}")).await.status,
        404
    );
    let quay = bench.signed_in("quay").await;
    assert_eq!(quay.get(&path).await.status, 200, "an operator sees all");
}

#[tokio::test]
async fn a_sweep_is_measured_changed_published_and_withdrawn() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let sweep = mara.measured_sweep().await;
    let path = format!("/api/v1/sweeps/{sweep}");
    let patch =
        |document: serde_json::Value| mara.send(Request::new("PATCH", &path).json(&document));
    for (document, field) in [
        (json!({"closest_focus_m": -1}), "closest_focus_m"),
        (json!({"order": "sideways"}), "order"),
        (json!({"left_out": {"nowhere.jpg": "x"}}), "left_out"),
        (json!({"left_out": {&frames()[0].0: ""}}), "left_out"),
        (json!({"distances": {&frames()[0].0: 0}}), "distances"),
        (json!({"distances": {&frames()[0].0: "far"}}), "distances"),
        (json!({"colour": 1}), "colour"),
    ] {
        let answer = patch(document).await;
        assert_eq!(answer.status, 422, "{}", answer.text());
        assert_eq!(answer.json()["errors"][0]["field"], field);
    }
    let changed =
        patch(json!({"left_out": {&frames()[3].0: "bumped"}, "notes": "second try"})).await;
    assert_eq!(changed.status, 200, "{}", changed.text());
    mara.wait_until_measured(sweep).await;
    let stored = bench
        .app
        .store
        .sweep(sweep)
        .await
        .expect("readable")
        .expect("there");
    assert_eq!(stored.notes, "second try");
    let result = stored.result.expect("measured").measurement;
    assert_eq!(result.measured_count(), frames().len() - 1);
    // 8 frames of 480 px: the shift is read to a few hundredths of a point; 0.1 tells it from any other.
    let worst = result.summary.expect("a result").worst_shift_pct.value;
    assert!((worst - 2.0).abs() < 0.1, "{worst}");

    let odd = bench.signed_in("odd").await;
    assert_eq!(
        odd.post_json(&format!("{path}/publish"), json!({}))
            .await
            .status,
        404
    );
    let published = mara.post_json(&format!("{path}/publish"), json!({})).await;
    assert_eq!(
        (published.status, &published.json()["version"]),
        (200, &json!(1))
    );
    let twice = mara.post_json(&format!("{path}/publish"), json!({})).await;
    assert_eq!(twice.status, 409, "{}", twice.text());
    assert_eq!(bench.get(&format!("/sweeps/{sweep}")).await.status, 200);
    let no_reason = mara
        .post_json(&format!("{path}/withdraw"), json!({"reason": " "}))
        .await;
    assert_eq!(no_reason.status, 422, "{}", no_reason.text());
    let withdrawn = mara
        .post_json(&format!("{path}/withdraw"), json!({"reason": "wrong lens"}))
        .await;
    assert_eq!(withdrawn.status, 200, "{}", withdrawn.text());
    assert_ne!(bench.get(&format!("/sweeps/{sweep}")).await.status, 200);
    let actions: Vec<String> = bench
        .app
        .store
        .audit_rows(10)
        .await
        .expect("readable")
        .into_iter()
        .filter(|row| row.subject == format!("sweep {sweep}"))
        .map(|row| row.action)
        .collect();
    assert_eq!(actions, ["withdraw", "publish"], "newest first");
    bench.stop().await;
}
