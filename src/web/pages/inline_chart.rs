//! Charts inside pages: one drawing for wide windows, one for narrow ones, one for paper.

use super::ChartShelf;
use super::charts::Wanted;
use crate::charts::{Axis, Series, Theme};
use crate::web::WebError;
use crate::web::api::PullQuestion;

/// Sides of a chart inside a wide page, px.
const WIDE_SIDES: (u32, u32) = (860, 430);
/// Sides of a chart inside a narrow page, px.
const NARROW_SIDES: (u32, u32) = (360, 340);
/// Sides of a chart on a printed sheet, px: as wide as the paper at the size of the small print, and low.
const PRINTED_SIDES: (u32, u32) = (640, 180);
/// The height where little else is on the sheet, px.
const PRINTED_HIGH: u32 = 320;
/// The height where a sheet has much to hold, px.
const PRINTED_LOW: u32 = 120;
/// What a line of a printed chart takes at least, px, and what stands around the lines.
const PRINTED_LINE: (u32, u32) = (15, 75);

/// How much a printed sheet holds beside its chart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sheet {
    /// Little.
    Roomy,
    /// A record of a lens.
    Full,
    /// More than that.
    Crowded,
}

/// A chart inside a page: drawings for wide windows, for narrow ones and for paper, coloured by the style sheet.
#[derive(Debug, Clone)]
pub(super) struct InlineChart {
    /// For wide windows.
    pub(super) wide: String,
    /// For narrow ones.
    pub(super) narrow: String,
    /// For paper; `None` where it is never printed.
    pub(super) printed: Option<String>,
}

impl InlineChart {
    /// Draws all three; the one for paper as high as its sheet has room.
    pub(super) async fn new(
        shelf: &ChartShelf,
        series: Vec<Series>,
        tolerance_pct: f64,
        axis: Axis,
        pull: Option<PullQuestion>,
        sheet: Sheet,
    ) -> Result<Self, WebError> {
        let (line, around) = PRINTED_LINE;
        let lines = u32::try_from(series.len()).unwrap_or_default();
        let low = match sheet {
            Sheet::Roomy => PRINTED_HIGH,
            Sheet::Full => PRINTED_SIDES.1,
            Sheet::Crowded => PRINTED_LOW,
        };
        let paper = (
            PRINTED_SIDES.0,
            low.max(lines.saturating_mul(line) + around),
        );
        let sides = [WIDE_SIDES, NARROW_SIDES];
        let paper = Self::drawn(shelf, &series, tolerance_pct, axis, pull, paper).await?;
        let chart = Self::sized(shelf, series, tolerance_pct, axis, pull, sides).await?;
        Ok(Self {
            printed: Some(paper),
            ..chart
        })
    }

    /// Draws those for windows at these sides, px, wide one first.
    pub(super) async fn sized(
        shelf: &ChartShelf,
        series: Vec<Series>,
        tolerance_pct: f64,
        axis: Axis,
        pull: Option<PullQuestion>,
        sides: [(u32, u32); 2],
    ) -> Result<Self, WebError> {
        let [wide, narrow] = sides;
        Ok(Self {
            wide: Self::drawn(shelf, &series, tolerance_pct, axis, pull, wide).await?,
            narrow: Self::drawn(shelf, &series, tolerance_pct, axis, pull, narrow).await?,
            printed: None,
        })
    }

    async fn drawn(
        shelf: &ChartShelf,
        series: &[Series],
        tolerance_pct: f64,
        axis: Axis,
        pull: Option<PullQuestion>,
        (width, height): (u32, u32),
    ) -> Result<String, WebError> {
        let wanted = Wanted {
            axis: Some(axis),
            theme: Theme::Page,
            width,
            height,
            pull,
            noted: false,
        };
        let chart = wanted.chart(String::new(), Vec::new(), series.to_vec(), tolerance_pct);
        shelf.inline(chart).await
    }
}
