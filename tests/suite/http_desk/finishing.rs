//! Finishing an upload: it goes on whoever leaves, leaves out no frame that was taken, and what was sent may come again.

use std::fs;
use std::io::Write as _;
use std::path::PathBuf;
use std::process::Command;
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use zip::write::SimpleFileOptions;

use super::bench::{Bench, SignedIn, frames};

/// Nothing here takes long: what is not done after this never will be.
const SOON: Duration = Duration::from_secs(20);
/// Long enough for a request to reach what it has to wait for.
const MOMENT: Duration = Duration::from_millis(300);

/// An original on a disk that stands still: who reads it waits until it is let go.
struct Still {
    original: PathBuf,
    aside: PathBuf,
    pipe: PathBuf,
}

impl Still {
    fn at(original: PathBuf) -> Self {
        let aside = original.with_extension("aside");
        let pipe = original.with_extension("pipe");
        fs::rename(&original, &aside).expect("it is kept there");
        let made = Command::new("mkfifo").arg(&pipe).status();
        assert!(made.expect("mkfifo can be run").success());
        fs::hard_link(&pipe, &original).expect("a second name");
        Self {
            original,
            aside,
            pipe,
        }
    }

    /// Gives the bytes to whoever waits for them, and to all who come later.
    fn let_go(&self) {
        if fs::rename(&self.aside, &self.original).is_ok() {
            let bytes = fs::read(&self.original).expect("readable");
            let pipe = self.pipe.clone();
            // Waits for a reader, of whom there may be none.
            std::thread::spawn(move || fs::write(pipe, bytes));
        }
    }
}

impl Drop for Still {
    fn drop(&mut self) {
        self.let_go();
    }
}

/// A frame without what its file says: where others say when they were taken, finishing looks for copies of them.
fn bare(frame: &[u8]) -> Vec<u8> {
    let mut at = 2;
    // Segments of metadata stand first; each says how long it is.
    while frame[at + 1] >= 0xE0 {
        at += 2 + usize::from(u16::from_be_bytes([frame[at + 2], frame[at + 3]]));
    }
    [&[0xFF, 0xD8], &frame[at..]].concat()
}

/// An upload of all frames but the last, one of them bare; its address, and the first frame on a disk that stands still.
async fn half_sent(mara: &SignedIn<'_>) -> (String, Still) {
    let upload = format!("/api/v1/uploads/{}", mara.open_upload().await);
    let count = frames().len() - 1;
    let mut first = None;
    for (at, (name, bytes)) in frames()[..count].iter().enumerate() {
        let bytes = if at == 3 { bare(bytes) } else { bytes.clone() };
        let put = mara.put(&format!("{upload}/files/{name}"), &bytes).await;
        assert_eq!(put.status, 201, "{}", put.text());
        let sha256 = put.json()["files"][0]["sha256"].clone();
        first.get_or_insert(sha256.as_str().expect("a hash").to_owned());
    }
    let first = first.expect("a first frame");
    let still = Still::at(mara.bench.app.originals.path(&first));
    (upload, still)
}

async fn state(mara: &SignedIn<'_>, upload: &str) -> Value {
    mara.get(upload).await.json()
}

#[tokio::test]
async fn once_begun_it_goes_on_whoever_leaves() {
    let bench = Bench::start_without_worker().await;
    let mara = bench.signed_in("mara").await;
    let (upload, still) = half_sent(&mara).await;
    let finish = format!("{upload}/finish");
    let left = tokio::time::timeout(MOMENT, mara.post_json(&finish, json!({}))).await;
    assert!(left.is_err(), "the disk stands still");
    still.let_go();
    let patience = Instant::now() + SOON;
    while state(&mara, &upload).await["finished"] == false {
        assert!(Instant::now() < patience, "it was broken off");
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    let sweeps = state(&mara, &upload).await["sweeps"].clone();
    let again = mara.post_json(&finish, json!({})).await;
    assert_eq!((again.status, &again.json()["sweeps"]), (200, &sweeps));
}

#[tokio::test]
async fn a_frame_that_arrives_meanwhile_is_in_a_sweep() {
    let bench = Bench::start_without_worker().await;
    let mara = bench.signed_in("mara").await;
    let (upload, still) = half_sent(&mara).await;
    let finish = format!("{upload}/finish");
    let (name, bytes) = frames().last().expect("frames");
    let late = async {
        tokio::time::sleep(MOMENT).await;
        let put = mara.put(&format!("{upload}/files/{name}"), bytes).await;
        still.let_go();
        put
    };
    let both = async { tokio::join!(mara.post_json(&finish, json!({})), late) };
    let (early, late) = tokio::time::timeout(SOON, both).await.expect("answers");
    assert_eq!(late.status, 201, "{}", late.text());
    assert_eq!(early.status, 409, "{}", early.text());
    assert!(early.text().contains("finish again"), "{}", early.text());
    assert_eq!(state(&mara, &upload).await["finished"], false);

    let finished = mara.post_json(&finish, json!({})).await;
    assert_eq!(finished.status, 200, "{}", finished.text());
    let mut sorted = 0;
    for sweep in finished.json()["sweeps"].as_array().expect("sweeps") {
        let sweep = sweep.as_i64().expect("a key");
        let input = bench.app.store.sweep_input(sweep).await;
        sorted += input.expect("readable").expect("there").frames.len();
    }
    assert_eq!(sorted, frames().len());
}

fn zip_of(files: &[(&str, &[u8])]) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, bytes) in files {
        zip.start_file(*name, SimpleFileOptions::default())
            .expect("in memory");
        zip.write_all(bytes).expect("in memory");
    }
    zip.finish().expect("in memory").into_inner()
}

#[tokio::test]
async fn what_was_sent_may_come_again_and_more_is_told_why_not() {
    let bench = Bench::start_without_worker().await;
    let mara = bench.signed_in("mara").await;
    let upload = format!("/api/v1/uploads/{}", mara.open_upload().await);
    let all: Vec<(&str, &[u8])> = frames()
        .iter()
        .map(|(name, bytes)| (name.as_str(), bytes.as_slice()))
        .collect();
    let (some, (last, bytes)) = (&all[..7], all[7]);
    let card = format!("{upload}/files/card.zip");
    let sent = mara.put(&card, &zip_of(some)).await;
    assert_eq!(sent.status, 201, "{}", sent.text());
    let finished = mara.post_json(&format!("{upload}/finish"), json!({})).await;
    assert_eq!(finished.status, 200, "{}", finished.text());

    let again = mara.put(&card, &zip_of(some)).await;
    assert_eq!(again.status, 200, "{}", again.text());
    assert_eq!(again.json()["refused"], json!([]));
    // A part of a path may be parted otherwise by the computer that sends it.
    let parted = format!("{upload}/files/card%5C{}", some[0].0);
    let parted = mara.put(&parted, some[0].1).await;
    assert_eq!(parted.status, 200, "{}", parted.text());

    for more in [
        mara.put(&card, &zip_of(&all)).await,
        mara.put(&format!("{upload}/files/{last}"), bytes).await,
    ] {
        assert_eq!(more.status, 409, "{}", more.text());
        assert!(more.text().contains("finished"), "{}", more.text());
    }
    let other = format!("{upload}/files/card/{}", some[0].0);
    let other = mara.put(&other, bytes).await;
    assert_eq!(other.status, 409, "{}", other.text());
    assert!(other.text().contains("rename"), "{}", other.text());
}

#[tokio::test]
async fn a_copy_with_other_metadata_counts_once() {
    let bench = Bench::start_without_worker().await;
    let mara = bench.signed_in("mara").await;
    let upload = format!("/api/v1/uploads/{}", mara.open_upload().await);
    let mut sent: Vec<(String, Vec<u8>)> = frames()
        .iter()
        .map(|(name, bytes)| (format!("card/{name}"), bytes.clone()))
        .collect();
    // A comment (ITU-T T.81, B.2.4.5) that a program wrote into it; the folder comes before the frames in natural order.
    let (name, bytes) = &frames()[2];
    let comment = [&[0xFF, 0xFE, 0, 6][..], b"best"].concat();
    let copy = [&bytes[..2], &comment, &bytes[2..]].concat();
    sent.push((format!("card/BEST/{name}"), copy));
    for (path, bytes) in &sent {
        let put = mara.put(&format!("{upload}/files/{path}"), bytes).await;
        assert_eq!(put.status, 201, "{}", put.text());
    }
    let finished = mara.post_json(&format!("{upload}/finish"), json!({})).await;
    let sweeps = finished.json()["sweeps"].clone();
    assert_eq!(sweeps.as_array().map(Vec::len), Some(1), "{sweeps}");
    let state = state(&mara, &upload).await;
    let reason = format!("the same picture as card/{name}; it counts once");
    assert_eq!(
        state["refused"],
        json!([{"name": format!("card/BEST/{name}"), "reason": reason}])
    );
}
