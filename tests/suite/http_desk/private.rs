//! What camera files say of their owner stays on the server: every address that anybody can reach is asked and searched.

use std::collections::{BTreeSet, VecDeque};
use std::io::{Cursor, Read as _};

use breathmark::simulate::{PrivateData, Scene, SweepScript};

use super::bench::Bench;
use super::client::{Answer, Request};

const OWNER: &str = "Wilma Kaikant";
const SERIAL: &str = "SN-4711-0815";
/// Half way from the equator, in figures that nothing else has: 47.1234° N, 109.8765° W.
const LATITUDE: &str = "47.12";
const LONGITUDE: &str = "109.87";

/// Frames whose EXIF holds owner, serial number and place.
fn frames() -> Vec<(String, Vec<u8>)> {
    let mut script = SweepScript::plain(50.0, 2.0, 8);
    script.scene = Scene::two_targets(480, 320);
    script.capture.private = Some(PrivateData {
        owner: OWNER.to_owned(),
        serial: SERIAL.to_owned(),
        latitude_deg: 47.1234,
        longitude_deg: -109.8765,
    });
    (0..script.frames)
        .map(|frame| {
            let bytes = script.jpeg(frame).expect("rendering to memory");
            (script.file_name(frame), bytes)
        })
        .collect()
}

fn holds(bytes: &[u8], words: &[u8]) -> bool {
    bytes.windows(words.len()).any(|some| some == words)
}

/// What of the secrets the bytes hold. Numbers are looked for in text only: pixels hold any digits by chance.
fn told(bytes: &[u8]) -> Vec<&'static str> {
    let mut secrets = vec![OWNER, SERIAL, "Exif\0"];
    if std::str::from_utf8(bytes).is_ok() {
        secrets.extend([LATITUDE, LONGITUDE]);
    }
    secrets.retain(|secret| holds(bytes, secret.as_bytes()));
    secrets
}

/// Local addresses that a text leads to.
fn links(text: &str) -> impl Iterator<Item = String> {
    ["href=\"", "src=\""]
        .into_iter()
        .flat_map(|before| text.split(before).skip(1))
        .filter_map(|rest| rest.split('"').next())
        .filter(|link| link.starts_with('/'))
        .map(|link| {
            let link = link.split('#').next().unwrap_or_default();
            link.replace("&amp;", "&").replace("&#38;", "&")
        })
        .collect::<Vec<_>>()
        .into_iter()
}

fn is_zip(answer: &Answer) -> bool {
    answer.body.starts_with(b"PK")
}

#[tokio::test]
async fn no_public_answer_tells_owner_serial_number_or_place() {
    let frames = frames();
    assert_eq!(
        told(&frames[0].1),
        [OWNER, SERIAL, "Exif\0"],
        "the frames hold them"
    );
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let sweep = mara.uploaded(&frames).await;
    mara.wait_until_measured(sweep).await;
    let published = mara.post(&format!("/sweeps/{sweep}/publish"), &[]).await;
    assert_eq!(published.status, 303, "{}", published.text());

    let lens = "ostrel-tern-50";
    let mut waiting: VecDeque<String> = [
        "/".to_owned(),
        "/lenses.json".to_owned(),
        "/lenses.csv".to_owned(),
        format!("/compare?lens={lens}"),
        "/api/v1/lenses".to_owned(),
        "/api/v1/openapi.json".to_owned(),
        format!("/api/v1/lenses/{lens}"),
        format!("/api/v1/lenses/{lens}/curves"),
        format!("/api/v1/lenses/{lens}/pull?from_m=2&to_m=1"),
        format!("/api/v1/compare?lens={lens}"),
        format!("/api/v1/sweeps/{sweep}"),
        format!("/sweeps/{sweep}"),
        format!("/sweeps/{sweep}/versions/1"),
        format!("/sweeps/{sweep}/everything.zip"),
        format!("/sweeps/{sweep}/frames/1"),
    ]
    .into();
    let mut seen: BTreeSet<String> = waiting.iter().cloned().collect();
    let mut pictures = 0;
    while let Some(path) = waiting.pop_front() {
        let answer = bench.get(&path).await;
        assert!(answer.status < 500, "{path}: {}", answer.text());
        let told_here = told(&answer.body);
        assert!(told_here.is_empty(), "{path} tells {told_here:?}");
        for (name, value) in &answer.headers {
            assert!(told(value.as_bytes()).is_empty(), "{path}: {name}: {value}");
        }
        if is_zip(&answer) {
            let mut zip = zip::ZipArchive::new(Cursor::new(&answer.body)).expect("a zip");
            for index in 0..zip.len() {
                let mut bytes = Vec::new();
                let mut file = zip.by_index(index).expect("an entry");
                file.read_to_end(&mut bytes).expect("whole");
                assert!(told(&bytes).is_empty(), "{path}, entry {index}");
            }
        }
        let kind = answer.header("content-type").unwrap_or_default();
        if kind == "image/jpeg" {
            assert_eq!(answer.status, 200, "{path}");
            assert!(frames.iter().all(|(_, original)| *original != answer.body));
            pictures += 1;
        }
        if kind.starts_with("text/html") {
            // Charts to take away are drawn like the others, only larger and slower.
            let is_large = |link: &str| link.contains("width=3840") || link.contains("width=1920");
            let new: Vec<String> = links(&answer.text())
                .filter(|link| !is_large(link) && seen.insert(link.clone()))
                .collect();
            waiting.extend(new);
        }
    }
    assert!(seen.len() > 40, "{seen:#?}");
    assert!(
        pictures >= frames.len(),
        "{pictures} pictures of frames: {seen:#?}"
    );

    let original = format!("/sweeps/{sweep}/frames/1/original");
    assert_eq!(bench.get(&original).await.status, 401, "not to readers");
    let odd = bench.signed_in("odd").await;
    assert_eq!(odd.get(&original).await.status, 404, "not to colleagues");
    assert_eq!(
        mara.get(&original).await.body,
        frames[0].1,
        "but to its reviewer"
    );
}

/// Making a picture decodes a whole original: readers have so many of them a minute, and what was made is not made again.
#[tokio::test]
async fn readers_can_not_have_pictures_made_without_end() {
    let bench = Bench::start_with(&["--reads-per-minute", "2"]).await;
    let mara = bench.signed_in("mara").await;
    let sweep = mara.measured_sweep().await;
    let published = mara.post(&format!("/sweeps/{sweep}/publish"), &[]).await;
    assert_eq!(published.status, 303, "{}", published.text());
    let address = |number: u32| format!("/sweeps/{sweep}/frames/{number}.jpg?side=320");
    let first = bench.get(&address(1)).await;
    assert_eq!(
        (first.status, bench.get(&address(2)).await.status),
        (200, 200)
    );
    let refused = bench.get(&address(3)).await;
    assert_eq!(refused.status, 429);
    assert!(refused.header("retry-after").is_some(), "{refused:?}");
    // Those who work on the sweep are not held up, and what they had made is there for readers.
    assert_eq!(mara.get(&address(3)).await.status, 200);
    for number in 1..=3 {
        assert_eq!(bench.get(&address(number)).await.status, 200, "{number}");
    }
    let tag = first.header("etag").expect("a tag");
    let known = Request::new("GET", &address(1)).header("if-none-match", tag);
    assert_eq!(bench.send(known).await.status, 304);
}
