//! Published results: one focal length of a lens, and a sweep as it was published.

use serde::{Deserialize, Serialize};

use super::measurement::{BoundDoc, CurveDoc, FindingDoc, distance_source};
use super::number::{Number, Pair, measured, pair};
use super::{ConditionsDoc, SettingsDoc, decode, encode, known};
use crate::store::{ConditionsKey, FocalResult, StoreError};
use crate::sweep::{BudgetLine, ToleranceOutcome};
use crate::units::Measured;

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum ToleranceDoc {
    Within,
    Exceeded { dioptres: Pair, travel: Number },
    Unknown { travel: Number },
}

impl ToleranceDoc {
    const fn of(outcome: ToleranceOutcome) -> Self {
        match outcome {
            ToleranceOutcome::Within => Self::Within,
            ToleranceOutcome::Exceeded { dioptres, travel } => Self::Exceeded {
                dioptres: pair(dioptres),
                travel: Number(travel),
            },
            ToleranceOutcome::Unknown { travel } => Self::Unknown {
                travel: Number(travel),
            },
        }
    }

    const fn read(self) -> ToleranceOutcome {
        match self {
            Self::Within => ToleranceOutcome::Within,
            Self::Exceeded { dioptres, travel } => ToleranceOutcome::Exceeded {
                dioptres: measured(dioptres),
                travel: travel.0,
            },
            Self::Unknown { travel } => ToleranceOutcome::Unknown { travel: travel.0 },
        }
    }
}

/// `focal_results.document`.
#[derive(Serialize, Deserialize)]
pub(in crate::store) struct FocalResultDoc {
    conditions: String,
    focal_length_mm: Number,
    sweeps: Vec<i64>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    same_pictures: Vec<i64>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    partial: Vec<i64>,
    worst_shift_pct: Pair,
    /// Absent in rows that are older than it; see [`PublicationDoc::lacks_bounds`].
    #[serde(default)]
    systematic: Option<Vec<BoundDoc>>,
    #[serde(default)]
    repeats_disagree: bool,
    tolerance: ToleranceDoc,
    curve: CurveDoc,
    distance_source: String,
    closest_focus_m: Option<Number>,
    relative_to_farthest: bool,
    f_number: Option<Number>,
    camera: Option<String>,
    /// Absent in rows that are older than it, which hold one sweep each or are made anew.
    #[serde(default)]
    f_numbers: Option<Vec<Number>>,
    #[serde(default)]
    cameras: Option<Vec<String>>,
    picture_width_px: Option<u32>,
    #[serde(default)]
    sensor_width_mm: Option<Number>,
    target_distance_m: Option<Number>,
    reviewers: Vec<String>,
    captured_at: Vec<String>,
    algorithm_version: u32,
    findings: Vec<FindingDoc>,
}

impl FocalResultDoc {
    fn of(result: &FocalResult) -> Self {
        let FocalResult {
            conditions,
            focal_length_mm,
            sweeps,
            same_pictures,
            partial,
            worst_shift_pct,
            systematic,
            repeats_disagree,
            tolerance,
            curve,
            distance_source,
            closest_focus_m,
            relative_to_farthest,
            f_number,
            camera,
            f_numbers,
            cameras,
            picture_width_px,
            sensor_width_mm,
            target_distance_m,
            reviewers,
            captured_at,
            algorithm_version,
            findings,
        } = result;
        Self {
            conditions: conditions.code(),
            focal_length_mm: Number(*focal_length_mm),
            sweeps: sweeps.clone(),
            same_pictures: same_pictures.clone(),
            partial: partial.clone(),
            worst_shift_pct: pair(*worst_shift_pct),
            systematic: Some(systematic.iter().map(BoundDoc::of).collect()),
            repeats_disagree: *repeats_disagree,
            tolerance: ToleranceDoc::of(*tolerance),
            curve: CurveDoc::of(curve),
            distance_source: distance_source.code().to_owned(),
            closest_focus_m: closest_focus_m.map(Number),
            relative_to_farthest: *relative_to_farthest,
            f_number: f_number.map(Number),
            camera: camera.clone(),
            f_numbers: Some(f_numbers.iter().copied().map(Number).collect()),
            cameras: Some(cameras.clone()),
            picture_width_px: *picture_width_px,
            sensor_width_mm: sensor_width_mm.map(Number),
            target_distance_m: target_distance_m.map(Number),
            reviewers: reviewers.clone(),
            captured_at: captured_at.clone(),
            algorithm_version: *algorithm_version,
            findings: findings.iter().map(FindingDoc::of).collect(),
        }
    }

    fn read(self) -> Result<FocalResult, StoreError> {
        Ok(FocalResult {
            conditions: known(
                "set of conditions",
                &self.conditions,
                ConditionsKey::from_code,
            )?,
            focal_length_mm: self.focal_length_mm.0,
            sweeps: self.sweeps,
            same_pictures: self.same_pictures,
            partial: self.partial,
            worst_shift_pct: measured(self.worst_shift_pct),
            systematic: self
                .systematic
                .unwrap_or_default()
                .into_iter()
                .map(BoundDoc::read)
                .collect::<Result<_, _>>()?,
            repeats_disagree: self.repeats_disagree,
            tolerance: self.tolerance.read(),
            curve: self.curve.read(),
            distance_source: distance_source(&self.distance_source)?,
            closest_focus_m: self.closest_focus_m.map(|n| n.0),
            relative_to_farthest: self.relative_to_farthest,
            f_number: self.f_number.map(|n| n.0),
            f_numbers: match self.f_numbers {
                Some(all) => all.into_iter().map(|n| n.0).collect(),
                None => self.f_number.iter().map(|n| n.0).collect(),
            },
            cameras: match self.cameras {
                Some(all) => all,
                None => self.camera.iter().cloned().collect(),
            },
            camera: self.camera,
            picture_width_px: self.picture_width_px,
            sensor_width_mm: self.sensor_width_mm.map(|n| n.0),
            target_distance_m: self.target_distance_m.map(|n| n.0),
            reviewers: self.reviewers,
            captured_at: self.captured_at,
            algorithm_version: self.algorithm_version,
            findings: self
                .findings
                .into_iter()
                .map(FindingDoc::read)
                .collect::<Result<_, _>>()?,
        })
    }
}

pub(in crate::store) fn encode_focal_result(result: &FocalResult) -> Result<String, StoreError> {
    encode(&FocalResultDoc::of(result))
}

pub(in crate::store) fn decode_focal_result(text: &str) -> Result<FocalResult, StoreError> {
    decode::<FocalResultDoc>(text)?.read()
}

/// `publications.document`: the sweep as it was published, so that later changes don't reach what is public.
#[derive(Serialize, Deserialize)]
pub(in crate::store) struct PublicationDoc {
    pub(in crate::store) conditions: ConditionsDoc,
    pub(in crate::store) settings: SettingsDoc,
    pub(in crate::store) notes: String,
    result: FocalResultDoc,
}

/// What a publication is of: the beginning of its document, without the curve.
#[derive(Deserialize)]
pub(in crate::store) struct PublicationHead {
    result: HeadDoc,
}

#[derive(Deserialize)]
struct HeadDoc {
    conditions: String,
    focal_length_mm: Number,
    worst_shift_pct: Pair,
}

impl PublicationHead {
    /// Marked focal length, mm, the conditions that results must share, and the worst shift, per cent.
    pub(in crate::store) fn read(self) -> Result<(f64, ConditionsKey, Measured), StoreError> {
        let HeadDoc {
            conditions,
            focal_length_mm,
            worst_shift_pct,
        } = self.result;
        let key = known("set of conditions", &conditions, ConditionsKey::from_code)?;
        Ok((focal_length_mm.0, key, measured(worst_shift_pct)))
    }
}

impl PublicationDoc {
    pub(in crate::store) fn new(
        conditions: ConditionsDoc,
        settings: SettingsDoc,
        notes: String,
        result: &FocalResult,
    ) -> Self {
        Self {
            conditions,
            settings,
            notes,
            result: FocalResultDoc::of(result),
        }
    }

    /// Whether both say the same to readers; notes are not for them.
    pub(in crate::store) fn says_the_same_as(&self, other: Self) -> Result<bool, StoreError> {
        let other = Self {
            notes: self.notes.clone(),
            ..other
        };
        Ok(encode(self)? == encode(&other)?)
    }

    /// Whether it was published before bounds were published too.
    pub(in crate::store) const fn lacks_bounds(&self) -> bool {
        self.result.systematic.is_none()
    }

    /// The same with the bounds of its measurement.
    pub(in crate::store) fn with_bounds(mut self, bounds: &[BudgetLine]) -> Self {
        self.result.systematic = Some(bounds.iter().map(BoundDoc::of).collect());
        self
    }

    pub(in crate::store) fn result(self) -> Result<FocalResult, StoreError> {
        self.result.read()
    }
}
