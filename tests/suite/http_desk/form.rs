//! Uploading with the plain form, as a browser without scripts does.

use std::io::Write as _;

use zip::write::SimpleFileOptions;

use super::bench::{Bench, SignedIn, frames};
use super::client::{Answer, Request};

/// A JPEG of a few bytes whose header claims 65500 × 65500 px (SOF0 of ITU-T T.81, B.2.2).
pub(super) fn jpeg_of_65500() -> Vec<u8> {
    let side = 65_500_u16.to_be_bytes();
    let mut bytes = vec![0xFF, 0xD8, 0xFF, 0xC0, 0, 11, 8];
    bytes.extend(side);
    bytes.extend(side);
    bytes.extend([1, 1, 0x11, 0]);
    bytes.extend([0; 300]);
    bytes.extend([0xFF, 0xD9]);
    bytes
}

/// The text fields of the form for a lens to be made.
const FIELDS: [(&str, &str); 10] = [
    ("lens", "new"),
    ("maker", "Ostrel"),
    ("model", "Tern 50"),
    ("mount", "Harrow lock"),
    ("kind", "prime"),
    ("focal_min_mm", "50"),
    ("focal_max_mm", ""),
    ("max_aperture", "1,8"),
    ("distortion_correction", "off"),
    ("target_distance_m", "2"),
];

fn with(changes: &[(&'static str, &'static str)]) -> Vec<(&'static str, &'static str)> {
    FIELDS
        .into_iter()
        .map(|(name, value)| {
            let changed = changes.iter().find(|(changed, _)| *changed == name);
            (name, changed.map_or(value, |(_, value)| value))
        })
        .chain(
            changes
                .iter()
                .copied()
                .filter(|(name, _)| FIELDS.iter().all(|(known, _)| known != name)),
        )
        .collect()
}

async fn send(
    who: &SignedIn<'_>,
    fields: &[(&str, &str)],
    files: &[(&str, &str, &[u8])],
) -> Answer {
    who.send(
        Request::new("POST", "/desk/upload")
            .page()
            .multipart(fields, files),
    )
    .await
}

fn all_frames() -> Vec<(&'static str, &'static str, &'static [u8])> {
    frames()
        .iter()
        .map(|(name, bytes)| ("files", name.as_str(), bytes.as_slice()))
        .collect()
}

#[tokio::test]
async fn bad_files_are_told_of_and_the_good_ones_measured() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let good = &frames()[0].1;
    let huge = jpeg_of_65500();
    let mut files = all_frames();
    files.extend([
        ("folder", "card/.DS_Store", &b"x"[..]),
        ("files", "empty.jpg", &b""[..]),
        ("files", "notes.txt", &b"a text"[..]),
        ("files", "letter.jpg", &b"a text by another name"[..]),
        ("files", "header.jpg", &good[..200]),
        ("files", "huge.jpg", &huge[..]),
        ("files", "SWP_0001 copy.JPG", &good[..]),
        ("files", "../../climb.jpg", &b"no picture"[..]),
        ("files", "", &b""[..]),
    ]);
    let answer = send(&mara, &FIELDS, &files).await;
    assert_eq!(answer.status, 303, "{}", answer.text());
    let page = mara.get(answer.location()).await.text();
    for name in [
        ".DS_Store",
        "empty.jpg",
        "notes.txt",
        "letter.jpg",
        "header.jpg",
        "huge.jpg",
        "climb.jpg",
    ] {
        assert!(page.contains(name), "{name} is told of in {page}");
    }
    assert!(page.contains("the same picture as SWP_0001.JPG"), "{page}");
    assert!(!page.contains("../"), "no path is taken over");
    assert!(page.contains("8 frames taken"), "{page}");
    let id = page
        .split("/sweeps/")
        .nth(1)
        .and_then(|rest| rest.split('"').next())
        .expect("a link to the sweep");
    let sweep: i64 = id.parse().expect("its key");
    mara.wait_until_measured(sweep).await;
    let stored = bench
        .app
        .store
        .sweep(sweep)
        .await
        .expect("readable")
        .expect("there");
    assert_eq!(stored.files.len(), frames().len());
    assert_eq!(stored.conditions.distortion_correction.code(), "off");
    let result = stored.result.expect("measured").measurement;
    assert_eq!(result.measured_count(), frames().len());
    bench.stop().await;
}

#[tokio::test]
async fn wrong_fields_bring_the_form_back_as_it_was_typed() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    for (field, value) in [
        ("lens", "nobody-made-this"),
        ("lens", ""),
        ("maker", ""),
        ("focal_min_mm", "-50"),
        ("focal_min_mm", "NaN"),
        ("focal_max_mm", "20"),
        ("max_aperture", "1e99"),
        ("target_distance_m", "-3"),
        ("distortion_correction", "maybe"),
        ("closest_focus_m", "inf"),
        ("marked_closest_focus_m", "0"),
    ] {
        let answer = send(&mara, &with(&[(field, value)]), &all_frames()).await;
        let page = answer.text();
        assert_eq!(answer.status, 422, "{field}={value}: {page}");
        assert!(
            page.contains(&format!("<a href=\"#{field}\">")),
            "{field}={value} is named in {page}"
        );
        let raw = format!("<a href=\"#{field}\">{field}</a>");
        assert!(!page.contains(&raw), "{field} is called as on the form");
        assert!(
            page.contains("value=\"1,8\"") || field == "max_aperture",
            "the rest is kept"
        );
    }
    let none = send(&mara, &FIELDS, &[("files", "", b"")]).await;
    assert_eq!(none.status, 422);
    assert!(
        none.text().contains("no file was chosen"),
        "{}",
        none.text()
    );
    assert!(
        bench
            .app
            .store
            .all_lenses()
            .await
            .expect("readable")
            .is_empty(),
        "nothing was made"
    );
}

#[tokio::test]
async fn markup_in_fields_and_file_names_is_shown_not_run() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let payload = "<img src=x onerror=alert(1)>";
    let fields = with(&[("maker", payload), ("model", "Tern")]);
    let answer = send(&mara, &fields, &[("files", "<b>.jpg", b"text")]).await;
    assert_eq!(answer.status, 303, "{}", answer.text());
    let page = mara.get(answer.location()).await.text();
    assert!(
        !page.contains(payload) && !page.contains("<b>.jpg"),
        "{page}"
    );
    assert!(page.contains("onerror"), "it is shown as text");
}

#[tokio::test]
async fn an_upload_without_a_frame_stays_open_for_more() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let answer = send(&mara, &FIELDS, &[("files", "a.jpg", b"text")]).await;
    assert_eq!(answer.status, 303);
    let at = answer.location().to_owned();
    let page = mara.get(&at).await.text();
    assert!(page.contains("No frame has arrived"), "{page}");
    assert!(
        mara.get("/desk").await.text().contains(&at),
        "it waits on the desk"
    );
    let more = Request::new("POST", &format!("{at}/files")).multipart(&[], &all_frames());
    assert_eq!(mara.send(more).await.status, 303);
    let done = mara.post(&format!("{at}/finish"), &[]).await;
    assert_eq!((done.status, done.location()), (303, at.as_str()));
    let again = mara.post(&format!("{at}/finish"), &[]).await;
    assert_eq!(again.status, 303, "finishing twice gives the same");
    let page = mara.get(&at).await.text();
    assert_eq!(page.matches("href=\"/sweeps/").count(), 1, "{page}");
}

#[tokio::test]
async fn a_zip_is_unpacked_and_its_paths_do_not_climb() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default();
    for (name, bytes) in frames() {
        archive
            .start_file(format!("DCIM/{name}"), options)
            .expect("to memory");
        archive.write_all(bytes).expect("to memory");
    }
    for (name, bytes) in [
        ("../../../climb.jpg", &frames()[0].1[..]),
        ("__MACOSX/._x.jpg", b"x"),
        ("readme.txt", b"text"),
    ] {
        archive.start_file(name, options).expect("to memory");
        archive.write_all(bytes).expect("to memory");
    }
    let bytes = archive.finish().expect("to memory").into_inner();
    let answer = send(
        &mara,
        &FIELDS,
        &[
            ("files", "card.zip", &bytes),
            ("files", "broken.zip", b"PK\x03\x04 no more"),
        ],
    )
    .await;
    assert_eq!(answer.status, 303, "{}", answer.text());
    let page = mara.get(answer.location()).await.text();
    assert!(page.contains("8 frames taken"), "{page}");
    assert!(
        page.contains("climb.jpg") && page.contains("broken.zip") && page.contains("readme.txt"),
        "{page}"
    );
    let outside = bench.app.originals.tmp().join("../../climb.jpg");
    assert!(!outside.exists(), "nothing is written where a path says");
}
