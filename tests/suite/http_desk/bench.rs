//! A server as `breathmark serve` runs it, on a free port and a temporary folder, with two reviewers and an operator.

use std::net::SocketAddr;
use std::sync::LazyLock;
use std::time::{Duration, Instant};

use breathmark::app::App;
use breathmark::config::Config;
use breathmark::simulate::{Scene, SweepScript};
use breathmark::store::Role;
use breathmark::web::{self, password};
use clap::Parser as _;
use tokio::task::JoinHandle;

use super::client::{Answer, Request};

/// The password of every account here.
pub(super) const PASSWORD: &str = "tape on black cloth";
/// Its hash, made once: a hash costs tens of milliseconds.
static HASH: LazyLock<String> = LazyLock::new(|| password::hash(PASSWORD).expect("random bytes"));

#[derive(clap::Parser)]
struct Settings {
    #[command(flatten)]
    config: Config,
}

/// The running server; it goes with its folder when the test ends.
pub(super) struct Bench {
    pub(super) app: App,
    pub(super) at: SocketAddr,
    working: JoinHandle<()>,
    serving: JoinHandle<std::io::Result<()>>,
    _folder: tempfile::TempDir,
}

impl Bench {
    pub(super) async fn start() -> Self {
        Self::start_with(&[]).await
    }

    /// With more settings of the command line.
    pub(super) async fn start_with(settings: &[&str]) -> Self {
        Self::open(settings, true).await
    }

    /// With nobody to measure: what is uploaded stays in line.
    pub(super) async fn start_without_worker() -> Self {
        Self::open(&[], false).await
    }

    async fn open(settings: &[&str], is_measuring: bool) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let data = folder.path().join("data");
        let data = data.to_str().expect("temporary paths are UTF-8");
        let arguments = [
            &["breathmark", "--data", data, "--listen", "127.0.0.1:0"],
            settings,
        ]
        .concat();
        let config = Settings::parse_from(arguments).config;
        let listener = tokio::net::TcpListener::bind(config.listen)
            .await
            .expect("a free port");
        let at = listener.local_addr().expect("it is bound");
        let app = App::open(config).await.expect("a fresh folder opens");
        for (name, role) in [
            ("Mara", Role::Reviewer),
            ("Odd", Role::Reviewer),
            ("Quay", Role::Operator),
        ] {
            app.store
                .add_account(name, role, &HASH, 1)
                .await
                .expect("a new name");
        }
        let working = if is_measuring {
            app.start_worker()
        } else {
            tokio::spawn(async {})
        };
        let serving = tokio::spawn(web::server::serve(
            listener,
            web::router(app.clone()),
            app.stop.clone(),
        ));
        Self {
            app,
            at,
            working,
            serving,
            _folder: folder,
        }
    }

    pub(super) async fn send(&self, request: Request) -> Answer {
        request.send(self.at).await
    }

    pub(super) async fn get(&self, path: &str) -> Answer {
        self.send(Request::new("GET", path)).await
    }

    /// Signs in without the form; the cookie.
    pub(super) async fn cookie_of(&self, name: &str) -> String {
        let answer = self
            .send(Request::new("POST", "/sign-in").form(&[("name", name), ("password", PASSWORD)]))
            .await;
        assert_eq!(answer.status, 303, "{}", answer.text());
        answer.cookie().expect("a session cookie").to_owned()
    }

    /// Somebody who is signed in.
    pub(super) async fn signed_in(&self, name: &str) -> SignedIn<'_> {
        SignedIn {
            bench: self,
            cookie: self.cookie_of(name).await,
        }
    }

    /// Ends as on SIGTERM.
    pub(super) async fn stop(self) {
        self.app.stop.cancel();
        self.serving
            .await
            .expect("serving does not panic")
            .expect("serving ends well");
        self.working.await.expect("the worker does not panic");
    }
}

/// Requests with a session.
pub(super) struct SignedIn<'a> {
    pub(super) bench: &'a Bench,
    pub(super) cookie: String,
}

impl SignedIn<'_> {
    pub(super) async fn send(&self, request: Request) -> Answer {
        self.bench
            .send(request.header("cookie", &self.cookie))
            .await
    }

    pub(super) async fn get(&self, path: &str) -> Answer {
        self.send(Request::new("GET", path)).await
    }

    pub(super) async fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        self.send(Request::new("POST", path).form(fields)).await
    }

    pub(super) async fn post_json(&self, path: &str, document: serde_json::Value) -> Answer {
        self.send(Request::new("POST", path).json(&document)).await
    }

    pub(super) async fn put(&self, path: &str, bytes: &[u8]) -> Answer {
        self.send(Request::new("PUT", path).body("application/octet-stream", bytes))
            .await
    }

    /// Makes a lens and opens an upload of it; the upload's key.
    pub(super) async fn open_upload(&self) -> i64 {
        let made = self.post_json("/api/v1/lenses", lens()).await;
        assert!(made.status == 201 || made.status == 409, "{}", made.text());
        let opened = self
            .post_json(
                "/api/v1/uploads",
                serde_json::json!({"lens": "ostrel-tern-50"}),
            )
            .await;
        assert_eq!(opened.status, 201, "{}", opened.text());
        opened.json()["id"].as_i64().expect("a key")
    }

    /// Uploads the frames of a sweep and waits until it is measured; the sweep's key.
    pub(super) async fn measured_sweep(&self) -> i64 {
        let sweep = self.uploaded_sweep().await;
        self.wait_until_measured(sweep).await;
        sweep
    }

    /// Uploads the frames of a sweep, which is queued then; the sweep's key.
    pub(super) async fn uploaded_sweep(&self) -> i64 {
        self.uploaded(frames()).await
    }

    /// Uploads these frames as one sweep, which is queued then; the sweep's key.
    pub(super) async fn uploaded(&self, frames: &[(String, Vec<u8>)]) -> i64 {
        let upload = self.open_upload().await;
        for (name, bytes) in frames {
            let path = format!("/api/v1/uploads/{upload}/files/{name}");
            let put = self.put(&path, bytes).await;
            assert_eq!(put.status, 201, "{}", put.text());
        }
        let finished = self
            .post_json(
                &format!("/api/v1/uploads/{upload}/finish"),
                serde_json::json!({}),
            )
            .await;
        assert_eq!(finished.status, 200, "{}", finished.text());
        finished.json()["sweeps"][0].as_i64().expect("one sweep")
    }

    /// Waits as the page's script does.
    pub(super) async fn wait_until_measured(&self, sweep: i64) {
        let patience = Instant::now() + Duration::from_secs(20);
        loop {
            let progress = self.get(&format!("/sweeps/{sweep}/progress")).await;
            assert_eq!(progress.status, 200, "{}", progress.text());
            if progress.json()["measuring"] == false {
                return;
            }
            assert!(Instant::now() < patience, "{}", progress.text());
            tokio::time::sleep(Duration::from_millis(15)).await;
        }
    }
}

/// A lens to be made.
pub(super) fn lens() -> serde_json::Value {
    serde_json::json!({
        "maker": "Ostrel", "model": "Tern 50", "mount": "Harrow lock", "kind": "prime",
        "focal_min_mm": 50, "max_aperture": 1.8, "closest_focus_m": 0.5
    })
}

/// Eight small frames of a 50 mm lens that gets 2 % tighter, rendered once.
pub(super) fn frames() -> &'static [(String, Vec<u8>)] {
    static FRAMES: LazyLock<Vec<(String, Vec<u8>)>> = LazyLock::new(|| {
        let mut script = SweepScript::plain(50.0, 2.0, 8);
        script.scene = Scene::two_targets(480, 320);
        (0..script.frames)
            .map(|frame| {
                let bytes = script.jpeg(frame).expect("rendering to memory");
                (script.file_name(frame), bytes)
            })
            .collect()
    });
    &FRAMES
}
