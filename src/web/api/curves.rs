//! The curves of a lens: shift against focus, with uncertainty.

use serde::Serialize;
use utoipa::ToSchema;

use super::documents::{FocalDocument, LensHead};
use crate::report::BudgetLineDocument;
use crate::sweep::CurvePoint;

/// One point of a curve.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct CurvePointDocument {
    /// Place in the sweep, 0 at closest focus, 1 at the last frame.
    travel: f64,
    /// Focus setting, dioptres; 0 at infinity, `null` where unknown.
    focus_dioptres: Option<f64>,
    /// Its standard uncertainty, dioptres.
    focus_u_dioptres: Option<f64>,
    /// Focus distance, m; `null` at infinity and where unknown.
    focus_distance_m: Option<f64>,
    /// Shift, per cent.
    shift_pct: f64,
    /// Its standard uncertainty, percentage points.
    shift_u_pct: f64,
}

/// The curve of one result.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct CurveDocument {
    /// Marked focal length, mm.
    focal_length_mm: f64,
    /// Conditions that it was shot under.
    conditions: String,
    /// `exif`, `entered`, `blur` or `none`.
    distance_source: &'static str,
    /// `infinity`, or `farthest_frame`.
    relative_to: &'static str,
    /// Bounds of its worst shift that the standard uncertainties of the points do not hold, percentage points.
    systematic: Vec<BudgetLineDocument>,
    /// The points, closest focus first.
    points: Vec<CurvePointDocument>,
}

/// The curves of a lens.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct CurvesDocument {
    /// The lens.
    pub(super) lens: LensHead,
    /// Its curves by conditions, then focal length.
    pub(super) curves: Vec<CurveDocument>,
    /// Licence of the numbers.
    pub(super) licence: &'static str,
}

impl CurveDocument {
    /// The curve of a result.
    pub(super) fn new(focal: &FocalDocument) -> Self {
        let points = focal.result.curve.points();
        Self {
            focal_length_mm: focal.focal_length_mm,
            conditions: focal.conditions.clone(),
            distance_source: focal.distance_source,
            relative_to: focal.relative_to,
            systematic: focal.systematic.clone(),
            points: points.iter().map(CurvePointDocument::new).collect(),
        }
    }
}

impl CurvePointDocument {
    fn new(point: &CurvePoint) -> Self {
        let finite = point.dioptres.filter(|at| at.value > 1e-5);
        Self {
            travel: point.travel,
            focus_dioptres: point.dioptres.map(|at| at.value),
            focus_u_dioptres: point.dioptres.map(|at| at.std_error),
            focus_distance_m: finite.map(|at| 1.0 / at.value),
            shift_pct: point.shift_pct.value,
            shift_u_pct: point.shift_pct.std_error,
        }
    }
}
