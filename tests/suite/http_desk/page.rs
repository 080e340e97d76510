//! The page of a sweep: who sees what, pictures, repairs, publishing by form.

use super::bench::{Bench, frames};
use super::client::Request;

#[tokio::test]
async fn drafts_are_seen_by_their_reviewer_and_operators_only() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let sweep = mara.measured_sweep().await;
    let odd = bench.signed_in("odd").await;
    let quay = bench.signed_in("quay").await;
    for path in [
        format!("/sweeps/{sweep}"),
        format!("/sweeps/{sweep}/frames/1"),
        format!("/sweeps/{sweep}/frames/1.jpg"),
        format!("/sweeps/{sweep}/frames/1/original"),
        format!("/sweeps/{sweep}/progress"),
    ] {
        assert_eq!(mara.get(&path).await.status, 200, "{path}");
        assert_eq!(quay.get(&path).await.status, 200, "{path}");
        assert_eq!(odd.get(&path).await.status, 404, "{path}");
        let anonymous = bench.get(&path).await.status;
        assert!(anonymous == 404 || anonymous == 401, "{path}: {anonymous}");
    }
    for change in [
        "settings",
        "distances",
        "leave-out",
        "take-back",
        "measure",
        "publish",
        "withdraw",
    ] {
        let path = format!("/sweeps/{sweep}/{change}");
        let answer = odd
            .post(&path, &[("withdraw_reason", "x"), ("order", "auto")])
            .await;
        assert_eq!(answer.status, 404, "{path}");
    }
    let page = mara.get(&format!("/sweeps/{sweep}")).await.text();
    assert!(page.contains("draft, seen by you only"), "{page}");
    assert_eq!(
        page.matches("class=\"found\"").count(),
        frames().len(),
        "targets are drawn on every frame"
    );
    assert!(
        page.contains("class=\"verdict\"") && page.contains("tighter"),
        "{page}"
    );
    assert!(
        !page.contains("style=\""),
        "the content policy forbids inline styles"
    );
    assert!(
        !odd.get("/desk").await.text().contains("Ostrel"),
        "nor on the desk of others"
    );
    assert_eq!(bench.get("/sweeps/999").await.status, 404);
    assert_eq!(bench.get("/sweeps/x").await.status, 404);
}

#[tokio::test]
async fn pictures_are_made_anew_and_carry_no_metadata() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let sweep = mara.measured_sweep().await;
    let (_, original) = &frames()[0];
    assert!(
        original.windows(6).any(|six| six == b"Exif\0\0"),
        "the original has metadata to lose"
    );
    let path = format!("/sweeps/{sweep}/frames/1.jpg?side=320");
    let picture = mara.get(&path).await;
    assert_eq!(picture.header("content-type"), Some("image/jpeg"));
    assert!(!picture.body.windows(4).any(|four| four == b"Exif"));
    let small = image::load_from_memory(&picture.body).expect("a JPEG");
    assert_eq!((small.width(), small.height()), (320, 213));
    assert!(
        picture
            .header("cache-control")
            .is_some_and(|keep| keep.starts_with("private"))
    );
    let tag = picture.header("etag").expect("a tag").to_owned();
    let again = mara
        .send(Request::new("GET", &path).header("if-none-match", &tag))
        .await;
    assert_eq!(again.status, 304);
    let odd_side = mara
        .get(&format!("/sweeps/{sweep}/frames/1.jpg?side=-7"))
        .await;
    assert_eq!(
        (odd_side.status, &odd_side.json()["errors"][0]["field"]),
        (422, &"side".into())
    );
    for n in ["0", "99", "-1", "x", "1e3"] {
        assert_eq!(
            mara.get(&format!("/sweeps/{sweep}/frames/{n}.jpg"))
                .await
                .status,
            404,
            "{n}"
        );
        assert_eq!(
            mara.get(&format!("/sweeps/{sweep}/frames/{n}"))
                .await
                .status,
            404,
            "{n}"
        );
    }
    let kept = mara
        .get(&format!("/sweeps/{sweep}/frames/1/original"))
        .await;
    assert_eq!(&kept.body, original, "the original as it came");
    assert!(
        kept.header("content-disposition")
            .is_some_and(|how| how.starts_with("attachment"))
    );
}

#[tokio::test]
async fn a_sweep_is_repaired_and_published_by_forms() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let sweep = mara.measured_sweep().await;
    let at = format!("/sweeps/{sweep}");
    let file = &frames()[2].0;

    let no_reason = mara
        .post(
            &format!("{at}/leave-out"),
            &[("frame", "3"), ("reason", "")],
        )
        .await;
    assert_eq!(no_reason.status, 422);
    assert!(no_reason.text().contains("a few words why"));
    let out = mara
        .post(
            &format!("{at}/leave-out"),
            &[("frame", "3"), ("reason", "tripod bumped")],
        )
        .await;
    assert_eq!(out.status, 303, "{}", out.text());
    mara.wait_until_measured(sweep).await;
    let page = mara.get(&at).await.text();
    assert!(
        page.contains("tripod bumped") && page.contains("left out"),
        "{page}"
    );
    assert_eq!(
        mara.post(&format!("{at}/take-back"), &[("frame", "3")])
            .await
            .status,
        303
    );

    for (field, value) in [
        ("closest_focus_m", "-1"),
        ("f_number", "0"),
        ("sensor_width_mm", "NaN"),
        ("order", "x"),
        ("focal_length_mm", "1e9"),
    ] {
        let mut fields = vec![
            ("order", "auto"),
            ("target_distance_m", "2.5"),
            ("notes", "kept as typed"),
        ];
        fields.retain(|(name, _)| *name != field);
        fields.push((field, value));
        let answer = mara.post(&format!("{at}/settings"), &fields).await;
        assert_eq!(answer.status, 422, "{field}: {}", answer.text());
        let page = answer.text();
        assert!(page.contains(&format!("href=\"#{field}\"")), "{field}");
        assert!(
            page.contains("value=\"2.5\"") && page.contains("kept as typed"),
            "{field}: nothing is lost"
        );
    }
    let set = mara
        .post(
            &format!("{at}/settings"),
            &[
                ("order", "name"),
                ("target_distance_m", "2,5"),
                ("notes", "bench two"),
            ],
        )
        .await;
    assert_eq!(set.status, 303, "{}", set.text());

    for lines in [
        "nowhere.jpg,0.5",
        &format!("{file},-2"),
        &format!("{file},far"),
        "file,weight\na,b",
    ] {
        let answer = mara
            .post(&format!("{at}/distances"), &[("distances", lines)])
            .await;
        assert_eq!(answer.status, 422, "{lines}: {}", answer.text());
        assert!(answer.text().contains("distances-error"), "{lines}");
    }
    let given = mara
        .post(
            &format!("{at}/distances"),
            &[("distances", &format!("{file},0.7\n"))],
        )
        .await;
    assert_eq!(given.status, 303, "{}", given.text());
    mara.wait_until_measured(sweep).await;
    let stored = bench
        .app
        .store
        .sweep(sweep)
        .await
        .expect("readable")
        .expect("there");
    assert_eq!(stored.settings.order.code(), "name");
    assert_eq!(stored.settings.target_distance.map(|d| d.m()), Some(2.5));
    assert_eq!(stored.settings.distances.len(), 1);
    assert!(stored.settings.left_out.is_empty());

    let published = mara.post(&format!("{at}/publish"), &[]).await;
    assert_eq!(published.status, 303, "{}", published.text());
    let public = bench.get(&at).await;
    assert_eq!(public.status, 200);
    let public = public.text();
    assert!(public.contains("public, version 1"), "{public}");
    for private in ["bench two", "/settings", "/original", "Leave a frame out"] {
        assert!(!public.contains(private), "{private} is for reviewers only");
    }
    assert_eq!(bench.get(&format!("{at}/frames/1.jpg")).await.status, 200);
    assert_eq!(
        bench.get(&format!("{at}/frames/1/original")).await.status,
        401
    );
    let odd = bench.signed_in("odd").await;
    assert_eq!(
        odd.get(&format!("{at}/frames/1/original")).await.status,
        404
    );
    let twice = mara.post(&format!("{at}/publish"), &[]).await;
    assert_eq!(twice.status, 409);
    let no_reason = mara
        .post(&format!("{at}/withdraw"), &[("withdraw_reason", " ")])
        .await;
    assert_eq!(no_reason.status, 422);
    let withdrawn = mara
        .post(
            &format!("{at}/withdraw"),
            &[("withdraw_reason", "wrong aperture")],
        )
        .await;
    assert_eq!(withdrawn.status, 303, "{}", withdrawn.text());
    assert!(mara.get(&at).await.text().contains("wrong aperture"));
    assert_ne!(bench.get(&at).await.status, 200, "no longer public");
}

#[tokio::test]
async fn a_sweep_without_result_is_not_published() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let upload = mara.open_upload().await;
    let (name, bytes) = &frames()[0];
    mara.put(&format!("/api/v1/uploads/{upload}/files/{name}"), bytes)
        .await;
    let finished = mara
        .post_json(
            &format!("/api/v1/uploads/{upload}/finish"),
            serde_json::json!({}),
        )
        .await;
    let sweep = finished.json()["sweeps"][0].as_i64().expect("one sweep");
    mara.wait_until_measured(sweep).await;
    let page = mara.get(&format!("/sweeps/{sweep}")).await.text();
    assert!(page.contains("Stop:"), "{page}");
    let publishing = mara.get(&format!("/sweeps/{sweep}/publish")).await.text();
    assert!(
        publishing.contains("can't be published now")
            && publishing.contains("There are few frames"),
        "{publishing}"
    );
    assert!(
        !publishing.contains("<button>Publish"),
        "there is nothing to press"
    );
    let preview = mara.get(&format!("/sweeps/{sweep}/publish/preview")).await;
    assert_eq!(preview.status, 409);
    assert!(!page.contains("class=\"verdict\""), "no result is told");
    let answer = mara.post(&format!("/sweeps/{sweep}/publish"), &[]).await;
    assert_eq!(answer.status, 409);
    assert!(
        answer.text().contains("There are few frames"),
        "{}",
        answer.text()
    );
    assert!(mara.get("/desk").await.text().contains("Needs you"));
}
