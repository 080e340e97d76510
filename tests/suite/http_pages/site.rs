//! A site on a temporary folder with published sweeps, asked through its router.

use crate::support::lenses::draft;
use axum::Router;
use axum::body::Body;
use axum::http::{Method, Request, Response, StatusCode, header};
use breathmark::app::App;
use breathmark::config::Config;
use breathmark::store::{
    AccountId, Actor, Conditions, Lens, Role, SweepDraft, SweepId, Switch, UploadFile,
};
use breathmark::sweep::{
    Budget, Code, CurvePoint, DistanceSource, Finding, FrameInfo, FrameResult, FrameState,
    ShiftCurve, Summary, SweepMeasurement, SweepSettings,
};
use breathmark::units::{FNumber, FocusDistance, Measured, Metres, Millimetres};
use clap::Parser as _;
use http_body_util::BodyExt as _;
use tower::ServiceExt as _;

/// Some time in 2026, ms since 1970 UTC.
pub(super) const NOW: i64 = 1_775_000_000_000;

#[derive(clap::Parser)]
struct Settings {
    #[command(flatten)]
    config: Config,
}

/// The site; its folder goes when it goes.
pub(super) struct Site {
    pub(super) app: App,
    router: Router,
    reviewer: AccountId,
    _folder: tempfile::TempDir,
}

/// An answer, read to its end.
pub(super) struct Answer {
    pub(super) status: StatusCode,
    pub(super) headers: axum::http::HeaderMap,
    pub(super) body: Vec<u8>,
}

impl Answer {
    pub(super) fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    pub(super) fn json(&self) -> serde_json::Value {
        serde_json::from_slice(&self.body)
            .unwrap_or_else(|error| panic!("{error}: {}", self.text()))
    }

    pub(super) fn header(&self, name: header::HeaderName) -> &str {
        self.headers
            .get(name)
            .and_then(|value| value.to_str().ok())
            .unwrap_or_default()
    }
}

impl Site {
    pub(super) async fn new() -> Self {
        Self::set(&[]).await
    }

    /// A site with more settings.
    pub(super) async fn set(more: &[&str]) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let data = folder.path().join("data");
        let settings = [
            "breathmark".as_ref(),
            "--data".as_ref(),
            data.as_os_str(),
            "--public-url".as_ref(),
            "https://lens.example".as_ref(),
        ];
        let more = more.iter().map(std::ffi::OsStr::new);
        let config = Settings::parse_from(settings.into_iter().chain(more)).config;
        let app = App::open(config).await.expect("a new data folder");
        let reviewer = app
            .store
            .add_account("Ines", Role::Reviewer, "not a hash", NOW)
            .await
            .expect("a first account");
        Self {
            router: breathmark::web::router(app.clone()),
            app,
            reviewer,
            _folder: folder,
        }
    }

    /// A site with a zoom of six focal lengths, two primes, and a lens that nobody measured.
    pub(super) async fn with_lenses() -> Self {
        let site = Self::new().await;
        site.fill().await;
        site
    }

    /// Puts lenses on an empty site.
    pub(super) async fn fill(&self) {
        let site = self;
        let zoom = site.lens("Ostrel", "28-135 f/3.5", (28.0, 135.0)).await;
        for (focal, worst) in ZOOM {
            site.publish(&zoom, &off(), curve(focal, worst, 0.45)).await;
        }
        let quiet = site.lens("Brackwell", "Pier 50 f/1.8", (50.0, 50.0)).await;
        site.publish(&quiet, &off(), curve(50.0, 0.3, 0.4)).await;
        let loud = site.lens("Tindra", "Sound 85 f/1.4", (85.0, 85.0)).await;
        site.publish(&loud, &off(), curve(85.0, -5.2, 0.8)).await;
        site.lens("Tindra", "Reef 35 f/2", (35.0, 35.0)).await;
    }

    pub(super) async fn lens(&self, maker: &str, model: &str, focal: (f64, f64)) -> Lens {
        let draft = draft(maker, model, focal);
        self.app
            .store
            .add_lens(&draft, Some(self.reviewer), NOW)
            .await
            .expect("a new lens")
    }

    /// Uploads, measures (as told) and publishes a sweep.
    pub(super) async fn publish(
        &self,
        lens: &Lens,
        conditions: &Conditions,
        measurement: SweepMeasurement,
    ) -> SweepId {
        let settings = SweepSettings::default();
        self.publish_shot(lens, conditions, settings, measurement)
            .await
    }

    /// The same with what the reviewer said of the sweep.
    pub(super) async fn publish_shot(
        &self,
        lens: &Lens,
        conditions: &Conditions,
        settings: SweepSettings,
        measurement: SweepMeasurement,
    ) -> SweepId {
        let store = &self.app.store;
        let upload = store
            .open_upload(self.reviewer, lens.id, conditions, NOW)
            .await
            .expect("an upload");
        let file = UploadFile {
            name: "SWP_0001.JPG".to_owned(),
            sha256: format!("{upload:064x}"),
            bytes: 120_000,
            info: FrameInfo {
                file: "SWP_0001.JPG".to_owned(),
                ..FrameInfo::default()
            },
        };
        store
            .add_upload_file(upload, &file, NOW)
            .await
            .expect("a new file");
        let draft = SweepDraft {
            lens: None,
            name: measurement.name.clone(),
            settings,
            files: vec![file],
        };
        let sweep = store
            .finish_upload(upload, 1, &[draft], NOW)
            .await
            .expect("a finished upload")[0];
        let job = store
            .claim_job(30_000, 3, NOW)
            .await
            .expect("a working store")
            .expect("a waiting job");
        let input = store
            .sweep_input(sweep)
            .await
            .expect("a working store")
            .expect("the sweep is there");
        let kept = store.finish_job(&job, &input, 1, &measurement, NOW).await;
        assert!(kept.expect("a working store"), "the lease was lost");
        store
            .publish(sweep, self.reviewer, NOW)
            .await
            .expect("a clean result");
        sweep
    }

    /// Measures a published sweep anew (as told, by a newer algorithm) and publishes that as its next version.
    pub(super) async fn publish_again(&self, sweep: SweepId, measurement: SweepMeasurement) {
        let store = &self.app.store;
        let queued = store.queue_measurement(sweep, NOW).await;
        queued.expect("a working store");
        let job = store.claim_job(30_000, 3, NOW).await;
        let job = job.expect("a working store").expect("a waiting job");
        let input = store.sweep_input(sweep).await;
        let input = input.expect("a working store").expect("the sweep is there");
        let kept = store.finish_job(&job, &input, 2, &measurement, NOW).await;
        assert!(kept.expect("a working store"), "the lease was lost");
        let published = store.publish(sweep, self.reviewer, NOW + 1000).await;
        published.expect("a clean result");
    }

    /// The routes, to be served on a port.
    pub(super) fn router(&self) -> Router {
        self.router.clone()
    }

    /// Merges the first lens into the second.
    pub(super) async fn merge(&self, from: &str, into: &str) {
        let store = &self.app.store;
        let lens = async |slug: &str| {
            let found = store.lens_by_slug(slug).await.expect("a working store");
            found.expect("it is there")
        };
        let by = Actor {
            account: self.reviewer,
            request_id: None,
        };
        store
            .merge_lenses(&lens(from).await, &lens(into).await, by, NOW)
            .await
            .expect("two lenses");
    }

    pub(super) async fn withdraw(&self, sweep: SweepId, reason: &str, now_ms: i64) {
        self.app
            .store
            .withdraw(sweep, self.reviewer, reason, now_ms)
            .await
            .expect("it is public");
    }

    pub(super) async fn get(&self, path: &str) -> Answer {
        self.ask(path, &[(header::ACCEPT, "text/html")]).await
    }

    pub(super) async fn ask(&self, path: &str, headers: &[(header::HeaderName, &str)]) -> Answer {
        self.send(Method::GET, path, headers).await
    }

    pub(super) async fn send(
        &self,
        method: Method,
        path: &str,
        headers: &[(header::HeaderName, &str)],
    ) -> Answer {
        let mut request = Request::builder().method(method).uri(path);
        for (name, value) in headers {
            request = request.header(name, *value);
        }
        let request = request.body(Body::empty()).expect("a request");
        let response: Response<Body> = self
            .router
            .clone()
            .oneshot(request)
            .await
            .expect("the router answers");
        let (parts, body) = response.into_parts();
        let body = body.collect().await.expect("a whole body").to_bytes();
        Answer {
            status: parts.status,
            headers: parts.headers,
            body: body.to_vec(),
        }
    }
}

/// Focal lengths and worst shifts of the zoom.
pub(super) const ZOOM: [(f64, f64); 6] = [
    (28.0, -1.4),
    (35.0, -0.4),
    (50.0, 0.7),
    (75.0, 1.6),
    (100.0, 2.4),
    (135.0, 4.3),
];

/// Distortion correction and breathing compensation said to be off.
pub(super) fn off() -> Conditions {
    Conditions {
        distortion_correction: Switch::Off,
        breathing_compensation: Switch::Off,
        stabilisation: Switch::Off,
        target_distance: Metres::new(2.0).ok(),
        closest_focus: None,
    }
}

/// A measurement of 25 frames whose shift is `worst_pct` at `closest_m` and falls to 0 at infinity in a straight line over
/// dioptres.
pub(super) fn curve(focal_mm: f64, worst_pct: f64, closest_m: f64) -> SweepMeasurement {
    const LAST: u32 = 24;
    let points: Vec<CurvePoint> = (0..=LAST)
        .map(|index| {
            let travel = f64::from(index) / f64::from(LAST);
            CurvePoint {
                travel,
                dioptres: Some(Measured::new((1.0 - travel) / closest_m, 0.001)),
                shift_pct: Measured::new(worst_pct * (1.0 - travel), 0.004),
            }
        })
        .collect();
    let frames = points
        .iter()
        .enumerate()
        .map(|(index, point)| FrameResult {
            info: FrameInfo {
                file: format!("SWP_{:04}.JPG", index + 1),
                focus_distance: point.dioptres.and_then(|at| {
                    if at.value > 0.0 {
                        Metres::new(1.0 / at.value).ok().map(FocusDistance::At)
                    } else {
                        Some(FocusDistance::Infinity)
                    }
                }),
                ..FrameInfo::default()
            },
            state: FrameState::Measured,
            travel: point.travel,
            focus_dioptres: point.dioptres,
            targets: Vec::new(),
            separation_px: Some(Measured::new(
                1500.0 * (1.0 + point.shift_pct.value / 100.0),
                0.03,
            )),
            shift_pct: Some(point.shift_pct),
            blur_px: Vec::new(),
        })
        .collect();
    SweepMeasurement {
        name: format!("card, {focal_mm} mm"),
        focal_length: Millimetres::new(focal_mm).ok(),
        f_number: FNumber::new(5.6).ok(),
        camera: Some("Ostrel Bench 6".to_owned()),
        lens: None,
        captured_at: None,
        picture_size_px: Some((1920, 1280)),
        frames,
        summary: Some(Summary {
            reference: LAST as usize,
            worst: 0,
            worst_shift_pct: Measured::new(worst_pct, 0.004),
            relative_to_farthest: false,
            curve: ShiftCurve::new(points),
            budget: Budget::default(),
        }),
        distance_source: DistanceSource::Exif,
        closest_focus: Metres::new(closest_m).ok(),
        findings: Vec::new(),
    }
}

/// The measurement with one more finding, and what goes with it.
pub(super) fn with_finding(
    mut measurement: SweepMeasurement,
    finding: Finding,
) -> SweepMeasurement {
    if finding.code == Code::ReferenceNotAtInfinity
        && let Some(summary) = &mut measurement.summary
    {
        summary.relative_to_farthest = true;
    }
    measurement.findings.push(finding);
    measurement
}

/// The measurement with nothing known of its distances.
pub(super) fn without_distances(mut measurement: SweepMeasurement) -> SweepMeasurement {
    measurement.distance_source = DistanceSource::None;
    measurement.closest_focus = None;
    for frame in &mut measurement.frames {
        frame.focus_dioptres = None;
    }
    if let Some(summary) = &mut measurement.summary {
        let points = summary.curve.points().iter();
        let unknown = points
            .map(|point| CurvePoint {
                dioptres: None,
                ..*point
            })
            .collect();
        summary.curve = ShiftCurve::new(unknown);
    }
    measurement
}
