//! Judges from elsewhere: validators of OpenAPI, HTML, XML and Data Packages, and a client that makes up requests. They judge
//! a site by its address.
//!
//! They run where `BREATHMARK_VALIDATORS` names the folder that `.ci/install` puts them into.

use std::path::{Path, PathBuf};
use std::process::Command;

/// Longest that a judge may take, s.
const PATIENCE_S: &str = "240";
/// Requests that are made up for one route.
const MADE_UP: &str = "40";

/// The judges, and a folder for what they look at.
pub(super) struct Judges {
    folder: PathBuf,
    scratch: tempfile::TempDir,
}

impl Judges {
    /// The judges of this machine.
    pub(super) fn here() -> Self {
        let folder = std::env::var_os("BREATHMARK_VALIDATORS");
        let folder = folder.expect("BREATHMARK_VALIDATORS is target/tools after .ci/install");
        Self {
            folder: PathBuf::from(folder),
            scratch: tempfile::tempdir().expect("a folder"),
        }
    }

    /// The description of the API is OpenAPI 3.1.
    pub(super) async fn judge_description(&self, at: &str) {
        let file = self.fetch(at, "/api/v1/openapi.json", "openapi.json").await;
        let mut judge = judge(&self.folder.join("validators/bin/openapi-spec-validator"));
        judge.arg(file);
        judged(judge).await;
    }

    /// The API answers as it is described, whatever is asked.
    pub(super) async fn judge_answers(&self, at: &str) {
        let file = self.fetch(at, "/api/v1/openapi.json", "openapi.json").await;
        // A cursor can't be made up: none is sent. That something moved, is not there or was withdrawn is an answer.
        let settings = "[parameters]\n\"query.cursor\" = \"\"\n[checks.positive_data_acceptance]\n\
             expected-statuses = [\"2xx\", \"3xx\", \"401\", \"404\", \"410\"]\n";
        std::fs::write(self.scratch.path().join("schemathesis.toml"), settings)
            .expect("a temporary folder");
        // OpenAPI 3.1.0 describes each parameter alone (4.8.12): it has no way to say that `to_m` goes with `from_m`, that
        // `step_m` and `step_travel` exclude each other, that `min_focal_mm` is the shorter one, or which `conditions` and
        // focal lengths a lens has. Of these routes a question can so be right by the description and still be none; 422 is
        // what it then gets (RFC 9110, 15.5.21).
        let dependent = "(lenses|lenses/[{]slug[}]|curves|pull|compare|counter-scale)$";
        for (which, left_out) in [
            ("--exclude-path-regex", None),
            ("--include-path-regex", Some("positive_data_acceptance")),
        ] {
            let mut judge = judge(&self.folder.join("validators/bin/schemathesis"));
            judge
                .current_dir(self.scratch.path())
                .arg("run")
                .arg(&file)
                .args(["--url", at, "--seed", "1", "--max-examples", MADE_UP])
                .args(["--phases", "examples,coverage,fuzzing", "--checks", "all"])
                .args([which, dependent, "--no-color", "--continue-on-failure"]);
            if let Some(left_out) = left_out {
                judge.args(["--exclude-checks", left_out]);
            }
            judged(judge).await;
        }
    }

    /// The package of all numbers is what its description says.
    pub(super) async fn judge_package(&self, at: &str) {
        let file = self.fetch(at, "/data/breathmark.zip", "package.zip").await;
        let zip = std::fs::File::open(file).expect("just fetched");
        let mut zip = zip::ZipArchive::new(zip).expect("a zip");
        let folder = self.scratch.path().join("package");
        zip.extract(&folder).expect("a temporary folder");
        let mut judge = judge(&self.folder.join("validators/bin/frictionless"));
        judge
            .current_dir(folder)
            .args(["validate", "datapackage.json"]);
        judged(judge).await;
    }

    /// Feed and sitemap are as their standards want them.
    pub(super) async fn judge_feed_and_sitemap(&self, at: &str) {
        let schemas = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/validators");
        for (path, schema) in [("/feed.atom", "atom.rnc"), ("/sitemap.xml", "sitemap.rnc")] {
            let file = self.fetch(at, path, &path[1..]).await;
            let mut judge = self.java();
            // The checker of HTML brings one of RELAX NG along.
            judge
                .arg("nu.validator.vendor.thaiopensource.relaxng.util.Driver")
                .arg("-c")
                .args([schemas.join(schema), file]);
            judged(judge).await;
        }
    }

    /// These pages are HTML without errors and warnings.
    pub(super) async fn judge_pages(&self, at: &str, pages: &[String]) {
        let mut judge = self.java();
        judge
            .arg("nu.validator.client.SimpleCommandLineValidator")
            .args(["--errors-only", "--Werror"]);
        for (number, page) in pages.iter().enumerate() {
            let name = page.replace(|c: char| !c.is_ascii_alphanumeric(), "_");
            let name = format!("{number:03}{name:.60}.html");
            judge.arg(self.fetch(at, page, &name).await);
        }
        judged(judge).await;
    }

    /// Java with the checker's classes.
    fn java(&self) -> Command {
        let mut judge = judge(Path::new("java"));
        let classes = "node_modules/vnu-jar/build/dist/vnu.jar";
        judge.arg("-cp").arg(self.folder.join(classes));
        judge
    }

    /// Fetches an answer, whatever its status, as a browser would, into a file.
    async fn fetch(&self, at: &str, path: &str, name: &str) -> PathBuf {
        let file = self.scratch.path().join(name);
        let mut curl = judge(Path::new("curl"));
        curl.args(["-sS", "-H", "Accept: text/html,*/*", "-o"])
            .arg(&file)
            .arg(format!("{at}{path}"));
        judged(curl).await;
        let bytes = std::fs::metadata(&file).map_or(0, |file| file.len());
        assert!(bytes > 0, "{path} is empty");
        file
    }

    /// The addresses of the sitemap, without the site.
    pub(super) async fn pages_of_sitemap(&self, at: &str) -> Vec<String> {
        let file = self.fetch(at, "/sitemap.xml", "sitemap.xml").await;
        let text = std::fs::read_to_string(file).expect("just fetched");
        let document = roxmltree::Document::parse(&text).expect("XML");
        let places = document
            .descendants()
            .filter(|node| node.has_tag_name("loc"));
        places
            .filter_map(|place| place.text()?.strip_prefix(at))
            .map(str::to_owned)
            .collect()
    }
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
