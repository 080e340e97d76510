//! The first sentence of a lens page, over the cases that a lens can be.

use breathmark::sweep::{Code, Finding, Severity, SweepMeasurement};

use super::site::{Site, curve, off, with_finding, without_distances};

/// The verdict on the page of a lens with these sweeps.
async fn verdict(focal: (f64, f64), sweeps: Vec<SweepMeasurement>) -> String {
    let site = Site::new().await;
    let lens = site.lens("Ostrel", "Quay", focal).await;
    for sweep in sweeps {
        site.publish(&lens, &off(), sweep).await;
    }
    let text = site.get("/lenses/ostrel-quay").await.text();
    let from = text.find("class=\"verdict\">").expect("a verdict") + 16;
    let to = text[from..].find("</p>").expect("its end");
    text[from..from + to].replace('\u{a0}', " ")
}

#[tokio::test]
async fn a_prime_within_tolerance() {
    let words = verdict((50.0, 50.0), vec![curve(50.0, 0.3, 0.4)]).await;
    assert!(words.contains("tighter by 0.30 %"), "{words}");
    assert!(
        words.contains("stays within 2 % everywhere it was measured"),
        "{words}"
    );
}

#[tokio::test]
async fn a_prime_beyond_tolerance_that_goes_wider() {
    let words = verdict((85.0, 85.0), vec![curve(85.0, -5.2, 0.8)]).await;
    assert!(
        words.contains("wider by 5.20 %") && words.contains("80.6 mm"),
        "{words}"
    );
    // 0.8 m · 5.2 / 2.
    assert!(words.contains("beyond 2.08 m"), "{words}");
}

#[tokio::test]
async fn a_lens_that_does_not_breathe_to_be_seen() {
    let words = verdict((50.0, 50.0), vec![curve(50.0, 0.005, 0.4)]).await;
    assert!(words.contains("holds its framing"), "{words}");
}

#[tokio::test]
async fn a_zoom_that_changes_sign() {
    let sweeps = vec![curve(24.0, -3.0, 0.5), curve(70.0, 2.5, 0.5)];
    let words = verdict((24.0, 70.0), sweeps).await;
    assert!(
        words.contains("wider at some focal lengths and tighter at others"),
        "{words}"
    );
    assert!(words.contains("3.00 %, at 24 mm (wider)"), "{words}");
    assert!(words.contains("every focal length measured"), "{words}");
}

#[tokio::test]
async fn a_zoom_that_exceeds_at_one_end_only() {
    let sweeps = vec![curve(24.0, 0.5, 0.5), curve(70.0, 4.0, 0.5)];
    let words = verdict((24.0, 70.0), sweeps).await;
    assert!(
        words.contains("It gets tighter when focused closer"),
        "{words}"
    );
    assert!(
        words.contains("exceeds 2 % at 70 mm; beyond 1 m (3.3 ft)"),
        "{words}"
    );
}

#[tokio::test]
async fn distances_that_nobody_knows() {
    let words = verdict((50.0, 50.0), vec![without_distances(curve(50.0, 3.0, 0.4))]).await;
    assert!(
        words.contains("from which distance on is not known"),
        "{words}"
    );
    let within = verdict((50.0, 50.0), vec![without_distances(curve(50.0, 1.0, 0.4))]).await;
    assert!(within.contains("stays within 2 %"), "{within}");
}

#[tokio::test]
async fn a_lens_that_nobody_measured() {
    let words = verdict((50.0, 50.0), Vec::new()).await;
    assert!(words.contains("Not measured yet"), "{words}");
}

#[tokio::test]
async fn a_sweep_that_does_not_end_at_infinity() {
    let finding = Finding {
        code: Code::ReferenceNotAtInfinity,
        severity: Severity::Warning,
        message: "the last frame is focused at 3 m".to_owned(),
        files: vec!["SWP_0025.JPG".to_owned()],
    };
    let sweep = with_finding(curve(50.0, 3.0, 0.4), finding);
    let words = verdict((50.0, 50.0), vec![sweep]).await;
    assert!(words.contains("against the farthest frame"), "{words}");
}
