//! A store in a temporary folder, and measurements made by hand.

pub(super) use crate::support::lenses::draft;
use breathmark::store::{
    AccountId, Conditions, Lens, Role, Store, SweepDraft, SweepId, Switch, UploadFile,
};
use breathmark::sweep::{
    Budget, BudgetLine, Code, CurvePoint, DistanceSource, Finding, FrameInfo, FrameResult,
    FrameState, Part, Severity, ShiftCurve, Summary, SweepMeasurement, SweepSettings,
};
use breathmark::units::{FNumber, FocusDistance, Measured, Metres, Millimetres};

/// Some time in 2026, ms since 1970 UTC.
pub(super) const NOW: i64 = 1_775_000_000_000;

/// A store that lives as long as its folder.
pub(super) struct Fresh {
    pub(super) store: Store,
    pub(super) folder: tempfile::TempDir,
    pub(super) reviewer: AccountId,
}

impl Fresh {
    pub(super) async fn new() -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let store = Store::open(&folder.path().join("breathmark.sqlite"))
            .await
            .expect("a new database");
        let reviewer = store
            .add_account("Ines", Role::Reviewer, "not a hash", NOW)
            .await
            .expect("a first account");
        Self {
            store,
            folder,
            reviewer,
        }
    }

    pub(super) async fn lens(&self, maker: &str, model: &str, focal: (f64, f64)) -> Lens {
        self.store
            .add_lens(&draft(maker, model, focal), Some(self.reviewer), NOW)
            .await
            .expect("a new lens")
    }

    /// An uploaded sweep of three frames that waits to be measured.
    pub(super) async fn sweep(&self, lens: &Lens, conditions: &Conditions) -> SweepId {
        let store = &self.store;
        let upload = store
            .open_upload(self.reviewer, lens.id, conditions, NOW)
            .await
            .expect("an upload");
        let files: Vec<UploadFile> = (1..=3).map(|number| file(upload, number)).collect();
        for file in &files {
            store
                .add_upload_file(upload, file, NOW)
                .await
                .expect("a new file");
        }
        let draft = SweepDraft {
            lens: None,
            name: "card".to_owned(),
            settings: SweepSettings::default(),
            files,
        };
        store
            .finish_upload(upload, draft.files.len(), &[draft], NOW)
            .await
            .expect("a finished upload")[0]
    }

    /// Stores a measurement for the oldest waiting job, which has to be of this sweep.
    pub(super) async fn measured(&self, sweep: SweepId, measurement: &SweepMeasurement) {
        let store = &self.store;
        let job = store
            .claim_job(30_000, 3, NOW)
            .await
            .expect("a working store")
            .expect("a waiting job");
        assert_eq!(job.sweep, sweep);
        let input = store
            .sweep_input(sweep)
            .await
            .expect("a working store")
            .expect("the sweep is there");
        assert!(
            store
                .finish_job(&job, &input, 1, measurement, NOW)
                .await
                .expect("a working store")
        );
    }

    /// A sweep that is uploaded, measured and published.
    pub(super) async fn published(
        &self,
        lens: &Lens,
        conditions: &Conditions,
        measurement: &SweepMeasurement,
        now_ms: i64,
    ) -> SweepId {
        let sweep = self.sweep(lens, conditions).await;
        self.measured(sweep, measurement).await;
        self.store
            .publish(sweep, self.reviewer, now_ms)
            .await
            .expect("a clean result");
        sweep
    }
}

pub(super) fn file(upload: i64, number: u32) -> UploadFile {
    let name = format!("SWP_{number:04}.JPG");
    UploadFile {
        sha256: format!("{:064x}", u64::from(number) + 1000 * upload.unsigned_abs()),
        bytes: 120_000 + u64::from(number),
        info: FrameInfo {
            file: name.clone(),
            focal_length: Millimetres::new(85.0).ok(),
            camera: Some("Ostrel Bench 6".to_owned()),
            ..FrameInfo::default()
        },
        name,
    }
}

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

/// A measurement of three frames whose shift falls in a straight line over dioptres from `worst_pct` at 0.5 m to 0 at infinity.
pub(super) fn measurement(focal_mm: f64, worst_pct: f64, u_pct: f64) -> SweepMeasurement {
    let dioptres = [2.0, 1.0, 0.0];
    let points: Vec<CurvePoint> = dioptres
        .iter()
        .enumerate()
        .map(|(index, dioptres)| CurvePoint {
            travel: index as f64 / 2.0,
            dioptres: Some(Measured::new(*dioptres, 0.01)),
            shift_pct: Measured::new(worst_pct * dioptres / 2.0, u_pct),
        })
        .collect();
    let frames = points
        .iter()
        .enumerate()
        .map(|(index, point)| FrameResult {
            info: FrameInfo {
                file: format!("SWP_{:04}.JPG", index + 1),
                focus_distance: Some(if index == 2 {
                    FocusDistance::Infinity
                } else {
                    FocusDistance::At(Metres::new(1.0 / dioptres[index]).expect("in range"))
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
            blur_px: vec![Some(40.5), None],
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
            reference: 2,
            worst: 0,
            worst_shift_pct: Measured::new(worst_pct, u_pct),
            relative_to_farthest: false,
            curve: ShiftCurve::new(points),
            budget: Budget {
                random: vec![BudgetLine {
                    part: Part::CentreNoise,
                    pct: u_pct,
                }],
                systematic: Vec::new(),
            },
        }),
        distance_source: DistanceSource::Exif,
        closest_focus: Metres::new(0.5).ok(),
        findings: Vec::new(),
    }
}

/// The measurement with one more finding.
pub(super) fn with_finding(
    mut measurement: SweepMeasurement,
    code: Code,
    severity: Severity,
) -> SweepMeasurement {
    measurement.findings.push(Finding {
        code,
        severity,
        message: "seen in a test".to_owned(),
        files: vec!["SWP_0001.JPG".to_owned()],
    });
    measurement
}
