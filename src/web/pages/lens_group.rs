//! The results of a lens under one set of conditions, as its page shows them.

use super::charts::{CurveSource, axis_for, axis_word, lens_series, sources_text};
use super::inline_chart::InlineChart;
use super::measured::Measured;
use super::readings::Readings;
use super::{ChartShelf, bounds};
use crate::charts::Axis;
use crate::store::ConditionsKey;
use crate::web::WebError;
use crate::web::api::{
    FocalDocument, LensHead, PullDocument, PullQuestion, conditions_words, shared_picture_width,
    verdict,
};

/// The results under one set of conditions.
pub(super) struct Group {
    pub(super) conditions: ConditionsKey,
    pub(super) axis: Axis,
    pub(super) results: Vec<FocalDocument>,
    pub(super) verdict: String,
    pub(super) chart: InlineChart,
    /// Where the numbers of the chart are, for the read-out.
    pub(super) sources: String,
    pub(super) readings: Readings,
    pub(super) pulls: Vec<PullDocument>,
    pub(super) measured: Measured,
}

impl Group {
    /// The results with their chart; `asked` is the tolerance, per cent, the axis and the pull, `paper` the sides of the
    /// printed chart, px.
    pub(super) async fn new(
        shelf: &ChartShelf,
        lens: &LensHead,
        conditions: ConditionsKey,
        results: Vec<FocalDocument>,
        (tolerance_pct, axis, pull): (f64, Option<Axis>, Option<PullQuestion>),
        paper: (u32, u32),
    ) -> Result<Self, WebError> {
        let series = lens_series(&results);
        let axis = axis_for(axis, &series);
        Ok(Self {
            conditions,
            axis,
            verdict: verdict(&results, Some(lens)).unwrap_or_default(),
            sources: sources_text(&[CurveSource::of_lens(&lens.slug, conditions.code())])?,
            readings: Readings::new(&series, axis),
            chart: InlineChart::new(shelf, series, tolerance_pct, axis, pull, paper).await?,
            pulls: pull.map_or_else(Vec::new, |question| {
                results
                    .iter()
                    .map(|focal| PullDocument::new(focal, question))
                    .collect()
            }),
            measured: Measured::new(&results),
            results,
        })
    }

    /// The width of the picture that all pulls are told in, px.
    pub(super) fn picture_width(&self) -> Option<u32> {
        shared_picture_width(&self.pulls)
    }

    pub(super) fn conditions_words(&self) -> String {
        conditions_words(self.conditions)
    }

    /// Whether one of the curves can stand against distance.
    pub(super) fn has_distances(&self) -> bool {
        self.results
            .iter()
            .any(|focal| focal.result.curve.range_dioptres().is_some())
    }

    pub(super) fn axis_word(&self) -> &'static str {
        axis_word(self.axis)
    }

    /// Whether one of the results is not relative to infinity.
    pub(super) fn relative_to_farthest(&self) -> bool {
        self.results
            .iter()
            .any(|focal| focal.relative_to == "farthest_frame")
    }

    /// Which shifts are not relative to infinity, in words.
    pub(super) fn farthest_words(&self) -> &'static str {
        match self.results.as_slice() {
            [focal] if focal.sweep_count == 1 => {
                "The last frame of its sweep was not at infinity: shifts are relative to the farthest frame, and the true \
                 figures may be larger."
            }
            _ => {
                "The last frame of at least one sweep was not at infinity: those shifts are relative to the farthest frame, \
                 and the true figures may be larger."
            }
        }
    }

    /// What zero is on the chart, in words.
    pub(super) fn zero_words(&self) -> &'static str {
        let farthest = |focal: &FocalDocument| focal.relative_to == "farthest_frame";
        if self.results.iter().all(farthest) {
            "in the farthest frame"
        } else if self.relative_to_farthest() {
            "at infinity, or in the farthest frame where a sweep ends before infinity"
        } else {
            "at infinity"
        }
    }

    /// What stands under the chart.
    pub(super) fn caption(&self) -> String {
        format!(
            "Shift of the picture scale against focus. Above zero the picture is tighter than {}, below zero wider. The \
             grey band is the tolerance; the haze around a line is its expanded uncertainty (k = 2), where it is wider \
             than the line.",
            self.zero_words()
        )
    }

    /// The picture that angles of view hold for, in words.
    pub(super) fn across_words(&self) -> String {
        let mut widths: Vec<String> = Vec::new();
        for focal in &self.results {
            let width = format!("{} mm", (focal.angle_across_mm * 10.0).round() / 10.0);
            if !widths.contains(&width) {
                widths.push(width);
            }
        }
        let known = |focal: &FocalDocument| focal.result.sensor_width_mm.is_some();
        let widths = widths.join(" or ");
        if self.results.iter().all(known) {
            format!("for the camera's picture, {widths} wide")
        } else if self.results.iter().any(known) {
            format!("for pictures {widths} wide (36 mm where the camera's is not known)")
        } else {
            format!("for a picture {widths} wide, as the camera's is not known")
        }
    }

    /// How much of the worst shifts perspective may hold, in words.
    pub(super) fn perspective_words(&self, index: &usize) -> Option<String> {
        bounds::perspective(&self.results, *index > 0)
    }

    /// How much of the changes of a focus pull perspective may hold, in words.
    pub(super) fn pull_perspective_words(&self) -> Option<String> {
        bounds::perspective_of_pulls(&self.pulls)
    }

    /// What the shifts may lack where blur alone says that a sweep ends at infinity, in words.
    pub(super) fn assumed_infinity_words(&self) -> Option<String> {
        bounds::assumed_infinity(&self.results)
    }

    /// What else the pictures leave open of the worst shifts, in words.
    pub(super) fn left_open_words(&self) -> Option<String> {
        bounds::left_open(&self.results)
    }

    /// What the shifts lack where a sweep ends short of infinity, in words.
    pub(super) fn shortfall_words(&self) -> Option<String> {
        bounds::shortfall(&self.results)
    }

    pub(super) fn has_findings(&self) -> bool {
        self.results.iter().any(|focal| !focal.findings.is_empty())
    }
}
