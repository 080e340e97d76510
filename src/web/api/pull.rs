//! A focus pull: what happens to the framing between two focus distances. Nothing is extrapolated.

use serde::Serialize;
use utoipa::ToSchema;

use super::documents::FocalDocument;
use super::query::Params;
use super::verdicts::perspective_of;
use crate::report::{self, words};
use crate::units::{Measured, distance_m};
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
    /// Whether begin and end were given in feet or inches.
    pub(in crate::web) in_feet: (bool, bool),
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
                in_feet: (params.is_in_feet("from_m"), params.is_in_feet("to_m")),
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
    /// Conditions of the result it is read from.
    pub(in crate::web) conditions: String,
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
    /// How much of the change perspective may hold, percentage points: the true one lies between it less this and itself;
    /// negative where focus is pulled away. `null` where not known.
    pub(in crate::web) perspective_bound_pct: Option<f64>,
    /// The widest framing from begin to end, both included, as change of the picture's scale since the begin, per cent: 0 or
    /// negative.
    pub(in crate::web) widest_on_the_way_pct: Option<f64>,
    /// The tightest framing from begin to end, both included, as change of the picture's scale since the begin, per cent: 0
    /// or positive.
    pub(in crate::web) tightest_on_the_way_pct: Option<f64>,
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
    /// Turning points on the way that lie clearly beyond both begin and end: changes of the picture's scale since the begin,
    /// per cent, in the order of the pull.
    #[serde(skip)]
    #[schema(ignore)]
    turns: Vec<f64>,
    /// Whether begin and end were given in feet or inches.
    #[serde(skip)]
    #[schema(ignore)]
    in_feet: (bool, bool),
}

/// What a swing on the way has to be beyond both ends to be told, percentage points: what two decimals show.
const TOLD_PCT: f64 = 0.01;

impl PullDocument {
    /// The answer from one result.
    pub(in crate::web) fn new(focal: &FocalDocument, question: PullQuestion) -> Self {
        let (from, to) = (question.from_dioptres, question.to_dioptres);
        let width = question
            .picture_width_px
            .or(focal.frame_width_px)
            .unwrap_or(USUAL_PICTURE_WIDTH);
        let curve = &focal.result.curve;
        // From a place to itself nothing changes, whatever the shift is there.
        let change = curve.pull(from, to).map(|change| {
            if (from - to).abs() < f64::EPSILON {
                Measured::new(0.0, 0.0)
            } else {
                change
            }
        });
        let course = course(focal, from, to);
        let widest = course.iter().copied().fold(0.0, f64::min);
        let tightest = course.iter().copied().fold(0.0, f64::max);
        let span = change
            .filter(|_| widest > -100.0)
            .map(|_| (100.0 + tightest) / (100.0 + widest));
        Self {
            conditions: focal.conditions.clone(),
            focal_length_mm: focal.focal_length_mm,
            from_m: distance_m(from),
            from_dioptres: from,
            to_m: distance_m(to),
            to_dioptres: to,
            framing_change_pct: change.map(|change| change.value),
            framing_change_u_pct: change.map(|change| change.std_error),
            perspective_bound_pct: change
                .and(perspective_of(&focal.result))
                .map(|perspective| perspective.of_pull_pct(from, to)),
            widest_on_the_way_pct: change.map(|_| widest),
            tightest_on_the_way_pct: change.map(|_| tightest),
            picture_width_px: width,
            edge_movement_px: change.map(|change| edge_px(width, change.value)),
            edge_movement_u_px: change.map(|change| edge_px(width, change.std_error)),
            scale_to_hide: span,
            crop_to_hide_pct: span.map(|span| (1.0 - 1.0 / span) * 100.0),
            outside: change.is_none().then(|| outside(focal, from, to)),
            turns: change.map_or_else(Vec::new, |end| turns(&course, end)),
            in_feet: question.in_feet,
        }
    }

    /// Focal length in words.
    pub(in crate::web) fn at(&self) -> String {
        words::focal_length(self.focal_length_mm)
    }

    /// The framing change with its expanded uncertainty in words, or why there is none; before it what happens on the way,
    /// e.g. "first 0.29 % wider, in the end +0.15 % ± 0.02".
    pub(in crate::web) fn change_words(&self) -> String {
        match (self.framing_change_pct, self.framing_change_u_pct) {
            (Some(change), Some(u)) if change == 0.0 && u == 0.0 => "none".to_owned(),
            (Some(change), Some(u)) => {
                let turn = |pct: f64| {
                    let way = if pct < 0.0 { "wider" } else { "tighter" };
                    format!("{:.2} % {way}", pct.abs())
                };
                self.after_the_turns(turn, words::shift(Measured::new(change, u)))
            }
            _ => self.outside.clone().unwrap_or_default(),
        }
    }

    /// How much of the change perspective may hold, in words; empty where there is no change.
    pub(in crate::web) fn perspective_words(&self) -> String {
        match (self.framing_change_pct, self.perspective_bound_pct) {
            (None, _) => String::new(),
            (Some(_), None) => "how much is not known".to_owned(),
            (Some(_), Some(bound)) => format!("up to {:.2} points", bound.abs()),
        }
    }

    /// What is at the end, after what is at each turning point on the way.
    fn after_the_turns(&self, turn: impl Fn(f64) -> String, end: String) -> String {
        if self.turns.is_empty() {
            return end;
        }
        let turns: Vec<String> = self.turns.iter().map(|pct| turn(*pct)).collect();
        format!("first {}, in the end {end}", turns.join(", then "))
    }

    /// The pull in words, each distance in the unit it was given in, e.g. "3 m to 3 ft 6 in".
    pub(in crate::web) fn way(&self) -> String {
        let place = |m: Option<f64>, in_feet: bool| {
            m.map_or_else(
                || "infinity".to_owned(),
                |m| words::distance_as_asked(m, in_feet),
            )
        };
        let (from_in_feet, to_in_feet) = self.in_feet;
        let from = place(self.from_m, from_in_feet);
        format!("{from} to {}", place(self.to_m, to_in_feet))
    }

    /// Edge movement with its expanded uncertainty (k = 2), in words; a tenth of a pixel at least. What is told as no change
    /// has no direction. The width of the picture follows, unless it is said elsewhere.
    pub(in crate::web) fn edge_words(&self, width_is_said: bool) -> String {
        let (Some(px), Some(change)) = (self.edge_movement_px, self.framing_change_pct) else {
            return String::new();
        };
        if px == 0.0 && self.edge_movement_u_px == Some(0.0) {
            return format!("not at all, in {} px", self.picture_width_px);
        }
        let direction = |px: f64| if px < 0.0 { "inwards" } else { "outwards" };
        let u = (2.0 * self.edge_movement_u_px.unwrap_or_default()).max(0.1);
        let size = format!("{:.1} ± {u:.1} px", px.abs());
        let is_lost = px.abs() < 2.0 * self.edge_movement_u_px.unwrap_or_default();
        let end = if is_lost || change.abs() < 0.005 || px.abs() < 0.05 {
            size
        } else {
            format!("{size} {}", direction(px))
        };
        let turn = |pct: f64| {
            let px = edge_px(self.picture_width_px, pct);
            format!("{:.1} px {}", px.abs(), direction(px))
        };
        let moved = self.after_the_turns(turn, end);
        if width_is_said {
            moved
        } else {
            format!("{moved} of {} px", self.picture_width_px)
        }
    }

    /// The crop of width and height that hides it, in words.
    pub(in crate::web) fn crop_words(&self) -> String {
        match (self.scale_to_hide, self.crop_to_hide_pct) {
            (Some(scale), Some(crop)) => {
                format!("{crop:.2} % (enlarge by {scale:.4})")
            }
            _ => String::new(),
        }
    }
}

/// The width of the picture that several answers hold for, px; `None` where they differ, or there is none.
pub(in crate::web) fn shared_picture_width<'a>(
    pulls: impl IntoIterator<Item = &'a PullDocument>,
) -> Option<u32> {
    let mut widths = pulls.into_iter().map(|pull| pull.picture_width_px);
    let first = widths.next()?;
    widths.all(|width| width == first).then_some(first)
}

/// How far a change of scale, per cent, moves the left or right edge of a picture, px.
fn edge_px(width_px: u32, change_pct: f64) -> f64 {
    f64::from(width_px) / 2.0 * change_pct / 100.0
}

/// The widest and the tightest moment of a pull, in its order, where they lie clearly beyond both its ends: by more than two
/// decimals show, and by more than the expanded uncertainty (k = 2) of the change. Noise of the frames is no swing.
fn turns(course: &[f64], end: Measured) -> Vec<f64> {
    let clearly = TOLD_PCT.max(2.0 * end.std_error);
    let moments = || course.iter().copied().enumerate();
    let widest = moments().min_by(|a, b| a.1.total_cmp(&b.1));
    let tightest = moments().max_by(|a, b| a.1.total_cmp(&b.1));
    let mut turns: Vec<(usize, f64)> = Vec::new();
    turns.extend(widest.filter(|(_, change)| *change < end.value.min(0.0) - clearly));
    turns.extend(tightest.filter(|(_, change)| *change > end.value.max(0.0) + clearly));
    turns.sort_by_key(|(place, _)| *place);
    turns.into_iter().map(|(_, change)| change).collect()
}

/// The changes of picture scale since a pull began, per cent, at every measured point on its way and at its end, in the
/// order of the pull; empty where the pull leaves the measured range.
fn course(focal: &FocalDocument, from: f64, to: f64) -> Vec<f64> {
    let curve = &focal.result.curve;
    let (Some(first), Some(last)) = (curve.shift_at(from), curve.shift_at(to)) else {
        return Vec::new();
    };
    let (low, high) = (from.min(to), from.max(to));
    let mut between: Vec<(f64, f64)> = curve
        .points()
        .iter()
        .filter_map(|point| Some((point.dioptres?.value, point.shift_pct.value)))
        .filter(|(at, _)| *at > low && *at < high)
        .collect();
    between.sort_by(|a, b| (a.0 - from).abs().total_cmp(&(b.0 - from).abs()));
    let shifts = between.into_iter().map(|(_, shift)| shift);
    let scale = |shift: f64| 1.0 + shift / 100.0;
    shifts
        .chain([last.value])
        .map(|shift| (scale(shift) / scale(first.value) - 1.0) * 100.0)
        .collect()
}

/// Why a pull can't be answered.
fn outside(focal: &FocalDocument, from: f64, to: f64) -> String {
    let curve = &focal.result.curve;
    let is_near = |near: f64| from.max(to) > near;
    match curve.range_dioptres() {
        Some((_, near)) if is_near(near) => report::outside(curve, from.max(to)),
        _ => report::outside(curve, from.min(to)),
    }
}
