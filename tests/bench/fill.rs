//! A database of any size: a few lenses are published through the store as everybody's are, then copied by the thousand.

use std::path::Path;

use breathmark::store::{
    Conditions, Kind, Lens, LensDraft, Role, Store, SweepDraft, Switch, UploadFile,
};
use breathmark::sweep::{
    Budget, CurvePoint, DistanceSource, FrameInfo, FrameResult, FrameState, ShiftCurve, Summary,
    SweepMeasurement, SweepSettings,
};
use breathmark::units::{FNumber, FocusDistance, Measured, Metres, Millimetres};
use sqlx::{Connection as _, Executor as _, SqliteConnection};

/// Lenses that are made one by one.
const PATTERNS: u32 = 20;
/// Focal lengths of each lens, mm.
const FOCALS_MM: [f64; 4] = [24.0, 50.0, 85.0, 105.0];
/// Sweeps of each focal length.
const REPEATS: u32 = 2;
/// Frames of each sweep, so that 80 000 sweeps have 5 000 000 frames.
const FRAMES: u32 = 63;
/// Copies that are made in one transaction.
const AT_ONCE: u32 = 250;
const NOW: i64 = 1_775_000_000_000;

/// Fills a new database with so many lenses; each has eight sweeps of 63 frames.
pub(crate) async fn fill(database: &Path, lenses: u32) {
    let store = Store::open(database).await.expect("a new database");
    let reviewer = store
        .add_account("Ines", Role::Reviewer, "not a hash", NOW)
        .await
        .expect("a first account");
    for number in 1..=PATTERNS.min(lenses) {
        let lens = store
            .add_lens(&draft(number), Some(reviewer), NOW)
            .await
            .expect("a new lens");
        for repeat in 0..REPEATS {
            for focal_mm in FOCALS_MM {
                publish(&store, reviewer, &lens, sweep(number, focal_mm, repeat)).await;
            }
        }
    }
    store.close().await;
    if lenses > PATTERNS {
        copy(database, lenses).await;
    }
}

fn draft(number: u32) -> LensDraft {
    LensDraft {
        maker: format!("Maker{}", number % 7),
        model: format!("Bench {number} 24-105 f/4"),
        mount: format!("Mount {}", number % 5),
        kind: if number.is_multiple_of(3) {
            Kind::CineZoom
        } else {
            Kind::Zoom
        },
        focal_min_mm: 24.0,
        focal_max_mm: 105.0,
        max_aperture: 4.0,
        closest_focus_m: Some(0.45),
    }
}

/// A sweep whose shift swings before it grows, so that no curve is a straight line; each pattern and focal length another.
fn sweep(pattern: u32, focal_mm: f64, repeat: u32) -> SweepMeasurement {
    let last = f64::from(FRAMES - 1);
    let worst = (f64::from(pattern * 37 % 101) / 101.0 - 0.35) * focal_mm / 16.0;
    let points: Vec<CurvePoint> = (0..FRAMES)
        .map(|frame| {
            let travel = f64::from(frame) / last;
            let near = 1.0 - travel;
            let swing = 0.3 * (near * f64::from(pattern + 3)).sin() * near;
            CurvePoint {
                travel,
                dioptres: Some(Measured::new(near / 0.45, 0.005)),
                shift_pct: Measured::new(
                    worst * near * near + swing,
                    0.004 + 0.001 * f64::from(repeat),
                ),
            }
        })
        .collect();
    let frames = points.iter().enumerate().map(|(index, point)| FrameResult {
        info: FrameInfo {
            file: format!("SWP_{:04}.JPG", index + 1),
            focus_distance: point
                .dioptres
                .and_then(|at| Metres::new(1.0 / at.value).ok().map(FocusDistance::At)),
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
    });
    let frames: Vec<FrameResult> = frames.collect();
    let largest = |a: &usize, b: &usize| {
        let size = |at: usize| points[at].shift_pct.value.abs();
        size(*a).total_cmp(&size(*b))
    };
    let worst_at = (0..points.len()).max_by(largest).unwrap_or(0);
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
            reference: FRAMES as usize - 1,
            worst: worst_at,
            worst_shift_pct: points[worst_at].shift_pct,
            relative_to_farthest: false,
            curve: ShiftCurve::new(points),
            budget: Budget::default(),
        }),
        distance_source: DistanceSource::Exif,
        closest_focus: Metres::new(0.45).ok(),
        findings: Vec::new(),
    }
}

async fn publish(store: &Store, reviewer: i64, lens: &Lens, measurement: SweepMeasurement) {
    let conditions = Conditions {
        distortion_correction: Switch::Off,
        breathing_compensation: Switch::Off,
        target_distance: Metres::new(2.0).ok(),
        ..Conditions::default()
    };
    let upload = store.open_upload(reviewer, lens.id, &conditions, NOW).await;
    let upload = upload.expect("an upload");
    let mut files = Vec::new();
    for (index, frame) in measurement.frames.iter().enumerate() {
        let file = UploadFile {
            name: frame.info.file.clone(),
            sha256: format!("{:064x}", upload * 1000 + index as i64),
            bytes: 400_000,
            info: frame.info.clone(),
        };
        store
            .add_upload_file(upload, &file, NOW)
            .await
            .expect("a new file");
        files.push(file);
    }
    let draft = SweepDraft {
        lens: None,
        name: measurement.name.clone(),
        settings: SweepSettings::default(),
        files,
    };
    let sweeps = store
        .finish_upload(upload, draft.files.len(), &[draft], NOW)
        .await;
    let sweep = sweeps.expect("a finished upload")[0];
    let job = store
        .claim_job(30_000, 3, NOW)
        .await
        .expect("a working store");
    let job = job.expect("a waiting job");
    let input = store.sweep_input(sweep).await.expect("a working store");
    let input = input.expect("the sweep is there");
    let kept = store.finish_job(&job, &input, 1, &measurement, NOW).await;
    assert!(kept.expect("a working store"));
    store
        .publish(sweep, reviewer, NOW)
        .await
        .expect("a clean result");
}

/// Copies of lens `n` are those of the pattern `(n - 1) % PATTERNS + 1`. Keys follow from the lens and the pattern's keys.
const COPIES: [&str; 9] = [
    "CREATE TEMP TABLE copies AS WITH RECURSIVE n(lens) AS (SELECT ?1 UNION ALL SELECT lens + 1 FROM n WHERE lens < ?2)
     SELECT lens, (lens - 1) % ?3 + 1 AS pattern, (lens - 1) / ?3 * ?3 * ?4 AS shift FROM n",
    "INSERT INTO lenses (id, slug, maker, model, mount, kind, focal_min_mm, focal_max_mm, max_aperture, closest_focus_m,
        sort_name, search_text, created_by, created_ms)
     SELECT c.lens, 'maker-bench-' || c.lens, l.maker, 'Bench ' || c.lens || ' 24-105 f/4', l.mount, l.kind, l.focal_min_mm,
        l.focal_max_mm, l.max_aperture, l.closest_focus_m,
        lower(l.maker) || printf(' bench %06d', c.lens), l.search_text || c.lens || ' ', l.created_by, l.created_ms
     FROM copies c JOIN lenses l ON l.id = c.pattern",
    "INSERT INTO sweeps (id, account_id, lens_id, camera_id, upload_id, name, focal_length_mm, conditions, settings, created_ms)
     SELECT s.id + c.shift, s.account_id, c.lens, s.camera_id, s.upload_id, s.name, s.focal_length_mm, s.conditions, s.settings,
        s.created_ms FROM copies c JOIN sweeps s ON s.lens_id = c.pattern",
    "INSERT INTO frames (sweep_id, position, file, sha256, info)
     SELECT s.id + c.shift, f.position, f.file, f.sha256, f.info
     FROM copies c JOIN sweeps s ON s.lens_id = c.pattern JOIN frames f ON f.sweep_id = s.id",
    "INSERT INTO results (id, sweep_id, algorithm_version, input_sha256, measured_ms, frame_count, measured_count, stopped, warnings,
        worst_shift_pct, worst_shift_u_pct, document)
     SELECT r.id + c.shift, s.id + c.shift, r.algorithm_version, r.input_sha256, r.measured_ms, r.frame_count, r.measured_count,
        r.stopped, r.warnings, r.worst_shift_pct, r.worst_shift_u_pct, r.document
     FROM copies c JOIN sweeps s ON s.lens_id = c.pattern JOIN results r ON r.sweep_id = s.id",
    "INSERT INTO publications (id, sweep_id, lens_id, result_id, version, account_id, published_ms, document)
     SELECT p.id + c.shift, p.sweep_id + c.shift, c.lens, p.result_id + c.shift, p.version, p.account_id,
        p.published_ms + c.lens, p.document
     FROM copies c JOIN publications p ON p.lens_id = c.pattern",
    "UPDATE sweeps SET current_result_id = r.id, public_id = p.id FROM copies c, results r, publications p
     WHERE sweeps.lens_id = c.lens AND r.sweep_id = sweeps.id AND p.sweep_id = sweeps.id",
    "INSERT INTO focal_results (lens_id, conditions, focal_length_mm, published_ms, packed, document)
     SELECT c.lens, f.conditions, f.focal_length_mm, f.published_ms + c.lens, f.packed, f.document
     FROM copies c JOIN focal_results f ON f.lens_id = c.pattern",
    "DROP TABLE copies",
];

async fn copy(database: &Path, lenses: u32) {
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(database);
    let mut connection = SqliteConnection::connect_with(&options)
        .await
        .expect("the database");
    // It is only a benchmark's: losing it costs nothing.
    for pragma in ["PRAGMA synchronous = OFF", "PRAGMA cache_size = -200000"] {
        connection.execute(pragma).await.expect("a pragma");
    }
    let mut first = PATTERNS + 1;
    while first <= lenses {
        let last = (first + AT_ONCE - 1).min(lenses);
        let mut work = connection.begin().await.expect("a transaction");
        for sql in COPIES {
            let mut question = sqlx::query(sql);
            if sql.contains("?4") {
                let sweeps = FOCALS_MM.len() as u32 * REPEATS;
                question = question.bind(first).bind(last).bind(PATTERNS).bind(sweeps);
            }
            question
                .execute(&mut *work)
                .await
                .expect("a valid statement");
        }
        work.commit().await.expect("a commit");
        first = last + 1;
    }
    for sql in ["ANALYZE", "PRAGMA wal_checkpoint(TRUNCATE)"] {
        connection.execute(sql).await.expect("a valid statement");
    }
    connection.close().await.expect("closed");
}
