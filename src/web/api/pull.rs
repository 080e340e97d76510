//! A focus pull: what happens to the framing between two focus distances. Nothing is extrapolated.

use serde::Serialize;
use utoipa::ToSchema;

use super::documents::FocalDocument;
use super::query::Params;
use crate::report::words;
use crate::units::Measured;
use crate::web::WebError;

/// Picture widths that can be asked for, px.
pub(super) const PICTURE_WIDTHS: std::ops::RangeInclusive<u32> = 16..=32_768;
/// Picture width where neither the reader nor the frames give one, px.
const USUAL_PICTURE_WIDTH: u32 = 3840;

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::web) struct PullQuestion {
    /// Where the pull begins, dioptres.
    pub(in crate::web) from_dioptres: f64,
    /// Where it ends, dioptres.
    pub(in crate::web) to_dioptres: f64,
    /// Width of the picture in which edge movement is told, px.
    pub(in crate::web) picture_width_px: Option<u32>,
}

impl PullQuestion {
    /// The question in a query; `None` where neither distance is given.
    pub(in crate::web) fn read(params: &Params) -> Result<Option<Self>, WebError> {
        let from = params.focus_dioptres("from_m")?;
        let to = params.focus_dioptres("to_m")?;
        let picture_width_px = params.whole("picture_width_px", PICTURE_WIDTHS, "px")?;
        match (from, to) {
            (None, None) => Ok(None),
            (Some(from_dioptres), Some(to_dioptres)) => Ok(Some(Self {
                from_dioptres,
                to_dioptres,
                picture_width_px,
            })),
            (Some(_), None) => Err(WebError::field(
                "to_m",
                "give the distance where the pull ends, m, or “inf”",
            )),
            (None, Some(_)) => Err(WebError::field(
                "from_m",
                "give the distance where the pull begins, m, or “inf”",
            )),
        }
    }
}

/// The answer. Distances are `null` at infinity; the figures are `null` where the pull leaves the measured range.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub(in crate::web) struct PullDocument {
    /// Marked focal length of the result it is read from, mm.
    pub(in crate::web) focal_length_mm: f64,
    /// Where the pull begins, m.
    pub(in crate::web) from_m: Option<f64>,
    /// Where the pull begins, dioptres.
    pub(in crate::web) from_dioptres: f64,
    /// Where the pull ends, m.
    pub(in crate::web) to_m: Option<f64>,
    /// Where the pull ends, dioptres.
    pub(in crate::web) to_dioptres: f64,
    /// Change of the picture's scale from begin to end, per cent; positive is tighter.
    pub(in crate::web) framing_change_pct: Option<f64>,
    /// Its standard uncertainty, percentage points.
    pub(in crate::web) framing_change_u_pct: Option<f64>,
    /// Width of the picture that the next field holds for, px.
    pub(in crate::web) picture_width_px: u32,
    /// How far the left or right edge of the framing moves from begin to end, px; positive is outwards.
    pub(in crate::web) edge_movement_px: Option<f64>,
    /// Its standard uncertainty, px.
    pub(in crate::web) edge_movement_u_px: Option<f64>,
    /// Enlargement at the widest moment of the pull that holds the framing of its tightest moment.
    pub(in crate::web) scale_to_hide: Option<f64>,
    /// Share of picture width and height that this costs at the widest moment, per cent.
    pub(in crate::web) crop_to_hide_pct: Option<f64>,
    /// Why there are no figures.
    pub(in crate::web) outside: Option<String>,
}

impl PullDocument {
    /// The answer from one result.
    pub(in crate::web) fn new(focal: &FocalDocument, question: PullQuestion) -> Self {
        let (from, to) = (question.from_dioptres, question.to_dioptres);
        let width = question
            .picture_width_px
            .or(focal.picture_width_px)
            .unwrap_or(USUAL_PICTURE_WIDTH);
        let curve = &focal.result.curve;
        let change = curve.pull(from, to);
        let span = change.and_then(|_| scale_span(focal, from.min(to), from.max(to)));
        Self {
            focal_length_mm: focal.focal_length_mm,
            from_m: metres(from),
            from_dioptres: from,
            to_m: metres(to),
            to_dioptres: to,
            framing_change_pct: change.map(|change| change.value),
            framing_change_u_pct: change.map(|change| change.std_error),
            picture_width_px: width,
            edge_movement_px: change.map(|change| f64::from(width) / 2.0 * change.value / 100.0),
            edge_movement_u_px: change
                .map(|change| f64::from(width) / 2.0 * change.std_error / 100.0),
            scale_to_hide: span,
            crop_to_hide_pct: span.map(|span| (1.0 - 1.0 / span) * 100.0),
            outside: change.is_none().then(|| outside(focal, from, to)),
        }
    }

    /// Focal length in words.
    pub(in crate::web) fn at(&self) -> String {
        words::focal_length(self.focal_length_mm)
    }

    /// The framing change with its expanded uncertainty in words, or why there is none.
    pub(in crate::web) fn change_words(&self) -> String {
        match (self.framing_change_pct, self.framing_change_u_pct) {
            (Some(change), Some(u)) => words::shift(Measured::new(change, u)),
            _ => self.outside.clone().unwrap_or_default(),
        }
    }

    /// The pull in words, e.g. "3 m (9.8 ft) to 1 m (3.3 ft)".
    pub(in crate::web) fn way(&self) -> String {
        let place = |m: Option<f64>| m.map_or_else(|| "infinity".to_owned(), words::distance);
        format!("{} to {}", place(self.from_m), place(self.to_m))
    }

    /// Edge movement with its expanded uncertainty (k = 2), in words; a tenth of a pixel at least.
    pub(in crate::web) fn edge_words(&self) -> String {
        self.edge_movement_px.map_or_else(String::new, |px| {
            let direction = if px < 0.0 { "inwards" } else { "outwards" };
            format!(
                "{:.1} ± {:.1} px {direction} at each side of {} px",
                px.abs(),
                (2.0 * self.edge_movement_u_px.unwrap_or_default()).max(0.1),
                self.picture_width_px
            )
        })
    }

    /// The crop that hides it, in words.
    pub(in crate::web) fn crop_words(&self) -> String {
        match (self.scale_to_hide, self.crop_to_hide_pct) {
            (Some(scale), Some(crop)) => {
                format!("{crop:.2} % of width and height (enlarge by {scale:.4})")
            }
            _ => String::new(),
        }
    }
}

/// Largest over smallest picture scale between two settings, both ends and every measured point between them included.
fn scale_span(focal: &FocalDocument, low: f64, high: f64) -> Option<f64> {
    let curve = &focal.result.curve;
    let ends = [curve.shift_at(low)?.value, curve.shift_at(high)?.value];
    let between = curve
        .points()
        .iter()
        .filter(|point| {
            point
                .dioptres
                .is_some_and(|at| at.value > low && at.value < high)
        })
        .map(|point| point.shift_pct.value);
    let scales = || {
        ends.into_iter()
            .chain(between.clone())
            .map(|shift| 1.0 + shift / 100.0)
    };
    let largest = scales().fold(f64::MIN, f64::max);
    let smallest = scales().fold(f64::MAX, f64::min);
    (smallest > 0.0).then(|| largest / smallest)
}

/// Why a pull can't be answered.
fn outside(focal: &FocalDocument, from: f64, to: f64) -> String {
    let Some((far, near)) = focal.result.curve.range_dioptres() else {
        return "the focus distances of this sweep are not known".to_owned();
    };
    if from.max(to) > near {
        format!("not measured closer than {}", focus_words(near))
    } else {
        format!("not measured farther than {}", focus_words(far.max(0.0)))
    }
}

fn focus_words(dioptres: f64) -> String {
    metres(dioptres).map_or_else(|| "infinity".to_owned(), words::distance)
}

fn metres(dioptres: f64) -> Option<f64> {
    (dioptres > 1e-5).then(|| 1.0 / dioptres)
}
