//! Numbers in, SVG or PNG out: shift against focus distance or travel.

use crate::sweep::ShiftCurve;

/// One line of a chart.
#[derive(Debug, Clone)]
pub struct Series {
    /// Direct label, e.g. "50 mm" or the lens.
    pub label: String,
    /// The curve.
    pub curve: ShiftCurve,
}

/// What runs along the bottom.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Axis {
    /// Focus distance, spaced in dioptres, labelled in metres.
    #[default]
    Distance,
    /// Place in the focusing range, 0 at closest focus, 1 at the last frame.
    Travel,
}

/// Colours of the ground and the lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Theme {
    /// Dark on light.
    #[default]
    Light,
    /// Light on dark.
    Dark,
    /// Dark lines on no ground, for laying over a picture.
    Clear,
}

/// A chart of shift.
#[derive(Debug, Clone)]
pub struct ShiftChart {
    /// Said above the plot; may be empty.
    pub title: String,
    /// Lines, in the order of their colours, dashes and markers.
    pub series: Vec<Series>,
    /// Half-height of the tolerance band, per cent.
    pub tolerance_pct: f64,
    /// What runs along the bottom.
    pub axis: Axis,
    /// Colours.
    pub theme: Theme,
    /// Width, px, 160 to 7680.
    pub width: u32,
    /// Height, px, 120 to 4320.
    pub height: u32,
    /// A focus pull to mark, from and to, dioptres.
    pub pull_dioptres: Option<(f64, f64)>,
}

/// A chart that can't be drawn.
#[derive(Debug, thiserror::Error)]
#[error("the chart can't be drawn: {0}")]
pub struct ChartError(pub String);

impl ShiftChart {
    /// The chart as SVG with text as text, no fixed font file, no script and no style attribute.
    ///
    /// # Errors
    /// `ChartError` when a side is out of range.
    pub fn svg(&self) -> Result<String, ChartError> {
        unimplemented!()
    }

    /// The chart as PNG, its text drawn with the embedded font.
    ///
    /// # Errors
    /// `ChartError` when a side is out of range.
    pub fn png(&self) -> Result<Vec<u8>, ChartError> {
        unimplemented!()
    }
}
