//! Lenses and cameras.

use breathmark::store::StoreError;

use super::fixture::{Fresh, NOW, draft, off};

#[tokio::test]
async fn a_lens_is_made_once_and_found_by_slug_and_key() {
    let fresh = Fresh::new().await;
    let store = &fresh.store;
    let made = store
        .add_lens(
            &draft(" Ostrel ", "Deep  24–105mm f/4", (24.0, 105.0)),
            None,
            NOW,
        )
        .await
        .expect("a new lens");
    assert_eq!(made.slug, "ostrel-deep-24-105mm-f-4");
    assert_eq!(
        made.about.name(),
        "Ostrel Deep 24–105mm f/4",
        "space is tidied"
    );
    assert_eq!(
        store
            .lens_by_slug(&made.slug)
            .await
            .expect("a working store"),
        Some(made.clone())
    );
    assert_eq!(
        store.lens(made.id).await.expect("a working store"),
        Some(made)
    );
    assert!(
        store
            .lens_by_slug("nothing")
            .await
            .expect("a working store")
            .is_none()
    );
    assert!(store.lens(404).await.expect("a working store").is_none());

    let again = store
        .add_lens(
            &draft("OSTREL", "deep 24–105mm f/4", (24.0, 105.0)),
            None,
            NOW,
        )
        .await;
    assert!(matches!(again, Err(StoreError::Conflict(words)) if words.contains("there already")));
    let alike = fresh
        .lens("Ostrel", "Deep 24/105mm f.4", (24.0, 105.0))
        .await;
    assert_eq!(alike.slug, "ostrel-deep-24-105mm-f-4-2");

    let absurd = store
        .add_lens(&draft("Ostrel", "Deep", (-1.0, 50.0)), None, NOW)
        .await;
    assert!(
        matches!(absurd, Err(StoreError::Conflict(words)) if words.starts_with("focal_min_mm"))
    );
}

#[tokio::test]
async fn lenses_come_in_natural_order_and_mounts_once() {
    let fresh = Fresh::new().await;
    for (maker, model, mm) in [
        ("Tindra", "100 f/2.8", 100.0),
        ("Brackwell", "300 f/2.8", 300.0),
        ("tindra", "24 f/2.8", 24.0),
    ] {
        fresh.lens(maker, model, (mm, mm)).await;
    }
    let other = breathmark::store::LensDraft {
        mount: "Harrow lock".to_owned(),
        ..draft("Tindra", "35 f/2.8", (35.0, 35.0))
    };
    fresh
        .store
        .add_lens(&other, None, NOW)
        .await
        .expect("a new lens");
    let names: Vec<String> = fresh
        .store
        .all_lenses()
        .await
        .expect("a working store")
        .iter()
        .map(|lens| lens.about.name())
        .collect();
    assert_eq!(
        names,
        [
            "Brackwell 300 f/2.8",
            "tindra 24 f/2.8",
            "Tindra 35 f/2.8",
            "Tindra 100 f/2.8"
        ]
    );
    assert_eq!(
        fresh.store.mounts().await.expect("a working store"),
        ["Harrow lock", "Skerry bayonet"]
    );
}

#[tokio::test]
async fn the_camera_of_an_upload_is_known_afterwards() {
    let fresh = Fresh::new().await;
    let lens = fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    assert!(
        fresh
            .store
            .cameras()
            .await
            .expect("a working store")
            .is_empty()
    );
    fresh.sweep(&lens, &off()).await;
    fresh.sweep(&lens, &off()).await;
    let cameras = fresh.store.cameras().await.expect("a working store");
    assert_eq!(cameras.len(), 1);
    assert_eq!(
        (cameras[0].name.as_str(), cameras[0].sensor_width_mm),
        ("Ostrel Bench 6", None)
    );
}
