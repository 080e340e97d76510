//! Numbers in, SVG or PNG out: shift against focus distance or travel.

mod axes;
mod curves;
mod direction;
mod draw;
mod halo;
mod labels;
mod layout;
mod lighter;
mod notes;
mod outline;
mod palette;
mod scene;
mod strip;
mod ticks;

pub use strip::{strip_edge_pct, strip_svg};

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
    /// Dark lines with light rims on no ground, for laying over a picture, be it dark or bright.
    Clear,
    /// Colours by classes of the page's style sheet, for SVG inside a page; light where there is no style sheet.
    Page,
}

/// A chart of shift.
#[derive(Debug, Clone)]
pub struct ShiftChart {
    /// Said above the plot; may be empty.
    pub title: String,
    /// Said below it in small type, the source last; for charts that stand alone. A chart too small for them leaves them
    /// to its description.
    pub notes: Vec<String>,
    /// Lines, in the order of their colours, dashes and markers.
    pub series: Vec<Series>,
    /// Half-height of the tolerance band, per cent.
    pub tolerance_pct: f64,
    /// What runs along the bottom.
    pub axis: Axis,
    /// Colours.
    pub theme: Theme,
    /// Width, px, 320 to 7680; inside a page from 300 on.
    pub width: u32,
    /// Height, px, 240 to 4320; inside a page from 100 on.
    pub height: u32,
    /// A focus pull to mark, from and to, dioptres.
    pub pull_dioptres: Option<(f64, f64)>,
}

/// A chart that can't be drawn.
#[derive(Debug, Clone, thiserror::Error)]
#[error("the chart can't be drawn: {0}")]
pub struct ChartError(pub String);

impl ShiftChart {
    /// Allowed widths of a chart that stands alone, px: from where its axes have room.
    pub const WIDTHS: std::ops::RangeInclusive<u32> = 320..=7680;
    /// Allowed heights of a chart that stands alone, px: from where eight lines have labels.
    pub const HEIGHTS: std::ops::RangeInclusive<u32> = 240..=4320;
    /// Least width and height inside a page, which says in words what a low chart has no room for, px.
    const LEAST_IN_PAGE: (u32, u32) = (300, 100);

    /// The chart as SVG, without script, style attribute or font file: its words are outlines of the embedded font, so
    /// that it looks the same everywhere. In the colours of a page they stay text, in the font of the page.
    ///
    /// # Errors
    /// `ChartError` when a side is out of range.
    pub fn svg(&self) -> Result<String, ChartError> {
        self.check()?;
        let name = if self.title.is_empty() {
            "Shift against focus"
        } else {
            &self.title
        };
        draw::svg(
            &layout::lay_out(self),
            self.theme,
            name,
            &self.description(),
        )
    }

    /// The chart as PNG, its text drawn with the embedded font.
    ///
    /// # Errors
    /// `ChartError` when a side is out of range.
    pub fn png(&self) -> Result<Vec<u8>, ChartError> {
        self.check()?;
        let theme = match self.theme {
            Theme::Page => Theme::Light,
            fixed => fixed,
        };
        draw::png(&layout::lay_out(self), theme)
    }

    fn check(&self) -> Result<(), ChartError> {
        let least = match self.theme {
            Theme::Page => Self::LEAST_IN_PAGE,
            _ => (*Self::WIDTHS.start(), *Self::HEIGHTS.start()),
        };
        for (side, value, range) in [
            ("width", self.width, least.0..=*Self::WIDTHS.end()),
            ("height", self.height, least.1..=*Self::HEIGHTS.end()),
        ] {
            if !range.contains(&value) {
                let (low, high) = (range.start(), range.end());
                return Err(ChartError(format!(
                    "{side} must be from {low} to {high} px, not {value}"
                )));
            }
        }
        Ok(())
    }

    /// What the chart shows, in words, for readers who can't see it.
    fn description(&self) -> String {
        let along = match self.axis {
            Axis::Distance => {
                "focus distance from infinity at the left to closest focus at the right"
            }
            Axis::Travel => "place in the focusing range, closest focus at the right",
        };
        let lines: Vec<String> = self
            .series
            .iter()
            .map(|series| {
                let points = series.curve.points();
                let worst = points
                    .iter()
                    .map(|point| point.shift_pct.value)
                    .max_by(|a, b| a.abs().total_cmp(&b.abs()));
                let has_distances = points.iter().any(|point| point.dioptres.is_some());
                let unknown = match self.axis {
                    Axis::Distance if !has_distances => "distances unknown, ",
                    Axis::Distance | Axis::Travel => "",
                };
                match worst {
                    Some(worst) => {
                        let worst = format!("{worst:+.2}").replace('-', "−");
                        format!("{}: {unknown}worst shift {worst} %", series.label)
                    }
                    None => format!("{}: not measured", series.label),
                }
            })
            .collect();
        let shown = format!(
            "Shift in per cent against {along}; the band is ± {} %. {}.",
            self.tolerance_pct,
            lines.join("; ")
        );
        let notes = self
            .notes
            .iter()
            .map(|note| format!(" {}", note.replace('\u{a0}', " ")));
        shown + &notes.collect::<String>()
    }
}
