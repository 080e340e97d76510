//! Judges from elsewhere: validators of OpenAPI, HTML and Data Packages, and a client that makes up requests.
//!
//! They run where `BREATHMARK_VALIDATORS` names the folder that `.ci/install` puts them into.

use std::path::{Path, PathBuf};
use std::process::Command;

use breathmark::store::{Conditions, Switch};
use breathmark::sweep::{Code, Finding, Severity};

use super::reading::served;
use super::site::{NOW, Site, curve, off, with_finding, without_distances};

const ZOOM: &str = "ostrel-28-135-f-3-5";
const LOUD: &str = "tindra-sound-85-f-1-4";

/// Longest that a judge may take, s.
const PATIENCE_S: &str = "240";
/// Requests that are made up for one route.
const MADE_UP: &str = "40";

/// The judges' folder.
fn judges() -> Option<PathBuf> {
    let folder = std::env::var_os("BREATHMARK_VALIDATORS");
    if folder.is_none() {
        eprintln!("PASSED OVER: set BREATHMARK_VALIDATORS to target/tools after .ci/install");
    }
    folder.map(PathBuf::from)
}

/// Runs a judge; what it complains of is the failure.
async fn judged(mut judge: Command) {
    let output = tokio::task::spawn_blocking(move || judge.output().expect("the judge starts"))
        .await
        .expect("it ends");
    assert!(
        output.status.success(),
        "{}\n{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
}

fn judge(program: &Path) -> Command {
    let mut command = Command::new("timeout");
    command.arg(PATIENCE_S).arg(program);
    command
}

/// A site with one of everything that answers differ by.
async fn varied() -> Site {
    let site = Site::set(&["--reads-per-minute", "0"]).await;
    site.fill().await;
    let blind = site.lens("Ostrel", "Blind 20 f/2", (20.0, 20.0)).await;
    let finding = Finding {
        code: Code::CameraMoved,
        severity: Severity::Warning,
        message: "the mid-point jumps by 3 px at SWP_0007.JPG".to_owned(),
        files: vec!["SWP_0007.JPG".to_owned()],
    };
    let measured = with_finding(without_distances(curve(20.0, 3.0, 0.3)), finding);
    site.publish(&blind, &off(), measured).await;
    let corrected = Conditions {
        distortion_correction: Switch::On,
        ..off()
    };
    site.publish(&blind, &corrected, curve(20.0, 1.0, 0.3))
        .await;
    let odd = site.lens("=1+1 & <b>", "\"Pier\" 20", (20.0, 20.0)).await;
    let sweep = site.publish(&odd, &off(), curve(20.0, -1.0, 0.3)).await;
    site.withdraw(sweep, "wrong <lens> on the camera", NOW + 1)
        .await;
    let double = site.lens("Tindra", "Sound 85", (85.0, 85.0)).await;
    site.merge(&double.slug, LOUD).await;
    site
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_description_of_the_api_is_valid() {
    let Some(folder) = judges() else { return };
    let site = varied().await;
    let scratch = tempfile::tempdir().expect("a folder");
    let file = scratch.path().join("openapi.json");
    let description = site.ask("/api/v1/openapi.json", &[]).await;
    std::fs::write(&file, description.body).expect("a temporary folder");
    let mut judge = judge(&folder.join("validators/bin/openapi-spec-validator"));
    judge.arg(&file);
    judged(judge).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_api_answers_as_described_whatever_is_asked() {
    let Some(folder) = judges() else { return };
    let site = varied().await;
    let at = served(&site).await;
    let scratch = tempfile::tempdir().expect("a folder");
    let file = scratch.path().join("openapi.json");
    let description = site.ask("/api/v1/openapi.json", &[]).await;
    std::fs::write(&file, description.body).expect("a temporary folder");
    // A cursor can't be made up: none is sent. A sweep that was withdrawn is an answer.
    let settings = "[parameters]\n\"query.cursor\" = \"\"\n[checks.positive_data_acceptance]\n\
         expected-statuses = [\"2xx\", \"3xx\", \"401\", \"404\", \"410\"]\n";
    std::fs::write(scratch.path().join("schemathesis.toml"), settings).expect("a temporary folder");
    // Parameters that nobody knows and blank ones are passed over, so not all that is wrong by the schema is refused. Of some
    // routes the parameters depend on each other, which a schema can't say.
    let dependent = "(pull|compare|counter-scale)$";
    for (which, passed_over) in [
        ("--exclude-path-regex", "negative_data_rejection"),
        (
            "--include-path-regex",
            "negative_data_rejection,positive_data_acceptance",
        ),
    ] {
        let mut judge = judge(&folder.join("validators/bin/schemathesis"));
        judge
            .current_dir(scratch.path())
            .arg("run")
            .arg(&file)
            .args(["--url", &at, "--seed", "1", "--max-examples", MADE_UP])
            .args(["--phases", "examples,coverage,fuzzing", "--checks", "all"])
            .args(["--exclude-checks", passed_over, which, dependent])
            .args(["--no-color", "--continue-on-failure"]);
        judged(judge).await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_package_of_all_numbers_is_valid() {
    let Some(folder) = judges() else { return };
    let site = varied().await;
    let scratch = tempfile::tempdir().expect("a folder");
    let package = site.ask("/data/breathmark.zip", &[]).await;
    let zip = std::io::Cursor::new(package.body);
    let mut zip = zip::ZipArchive::new(zip).expect("a zip");
    zip.extract(scratch.path()).expect("a temporary folder");
    let mut judge = judge(&folder.join("validators/bin/frictionless"));
    judge
        .current_dir(scratch.path())
        .args(["validate", "datapackage.json"]);
    judged(judge).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_page_for_readers_is_valid_html() {
    let Some(folder) = judges() else { return };
    let site = varied().await;
    let scratch = tempfile::tempdir().expect("a folder");
    let lens = format!("/lenses/{ZOOM}");
    let both = format!("lens={ZOOM}&lens={LOUD}");
    let pages = [
        "/",
        "/lenses",
        "/lenses?q=nothing+like+it",
        "/lenses?tolerance_pct=1&sort=name&order=desc&limit=2&mount=Skerry+bayonet&kind=prime",
        "/lenses?conditions=correction-on.compensation-off",
        &lens,
        &format!("{lens}?axis=travel&tolerance_pct=1"),
        &format!("{lens}?from_m=3&to_m=0.2&picture_width_px=3840"),
        &format!("{lens}/counter-scale"),
        &format!("{lens}/counter-scale?step_travel=0.1"),
        &format!("/embed/lens/{ZOOM}"),
        "/lenses/ostrel-blind-20-f-2",
        "/lenses/1-1-b-pier-20",
        "/lenses/tindra-reef-35-f-2",
        "/lenses/nobody-knows-it",
        "/compare",
        &format!("/compare?{both}"),
        &format!("/compare?{both}&lens=ostrel-blind-20-f-2&from_m=3&to_m=1"),
        "/plan",
        "/method",
        "/api",
        "/sign-in",
        "/nothing-is-here",
        "/lenses?limit=0",
    ];
    let mut judge = judge(Path::new("java"));
    judge
        .arg("-jar")
        .arg(folder.join("node_modules/vnu-jar/build/dist/vnu.jar"))
        .args(["--errors-only", "--Werror"]);
    for (number, page) in pages.iter().enumerate() {
        let answer = site.get(page).await;
        let kind = answer.header(axum::http::header::CONTENT_TYPE);
        assert!(kind.starts_with("text/html"), "{page}: {kind}");
        let name = page.replace(|c: char| !c.is_ascii_alphanumeric(), "_");
        let file = scratch.path().join(format!("{number:02}{name:.60}.html"));
        std::fs::write(&file, answer.body).expect("a temporary folder");
        judge.arg(file);
    }
    judged(judge).await;
}
