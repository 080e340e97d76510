//! What is taken away of a sweep, and an upload that is discarded.

use std::io::{Cursor, Read as _};

use super::bench::{Bench, frames};
use super::client::Answer;

/// The archive of an answer: names and bytes.
fn entries(answer: &Answer) -> Vec<(String, Vec<u8>)> {
    let mut zip = zip::ZipArchive::new(Cursor::new(&answer.body)).expect("a zip");
    (0..zip.len())
        .map(|index| {
            let mut file = zip.by_index(index).expect("an entry");
            let mut bytes = Vec::new();
            file.read_to_end(&mut bytes).expect("whole");
            (file.name().expect("a plain name").into_owned(), bytes)
        })
        .collect()
}

#[tokio::test]
async fn a_sweep_is_taken_away_whole_by_its_reviewer_and_without_originals_by_readers() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let sweep = mara.measured_sweep().await;
    let at = format!("/sweeps/{sweep}");
    let names = [
        "everything.zip",
        "result.json",
        "result.csv",
        "chart.svg",
        "chart.png",
    ];
    for name in names {
        let hidden = bench.get(&format!("{at}/{name}")).await;
        assert_eq!(hidden.status, 404, "a draft's {name} is not there");
        let own = mara.get(&format!("{at}/{name}")).await;
        assert_eq!(own.status, 200, "{name}: {}", own.text());
        assert_eq!(
            own.header("cache-control"),
            Some("private, no-store"),
            "{name}"
        );
    }
    let own = entries(&mara.get(&format!("{at}/everything.zip")).await);
    let find = |name: &str| {
        own.iter()
            .find(|(known, _)| known == name)
            .map(|(_, bytes)| bytes)
    };
    for size in ["1920x1080", "3840x2160", "1200x675"] {
        for theme in ["light", "dark", "clear"] {
            let svg = find(&format!("charts/{size}-{theme}.svg")).expect("a drawing");
            assert!(
                svg.starts_with(b"<svg") || svg.starts_with(b"<?xml"),
                "{size} {theme}"
            );
            let png = find(&format!("charts/{size}-{theme}.png")).expect("a picture");
            let side = u32::from_be_bytes(png[16..20].try_into().expect("four bytes"));
            assert!(
                size.starts_with(&side.to_string()),
                "{size} {theme}: {side}"
            );
        }
    }
    for (index, (file, bytes)) in frames().iter().enumerate() {
        let name = format!("originals/{:03}-{file}", index + 1);
        assert_eq!(find(&name).expect("the file as it came"), bytes, "{name}");
    }
    let result: serde_json::Value =
        serde_json::from_slice(find("result.json").expect("numbers")).expect("JSON");
    assert_eq!(result["frame_count"], frames().len());
    let rows = String::from_utf8(find("frames.csv").expect("rows").clone()).expect("UTF-8");
    assert_eq!(rows.lines().count(), frames().len() + 1);
    let about = String::from_utf8(find("about.txt").expect("words").clone()).expect("UTF-8");
    assert!(
        about.contains("At 50 mm the picture gets tighter"),
        "{about}"
    );

    assert_eq!(mara.post(&format!("{at}/publish"), &[]).await.status, 303);
    let public = bench.get(&format!("{at}/everything.zip")).await;
    assert_eq!(public.status, 200);
    assert!(
        public
            .header("content-disposition")
            .is_some_and(|how| how.contains("ostrel-tern-50-sweep-")),
    );
    let public = entries(&public);
    assert!(
        public.iter().all(|(name, _)| !name.contains("originals")),
        "never to readers"
    );
    assert!(public.iter().any(|(name, _)| name == "result.json"));
    let source = |all: &[(String, Vec<u8>)]| {
        let chart = all.iter().find(|(name, _)| name.ends_with("-light.svg"));
        String::from_utf8(chart.expect("a chart").1.clone()).expect("UTF-8")
    };
    assert!(source(&own).contains("Breathmark · a draft, not published"));
    assert!(source(&public).contains(&format!("{at} · CC BY 4.0")));
    let page = bench.get(&at).await.text();
    assert!(
        page.contains("everything.zip") && page.contains("theme=clear"),
        "{page}"
    );
    let wide = bench.get(&format!("{at}/chart.png?width=99999")).await;
    assert_eq!(wide.status, 422);
    let lens = bench.get("/lenses/ostrel-tern-50").await.text();
    for link in [
        "width=3840&amp;height=2160&amp;theme=dark",
        ".svg?width=1200&amp;height=675&amp;theme=clear",
    ] {
        assert!(lens.contains(link), "{link}: {lens}");
    }
}

#[tokio::test]
async fn an_upload_that_only_refused_files_came_to_is_discarded() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let upload = mara.open_upload().await;
    let path = format!("/api/v1/uploads/{upload}/files");
    mara.put(&format!("{path}/notes.jpg"), b"no picture").await;
    let page = mara.get(&format!("/desk/uploads/{upload}")).await.text();
    assert!(page.contains("Discard this upload"), "{page}");
    let discard = format!("/desk/uploads/{upload}/discard");
    let odd = bench.signed_in("odd").await;
    assert_eq!(odd.post(&discard, &[]).await.status, 404);
    assert_eq!(mara.post(&discard, &[]).await.location(), "/desk");
    assert_eq!(
        mara.get(&format!("/desk/uploads/{upload}")).await.status,
        404
    );

    let upload = mara.open_upload().await;
    let (name, bytes) = &frames()[0];
    mara.put(&format!("/api/v1/uploads/{upload}/files/{name}"), bytes)
        .await;
    let kept = mara
        .post(&format!("/desk/uploads/{upload}/discard"), &[])
        .await;
    assert_eq!(kept.status, 409, "frames are kept");
    let page = mara.get(&format!("/desk/uploads/{upload}")).await.text();
    assert!(!page.contains("Discard this upload"), "{page}");
}
