//! A whole measurement: frames, verdict, curve, budget, findings.

use serde::{Deserialize, Serialize};

use super::frame::{CaptureTimeDoc, FrameResultDoc, f_number, metres, millimetres};
use super::known;
use super::number::{Number, Pair, measured, pair};
use crate::store::StoreError;
use crate::sweep::{
    Budget, BudgetLine, Code, CurvePoint, DistanceSource, Finding, Part, Severity, ShiftCurve,
    Summary, SweepMeasurement,
};

/// A point of a curve: travel, dioptres, shift in per cent.
#[derive(Serialize, Deserialize)]
struct PointDoc(Number, Option<Pair>, Pair);

/// A shift curve, short because pages read many of them.
#[derive(Serialize, Deserialize)]
pub(super) struct CurveDoc(Vec<PointDoc>);

impl CurveDoc {
    pub(super) fn of(curve: &ShiftCurve) -> Self {
        let point = |point: &CurvePoint| {
            let CurvePoint {
                travel,
                dioptres,
                shift_pct,
            } = *point;
            PointDoc(Number(travel), dioptres.map(pair), pair(shift_pct))
        };
        Self(curve.points().iter().map(point).collect())
    }

    pub(super) fn read(self) -> ShiftCurve {
        let point = |PointDoc(travel, dioptres, shift)| CurvePoint {
            travel: travel.0,
            dioptres: dioptres.map(measured),
            shift_pct: measured(shift),
        };
        ShiftCurve::new(self.0.into_iter().map(point).collect())
    }
}

#[derive(Serialize, Deserialize)]
pub(super) struct FindingDoc {
    code: String,
    severity: String,
    message: String,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    files: Vec<String>,
}

impl FindingDoc {
    pub(super) fn of(finding: &Finding) -> Self {
        let Finding {
            code,
            severity,
            message,
            files,
        } = finding;
        Self {
            code: code.code().to_owned(),
            severity: severity.code().to_owned(),
            message: message.clone(),
            files: files.clone(),
        }
    }

    pub(super) fn read(self) -> Result<Finding, StoreError> {
        Ok(Finding {
            code: known("finding", &self.code, Code::from_code)?,
            severity: known("severity", &self.severity, Severity::from_code)?,
            message: self.message,
            files: self.files,
        })
    }
}

/// Part, its description (for people who open the database), percentage points.
#[derive(Serialize, Deserialize)]
struct BudgetLineDoc(String, String, Number);

impl BudgetLineDoc {
    fn of(line: &BudgetLine) -> Self {
        let BudgetLine { part, pct } = line;
        let (code, description) = (part.code(), part.description());
        Self(code.to_owned(), description.to_owned(), Number(*pct))
    }

    fn read(self) -> Result<BudgetLine, StoreError> {
        Ok(BudgetLine {
            part: known("part of a budget", &self.0, Part::from_code)?,
            pct: self.2.0,
        })
    }
}

/// A published bound: its part, percentage points.
#[derive(Serialize, Deserialize)]
pub(super) struct BoundDoc(String, Number);

impl BoundDoc {
    pub(super) fn of(line: &BudgetLine) -> Self {
        Self(line.part.code().to_owned(), Number(line.pct))
    }

    pub(super) fn read(self) -> Result<BudgetLine, StoreError> {
        Ok(BudgetLine {
            part: known("part of a budget", &self.0, Part::from_code)?,
            pct: self.1.0,
        })
    }
}

#[derive(Serialize, Deserialize)]
struct SummaryDoc {
    reference: usize,
    worst: usize,
    worst_shift_pct: Pair,
    #[serde(default)]
    relative_to_farthest: bool,
    curve: CurveDoc,
    budget_random: Vec<BudgetLineDoc>,
    budget_systematic: Vec<BudgetLineDoc>,
}

impl SummaryDoc {
    fn of(summary: &Summary) -> Self {
        let Summary {
            reference,
            worst,
            worst_shift_pct,
            relative_to_farthest,
            curve,
            budget: Budget { random, systematic },
        } = summary;
        Self {
            reference: *reference,
            worst: *worst,
            worst_shift_pct: pair(*worst_shift_pct),
            relative_to_farthest: *relative_to_farthest,
            curve: CurveDoc::of(curve),
            budget_random: random.iter().map(BudgetLineDoc::of).collect(),
            budget_systematic: systematic.iter().map(BudgetLineDoc::of).collect(),
        }
    }

    fn read(self, frames: usize) -> Result<Summary, StoreError> {
        if self.reference >= frames || self.worst >= frames {
            return Err(StoreError::Damaged(
                "a summary points at a frame that is not there".to_owned(),
            ));
        }
        let lines = |lines: Vec<BudgetLineDoc>| {
            lines
                .into_iter()
                .map(BudgetLineDoc::read)
                .collect::<Result<Vec<_>, _>>()
        };
        Ok(Summary {
            reference: self.reference,
            worst: self.worst,
            worst_shift_pct: measured(self.worst_shift_pct),
            relative_to_farthest: self.relative_to_farthest,
            curve: self.curve.read(),
            budget: Budget {
                random: lines(self.budget_random)?,
                systematic: lines(self.budget_systematic)?,
            },
        })
    }
}

pub(super) fn distance_source(code: &str) -> Result<DistanceSource, StoreError> {
    let mut all = DistanceSource::ALL.into_iter();
    known("distance source", code, |code| {
        all.find(|source| source.code() == code)
    })
}

/// A sweep, measured: `results.document`.
#[derive(Serialize, Deserialize)]
pub(in crate::store) struct MeasurementDoc {
    name: String,
    focal_length_mm: Option<Number>,
    f_number: Option<Number>,
    camera: Option<String>,
    lens: Option<String>,
    captured_at: Option<CaptureTimeDoc>,
    picture_size_px: Option<(u32, u32)>,
    frames: Vec<FrameResultDoc>,
    summary: Option<SummaryDoc>,
    distance_source: String,
    closest_focus_m: Option<Number>,
    findings: Vec<FindingDoc>,
}

impl MeasurementDoc {
    pub(in crate::store) fn of(measurement: &SweepMeasurement) -> Self {
        let SweepMeasurement {
            name,
            focal_length,
            f_number,
            camera,
            lens,
            captured_at,
            picture_size_px,
            frames,
            summary,
            distance_source,
            closest_focus,
            findings,
        } = measurement;
        Self {
            name: name.clone(),
            focal_length_mm: focal_length.map(|length| Number(length.mm())),
            f_number: f_number.map(|number| Number(number.n())),
            camera: camera.clone(),
            lens: lens.clone(),
            captured_at: captured_at.and_then(CaptureTimeDoc::of),
            picture_size_px: *picture_size_px,
            frames: frames.iter().map(FrameResultDoc::of).collect(),
            summary: summary.as_ref().map(SummaryDoc::of),
            distance_source: distance_source.code().to_owned(),
            closest_focus_m: closest_focus.map(|distance| Number(distance.m())),
            findings: findings.iter().map(FindingDoc::of).collect(),
        }
    }

    /// The bounds that its summary states; none where it has none.
    pub(in crate::store) fn bounds(self) -> Result<Vec<BudgetLine>, StoreError> {
        let lines = self.summary.map(|summary| summary.budget_systematic);
        lines
            .unwrap_or_default()
            .into_iter()
            .map(BudgetLineDoc::read)
            .collect()
    }

    pub(in crate::store) fn read(self) -> Result<SweepMeasurement, StoreError> {
        let frames = self
            .frames
            .into_iter()
            .map(FrameResultDoc::read)
            .collect::<Result<Vec<_>, _>>()?;
        Ok(SweepMeasurement {
            name: self.name,
            focal_length: millimetres(self.focal_length_mm)?,
            f_number: f_number(self.f_number)?,
            camera: self.camera,
            lens: self.lens,
            captured_at: self.captured_at.map(CaptureTimeDoc::read).transpose()?,
            picture_size_px: self.picture_size_px,
            summary: self
                .summary
                .map(|summary| summary.read(frames.len()))
                .transpose()?,
            frames,
            distance_source: distance_source(&self.distance_source)?,
            closest_focus: metres(self.closest_focus_m)?,
            findings: self
                .findings
                .into_iter()
                .map(FindingDoc::read)
                .collect::<Result<_, _>>()?,
        })
    }
}
