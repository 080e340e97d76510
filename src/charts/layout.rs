//! Lays a chart of shift out: margins, axes, bands, lines, labels.
//!
//! Infinity is at the left, where every curve starts from zero; closest focus at the right, where the lines part and
//! carry their labels.

use super::axes::draw_axes;
use super::curves::{COVERAGE, draw_bands, draw_line, label_band};
use super::draw::text_width;
use super::labels::{Column, label_at, shortened};
use super::notes::Notes;
use super::palette::Role;
use super::scene::{Align, Plot, Scene};
use super::ticks::{round_values, shift_words};
use super::{Axis, ShiftChart};
use crate::sweep::CurvePoint;

/// The lowest plot that gives room to notes, in type sizes.
const LOWEST_PLOT: f64 = 6.0;

/// The lowest plot that gives room to a title or to a key, in type sizes.
const LEAST_PLOT: f64 = 3.0;

/// What the axis below the plot takes, in type sizes.
const FOOT: f64 = 3.4;

/// What an axis in feet takes above the plot, in type sizes, and the height of the chart that gives it room.
const FEET: f64 = 1.3;
const FEET_FROM: f64 = 11.5;

/// From one tick of the shift to the next, in type sizes; the second where a low plot would have hardly any.
const TICKS_APART: f64 = 2.2;
const TICKS_CLOSE: f64 = 1.3;

/// The rectangle of the plot and how numbers become places in it.
pub(super) struct Frame {
    /// Left edge, px.
    pub(super) left: f64,
    /// Right edge, px.
    pub(super) right: f64,
    /// Top edge, px.
    pub(super) top: f64,
    /// Bottom edge, px.
    pub(super) bottom: f64,
    /// What the right edge stands for.
    pub(super) x_max: f64,
    /// Shift at the bottom edge, per cent.
    y_low: f64,
    /// Shift at the top edge, per cent.
    y_high: f64,
}

impl Frame {
    /// Place of a focus setting.
    pub(super) fn x(&self, value: f64) -> f64 {
        self.left + (self.right - self.left) * value / self.x_max
    }

    /// Place of a shift.
    pub(super) fn y(&self, shift_pct: f64) -> f64 {
        let part = (shift_pct - self.y_low) / (self.y_high - self.y_low);
        self.bottom - (self.bottom - self.top) * part
    }
}

/// A line ready for the plot: x value, shift, standard uncertainty, infinity first.
pub(super) type Line = Vec<(f64, f64, f64)>;

/// Type size for a chart of this size, px: 12.5 on a page, 33 at 1920×1080, never below 11. Banners and columns, more than about
/// five times as long as wide, take what their shorter side has room for.
pub(super) fn type_size(width: u32, height: u32) -> f64 {
    let (width, height) = (f64::from(width), f64::from(height));
    let side = (width * height).sqrt() / 44.0;
    side.min(width.min(height) / 20.0).max(11.0)
}

/// The chart as marks.
pub(super) fn lay_out(chart: &ShiftChart) -> Scene {
    let size = type_size(chart.width, chart.height);
    let (width, height) = (f64::from(chart.width), f64::from(chart.height));
    let mut scene = Scene {
        width: chart.width,
        height: chart.height,
        marks: Vec::new(),
        plot: None,
    };
    let lines: Vec<Line> = chart
        .series
        .iter()
        .map(|series| plotted(series.curve.points(), chart.axis))
        .collect();
    let labels: Vec<String> = chart
        .series
        .iter()
        .zip(&lines)
        .map(|(series, line)| {
            if line.is_empty() {
                format!("{}: distances unknown", series.label)
            } else {
                series.label.clone()
            }
        })
        .collect();

    let (y_low, y_high) = shift_range(&lines, chart.tolerance_pct);
    let x_max = match chart.axis {
        Axis::Travel => 1.0,
        Axis::Distance => lines
            .iter()
            .flatten()
            .map(|point| point.0)
            .fold(0.1, f64::max),
    };
    let feet = chart.axis == Axis::Distance && height >= size * FEET_FROM;
    let feet_room = if feet { size * FEET } else { 0.0 };
    let least_top = size * 2.3 + feet_room;
    let foot = size * FOOT;
    let fits = |room: f64| height - foot - least_top - room >= size * LEAST_PLOT;
    let mut title_room = if chart.title.is_empty() {
        0.0
    } else {
        size * 1.9
    };
    let column = Column::new(&labels, width, height - foot - least_top - title_room, size);
    let mut key_room = if column.is_some() {
        0.0
    } else {
        labels.len() as f64 * size * 1.5 + size * 0.5
    };
    if !fits(title_room + key_room) {
        title_room = 0.0;
    }
    if !fits(key_room) {
        key_room = 0.0;
    }
    let top = least_top + title_room + key_room;
    let notes = Notes::new(
        &chart.notes,
        width,
        size,
        height - foot - top - size * LOWEST_PLOT,
    );
    let bottom = height - foot - notes.height();
    let ticks_apart = |apart: f64| {
        let most = (bottom - top) / (size * apart);
        round_values(y_low, y_high, most.clamp(2.0, 12.0) as usize)
    };
    let mut y_ticks = ticks_apart(TICKS_APART);
    if y_ticks.len() < 3 {
        y_ticks = ticks_apart(TICKS_CLOSE);
    }
    let y_step = y_ticks.get(1).map_or(1.0, |second| second - y_ticks[0]);
    let y_words: Vec<String> = y_ticks
        .iter()
        .map(|tick| shift_words(*tick, y_step))
        .collect();
    let y_room = y_words
        .iter()
        .map(|words| text_width(words, size))
        .fold(0.0, f64::max);
    let left = y_room + size * 1.2;
    let margin = column.as_ref().map_or(size * 2.0, |column| column.width);
    let frame = Frame {
        left,
        right: (width - margin).max(left + size),
        top,
        bottom,
        x_max,
        y_low,
        y_high,
    };

    scene.rectangle((0.0, 0.0), (width, height), Role::Ground);
    if title_room > 0.0 {
        let words = shortened(&chart.title, width - size * 1.2, size * 1.1);
        let at = (size * 0.6, size * 1.3);
        scene.text(at, words, size * 1.1, Align::Start, Role::Ink);
    }
    scene.plot = Some(Plot {
        left: frame.left,
        right: frame.right,
        top: frame.top,
        bottom: frame.bottom,
        most: frame.x_max,
    });
    notes.draw(&mut scene, frame.bottom + foot);
    draw_bands(&mut scene, chart, &frame, size);
    draw_axes(&mut scene, chart, &frame, size, feet, (&y_ticks, &y_words));
    label_band(&mut scene, chart, &frame, &lines, size);
    for (number, line) in lines.iter().enumerate() {
        draw_line(&mut scene, &frame, line, number, size);
    }
    if let Some(column) = column {
        column.draw(&mut scene, &frame, &lines);
    } else if key_room > 0.0 {
        let top = size * 0.8 + title_room;
        for (number, label) in labels.iter().enumerate() {
            let y = top + size * (0.6 + 1.5 * number as f64);
            let words = shortened(label, width - size * 4.4, size);
            label_at(&mut scene, (size * 0.6, y), number, &[words], size);
        }
    }
    scene
}

/// The points of a curve that can stand on this axis, infinity first.
fn plotted(points: &[CurvePoint], axis: Axis) -> Line {
    let mut line: Line = points
        .iter()
        .filter_map(|point| {
            let x = match axis {
                Axis::Travel => 1.0 - point.travel,
                Axis::Distance => point.dioptres?.value,
            };
            let finite = x.is_finite() && point.shift_pct.value.is_finite();
            finite.then_some((x, point.shift_pct.value, point.shift_pct.std_error))
        })
        .collect();
    line.sort_by(|a, b| a.0.total_cmp(&b.0));
    line
}

/// Lowest and highest shift of the plot: the tolerance band with a little air, and every line with its uncertainty.
fn shift_range(lines: &[Line], tolerance_pct: f64) -> (f64, f64) {
    let reach = tolerance_pct.abs().clamp(0.01, 50.0) * 1.2;
    let (mut low, mut high) = (-reach, reach);
    for (_, shift, u) in lines.iter().flatten() {
        low = low.min(shift - COVERAGE * u);
        high = high.max(shift + COVERAGE * u);
    }
    let air = (high - low) * 0.05;
    (low - air, high + air)
}

#[cfg(test)]
mod tests;
