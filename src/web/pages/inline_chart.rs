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
    /// Draws all three; the one for paper at these sides, px.
    pub(super) async fn new(
        shelf: &ChartShelf,
        series: Vec<Series>,
        tolerance_pct: f64,
        axis: Axis,
        pull: Option<PullQuestion>,
        paper: (u32, u32),
    ) -> Result<Self, WebError> {
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
