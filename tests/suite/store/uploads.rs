//! Uploads, file by file.

use breathmark::store::{StoreError, SweepDraft};
use breathmark::sweep::SweepSettings;
use breathmark::units::Millimetres;

use super::fixture::{Fresh, NOW, file, off};

#[tokio::test]
async fn the_same_file_again_changes_nothing_and_other_bytes_are_refused() {
    let fresh = Fresh::new().await;
    let store = &fresh.store;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let upload = store
        .open_upload(fresh.reviewer, lens.id, &off(), NOW)
        .await
        .expect("an account and a lens");
    let opened = store
        .upload(upload)
        .await
        .expect("a working store")
        .expect("just opened");
    assert_eq!(
        (opened.account, opened.lens, opened.finished),
        (fresh.reviewer, lens.id, false)
    );
    assert_eq!(opened.conditions, off());

    for _ in 0..2 {
        store
            .add_upload_file(upload, &file(upload, 1), NOW)
            .await
            .expect("the same file");
    }
    let other = breathmark::store::UploadFile {
        sha256: "f".repeat(64),
        ..file(upload, 1)
    };
    let refused = store.add_upload_file(upload, &other, NOW).await;
    assert!(matches!(refused, Err(StoreError::OtherBytes(name)) if name == "SWP_0001.JPG"));
    // The same may come again where there is no place for more.
    for (name, most, takes) in [
        ("SWP_0001.JPG", 1, true),
        ("SWP_0002.JPG", 1, false),
        ("SWP_0002.JPG", 2, true),
    ] {
        let answer = store.may_take(upload, name, most).await;
        assert_eq!(answer.is_ok(), takes, "{name} of {most}: {answer:?}");
    }
    let files = store.upload_files(upload).await.expect("a working store");
    assert_eq!(files.len(), 1);
    assert_eq!(files[0].info, file(upload, 1).info);
    assert_eq!(
        store.originals().await.expect("a working store"),
        [(file(upload, 1).sha256, 120_001)]
    );

    let nowhere = store.add_upload_file(404, &file(1, 2), NOW).await;
    assert!(matches!(nowhere, Err(StoreError::Conflict(_))));
    let no_lens = store.open_upload(fresh.reviewer, 404, &off(), NOW).await;
    assert!(matches!(no_lens, Err(StoreError::Conflict(_))));
}

#[tokio::test]
async fn files_come_back_in_natural_order() {
    let fresh = Fresh::new().await;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let upload = fresh
        .store
        .open_upload(fresh.reviewer, lens.id, &off(), NOW)
        .await
        .expect("an account and a lens");
    for (number, name) in ["b10.jpg", "b9.jpg", "a/b1.jpg", "B2.JPG"]
        .into_iter()
        .enumerate()
    {
        let mut file = file(upload, u32::try_from(number).expect("few") + 1);
        file.name = name.to_owned();
        fresh
            .store
            .add_upload_file(upload, &file, NOW)
            .await
            .expect("a new file");
    }
    let files = fresh
        .store
        .upload_files(upload)
        .await
        .expect("a working store");
    let seen: Vec<_> = files.iter().map(|file| file.name.as_str()).collect();
    assert_eq!(seen, ["a/b1.jpg", "B2.JPG", "b9.jpg", "b10.jpg"]);
}

#[tokio::test]
async fn finishing_makes_the_sweeps_once_and_all_or_nothing() {
    let fresh = Fresh::new().await;
    let store = &fresh.store;
    let lens = fresh.lens("Ostrel", "Deep 24-105 f/4", (24.0, 105.0)).await;
    let upload = store
        .open_upload(fresh.reviewer, lens.id, &off(), NOW)
        .await
        .expect("an account and a lens");
    let files: Vec<_> = (1..=4).map(|number| file(upload, number)).collect();
    for file in &files {
        store
            .add_upload_file(upload, file, NOW)
            .await
            .expect("a new file");
    }
    let drafts: Vec<SweepDraft> = [("24 mm", 24.0, &files[..2]), ("105 mm", 105.0, &files[2..])]
        .into_iter()
        .map(|(name, mm, files)| SweepDraft {
            lens: None,
            name: name.to_owned(),
            settings: SweepSettings {
                focal_length: Millimetres::new(mm).ok(),
                ..SweepSettings::default()
            },
            files: files.to_vec(),
        })
        .collect();
    assert_eq!(
        store
            .open_uploads(fresh.reviewer)
            .await
            .expect("a working store")
            .len(),
        1
    );

    let mut broken = drafts.clone();
    broken[1].files[0].sha256 = "e".repeat(64);
    assert!(matches!(
        store.finish_upload(upload, 4, &broken, NOW).await,
        Err(StoreError::Conflict(_))
    ));
    let kept = store.desk(None, 1).await.expect("a working store");
    assert!(kept.is_empty(), "nothing of it was kept");

    let early = store.finish_upload(upload, 3, &drafts, NOW).await;
    assert!(matches!(early, Err(StoreError::Conflict(words)) if words.contains("arriving")));
    let made = store
        .finish_upload(upload, 4, &drafts, NOW)
        .await
        .expect("an open upload");
    assert_eq!(made.len(), 2);
    assert_eq!(
        store
            .finish_upload(upload, 0, &[], NOW)
            .await
            .expect("finished already"),
        made
    );
    assert_eq!(
        store
            .sweeps_of_upload(upload)
            .await
            .expect("a working store"),
        made
    );
    assert!(
        store
            .open_uploads(fresh.reviewer)
            .await
            .expect("a working store")
            .is_empty()
    );
    assert!(
        store
            .upload(upload)
            .await
            .expect("a working store")
            .expect("there")
            .finished
    );

    let input = store
        .sweep_input(made[1])
        .await
        .expect("a working store")
        .expect("made");
    assert_eq!(input.name, "105 mm");
    assert_eq!(
        input
            .frames
            .iter()
            .map(|frame| frame.sha256.clone())
            .collect::<Vec<_>>(),
        [files[2].sha256.clone(), files[3].sha256.clone()]
    );
    assert_eq!(input.frames[0].info, files[2].info);
    assert_eq!(
        input.settings.target_distance,
        off().target_distance,
        "what the shoot says holds for its sweeps"
    );
    assert_eq!(store.job_counts().await.expect("a working store"), (2, 0));

    let late = store.add_upload_file(upload, &file(upload, 5), NOW).await;
    assert!(matches!(late, Err(StoreError::Conflict(words)) if words.contains("finished")));
    assert!(matches!(
        store.finish_upload(404, 0, &[], NOW).await,
        Err(StoreError::Conflict(_))
    ));
}

#[tokio::test]
async fn what_was_not_taken_is_remembered_with_its_reason() {
    let fresh = Fresh::new().await;
    let store = &fresh.store;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let upload = store
        .open_upload(fresh.reviewer, lens.id, &off(), NOW)
        .await
        .expect("an account and a lens");
    let long = "n".repeat(300);
    for (name, reason) in [
        ("b10.txt", "empty"),
        ("b9.txt", "empty"),
        ("b9.txt", "no picture"),
        ("", "no name"),
        (&long, "too long"),
    ] {
        store
            .add_refusal(upload, name, reason)
            .await
            .expect("any name");
    }
    store
        .clear_refusal(upload, "b10.txt")
        .await
        .expect("a working store");
    let refusals = store.refusals(upload).await.expect("a working store");
    let reasons: Vec<_> = refusals.iter().map(|(_, reason)| reason.as_str()).collect();
    assert_eq!(reasons, ["no name", "no picture", "too long"]);
    assert_eq!(refusals[2].0.len(), 255);
    assert_eq!(
        store
            .upload_file_count(upload)
            .await
            .expect("a working store"),
        0
    );
    store
        .add_upload_file(upload, &file(upload, 1), NOW)
        .await
        .expect("a new file");
    assert_eq!(
        store
            .upload_file_count(upload)
            .await
            .expect("a working store"),
        1
    );
}
