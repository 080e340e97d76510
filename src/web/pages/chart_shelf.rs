//! Charts that were drawn already, kept by their content, and the turns of those that have to be drawn.

use std::sync::Arc;

use axum::body::Bytes;
use sha2::{Digest as _, Sha256};
use tokio::sync::Semaphore;

use crate::charts::{Axis, ShiftChart, Theme};
use crate::web::WebError;
use crate::web::shelf::Shelf;

/// Most bytes of charts that are kept.
const MOST_KEPT_BYTES: usize = 32 << 20;
/// How many charts are drawn at once.
const DRAWN_AT_ONCE: usize = 2;

/// What a chart is drawn as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::web) enum Drawing {
    /// Lines and text.
    Svg,
    /// Pixels.
    Png,
}

impl Drawing {
    /// The media type.
    pub(in crate::web) const fn media_type(self) -> &'static str {
        match self {
            Self::Svg => "image/svg+xml",
            Self::Png => "image/png",
        }
    }
}

/// The shelf; cheap to clone.
#[derive(Debug, Clone)]
pub struct ChartShelf(Arc<Drawn>);

#[derive(Debug)]
struct Drawn {
    kept: Shelf<Bytes>,
    turns: Semaphore,
}

impl Default for ChartShelf {
    fn default() -> Self {
        Self(Arc::new(Drawn {
            kept: Shelf::new(MOST_KEPT_BYTES),
            turns: Semaphore::new(DRAWN_AT_ONCE),
        }))
    }
}

impl ChartShelf {
    /// The chart, from the shelf or drawn off the async threads.
    pub(in crate::web) async fn draw(
        &self,
        chart: ShiftChart,
        drawing: Drawing,
    ) -> Result<Bytes, WebError> {
        let tag = tag(&chart, drawing);
        let draw = move || match drawing {
            Drawing::Svg => chart.svg().map(Bytes::from),
            Drawing::Png => chart.png().map(Bytes::from),
        };
        self.0.kept.find_or_make(tag, &self.0.turns, draw).await
    }

    /// The chart as SVG for standing inside a page.
    pub(in crate::web) async fn inline(&self, chart: ShiftChart) -> Result<String, WebError> {
        let drawn = self.draw(chart, Drawing::Svg).await?;
        Ok(String::from_utf8_lossy(&drawn).into_owned())
    }
}

/// A strong tag of what the chart shows and how, in quotes. Drawing is deterministic, so it stands for the bytes.
pub(in crate::web) fn tag(chart: &ShiftChart, drawing: Drawing) -> String {
    let mut hash = Sha256::new();
    let mut text = |words: &str| {
        hash.update((words.len() as u64).to_le_bytes());
        hash.update(words);
    };
    text(env!("CARGO_PKG_VERSION"));
    text(drawing.media_type());
    text(&chart.title);
    text(match chart.axis {
        Axis::Distance => "distance",
        Axis::Travel => "travel",
    });
    text(match chart.theme {
        Theme::Light => "light",
        Theme::Dark => "dark",
        Theme::Clear => "clear",
        Theme::Page => "page",
    });
    for note in &chart.notes {
        text(note);
    }
    for series in &chart.series {
        text(&series.label);
    }
    let mut number = |value: f64| hash.update(value.to_le_bytes());
    number(f64::from(chart.width));
    number(f64::from(chart.height));
    number(chart.tolerance_pct);
    let (from, to) = chart.pull_dioptres.unwrap_or((-1.0, -1.0));
    number(from);
    number(to);
    for series in &chart.series {
        number(series.curve.points().len() as f64);
        for point in series.curve.points() {
            number(point.travel);
            number(point.shift_pct.value);
            number(point.shift_pct.std_error);
            number(point.dioptres.map_or(-1.0, |at| at.value));
        }
    }
    format!("\"{}\"", hex::encode(&hash.finalize()[..16]))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chart(width: u32) -> ShiftChart {
        ShiftChart {
            title: String::new(),
            notes: Vec::new(),
            series: Vec::new(),
            tolerance_pct: 2.0,
            axis: Axis::Distance,
            theme: Theme::Light,
            width,
            height: 300,
            pull_dioptres: None,
        }
    }

    #[tokio::test]
    async fn a_chart_is_drawn_once_and_refused_sizes_are_not_kept() {
        let shelf = ChartShelf::default();
        let first = shelf
            .draw(chart(400), Drawing::Png)
            .await
            .expect("in range");
        let again = shelf
            .draw(chart(400), Drawing::Png)
            .await
            .expect("in range");
        assert_eq!(first.as_ptr(), again.as_ptr(), "the same bytes in memory");
        assert!(shelf.draw(chart(10), Drawing::Png).await.is_err());
        assert_ne!(
            tag(&chart(400), Drawing::Png),
            tag(&chart(301), Drawing::Png)
        );
        assert_ne!(
            tag(&chart(400), Drawing::Png),
            tag(&chart(400), Drawing::Svg)
        );
    }
}
