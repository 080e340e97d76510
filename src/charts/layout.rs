//! Lays a chart of shift out: margins, axes, bands, lines, labels.
//!
//! Infinity is at the left, where every curve starts from zero; closest focus at the right, where the lines part and
//! carry their labels.

use super::axes::draw_axes;
use super::draw::text_width;
use super::labels::{label_at, label_beside, shortened};
use super::notes::Notes;
use super::palette::{Role, dash, shape};
use super::scene::{Align, Mark, Plot, Point, Scene};
use super::ticks::{round_values, shift_words};
use super::{Axis, ShiftChart};
use crate::sweep::CurvePoint;

/// Coverage factor of the drawn uncertainty band, about 95 % (JCGM 100:2008, 6.2.1).
const COVERAGE: f64 = 2.0;

/// The largest share of the width that a column of labels may take before the labels become a key above the plot.
const LABEL_SHARE: f64 = 0.36;

/// The lowest plot that gives room to notes, in type sizes.
const LOWEST_PLOT: f64 = 6.0;

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

/// Type size for a chart of this size, px: 12.5 on a page, 33 at 1920×1080, never below 11.
pub(super) fn type_size(width: u32, height: u32) -> f64 {
    let side = (f64::from(width) * f64::from(height)).sqrt();
    (side / 44.0).max(11.0)
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
    let y_ticks = round_values(
        y_low,
        y_high,
        (height / (size * 3.2)).clamp(2.0, 12.0) as usize,
    );
    let y_step = y_ticks.get(1).map_or(1.0, |second| second - y_ticks[0]);
    let y_words: Vec<String> = y_ticks
        .iter()
        .map(|tick| shift_words(*tick, y_step))
        .collect();

    let sample = size * 2.2;
    let column = labels
        .iter()
        .map(|label| text_width(label, size))
        .fold(0.0, f64::max)
        + sample
        + size * 1.6;
    let beside = column <= LABEL_SHARE * width;
    let title_room = if chart.title.is_empty() {
        0.0
    } else {
        size * 1.9
    };
    let key_room = if beside {
        0.0
    } else {
        labels.len() as f64 * size * 1.5 + size * 0.5
    };
    let y_room = y_words
        .iter()
        .map(|words| text_width(words, size))
        .fold(0.0, f64::max);
    let top = size * 0.8 + title_room + key_room + size * 1.5;
    let room = height - size * 3.4 - top - size * LOWEST_PLOT;
    let notes = Notes::new(&chart.notes, width, size, room);
    let frame = Frame {
        left: y_room + size * 1.2,
        right: if beside {
            width - column
        } else {
            width - size * 1.4
        },
        top,
        bottom: height - size * 3.4 - notes.height(),
        x_max,
        y_low,
        y_high,
    };

    scene.rectangle((0.0, 0.0), (width, height), Role::Ground);
    if frame.right - frame.left < size * 2.0 || frame.bottom - frame.top < size * 2.0 {
        draw_small(&mut scene, chart, &lines, &frame, size);
        return scene;
    }
    if !chart.title.is_empty() {
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
    notes.draw(&mut scene, frame.bottom + size * 3.4);
    draw_bands(&mut scene, chart, &frame);
    draw_axes(&mut scene, chart, &frame, size, &y_ticks, &y_words);
    for (number, line) in lines.iter().enumerate() {
        draw_line(&mut scene, &frame, line, number, size);
    }
    if beside {
        label_beside(&mut scene, &frame, &lines, &labels, size, sample);
    } else {
        let top = size * 0.8 + title_room;
        for (number, label) in labels.iter().enumerate() {
            let y = top + size * (0.6 + 1.5 * number as f64);
            let words = shortened(label, width - sample - size * 2.2, size);
            label_at(&mut scene, (size * 0.6, y), number, words, size, sample);
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

fn draw_bands(scene: &mut Scene, chart: &ShiftChart, frame: &Frame) {
    let tolerance = chart.tolerance_pct.abs().clamp(0.01, 50.0);
    scene.rectangle(
        (frame.left, frame.y(tolerance)),
        (frame.right, frame.y(-tolerance)),
        Role::Band,
    );
    if let (Some((from, to)), Axis::Distance) = (chart.pull_dioptres, chart.axis) {
        let inside = |value: f64| frame.x(value.clamp(0.0, frame.x_max));
        let (from, to) = (inside(from.min(to)), inside(from.max(to)));
        scene.rectangle((from, frame.top), (to, frame.bottom), Role::Pull);
    }
}

/// One line with its uncertainty band and markers.
fn draw_line(scene: &mut Scene, frame: &Frame, line: &Line, number: usize, size: f64) {
    let role = Role::Line(number);
    let place = |x: f64, shift: f64| -> Point { (frame.x(x), frame.y(shift)) };
    let edge = |sign: f64| {
        line.iter()
            .map(move |(x, shift, u)| place(*x, shift + sign * COVERAGE * u))
    };
    let widest = line.iter().map(|point| point.2).fold(0.0, f64::max);
    if COVERAGE * widest * (frame.bottom - frame.top) / (frame.y_high - frame.y_low) > 0.5 {
        let outline = edge(1.0).chain(edge(-1.0).rev()).collect();
        scene.marks.push(Mark::Area(outline, role, 0.18));
    }
    let points: Vec<Point> = line.iter().map(|(x, shift, _)| place(*x, *shift)).collect();
    let width = size / 6.5;
    scene.line(&points, role, width, dash(number));
    for at in marker_places(&points, size * 4.0) {
        scene.marker(at, size * 0.3, shape(number), role);
    }
}

/// Points of a line that carry a marker: the last one, and others at least `gap` px apart along x.
fn marker_places(points: &[Point], gap: f64) -> Vec<Point> {
    let mut places: Vec<Point> = Vec::new();
    for point in points.iter().rev() {
        if places.last().is_none_or(|last| last.0 - point.0 >= gap) {
            places.push(*point);
        }
    }
    places
}

/// A chart too small for words: band, zero line and lines only.
fn draw_small(scene: &mut Scene, chart: &ShiftChart, lines: &[Line], outer: &Frame, size: f64) {
    let frame = Frame {
        left: size * 0.4,
        right: f64::from(chart.width) - size * 0.4,
        top: size * 0.4,
        bottom: f64::from(chart.height) - size * 0.4,
        ..*outer
    };
    draw_bands(scene, chart, &frame);
    let zero = [(frame.left, frame.y(0.0)), (frame.right, frame.y(0.0))];
    scene.line(&zero, Role::Ink, 1.0, &[]);
    for (number, line) in lines.iter().enumerate() {
        draw_line(scene, &frame, line, number, size);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::charts::{Series, Theme};
    use crate::sweep::ShiftCurve;
    use crate::units::Measured;

    fn chart(worst_pct: &[f64], width: u32, height: u32, axis: Axis) -> ShiftChart {
        let series = worst_pct
            .iter()
            .enumerate()
            .map(|(number, worst)| Series {
                label: format!("Brackwell {} mm", 24 + 11 * number),
                curve: ShiftCurve::new(
                    (0..20)
                        .map(|step| {
                            let travel = f64::from(step) / 19.0;
                            CurvePoint {
                                travel,
                                dioptres: Some(Measured::new(2.5 * (1.0 - travel), 0.01)),
                                shift_pct: Measured::new(worst * (1.0 - travel), 0.01),
                            }
                        })
                        .collect(),
                ),
            })
            .collect();
        ShiftChart {
            title: "Brackwell 24–101 mm".to_owned(),
            notes: vec![
                "Distortion correction on, breathing compensation off, f/8.".to_owned(),
                "Breathmark · lens.example/lenses/brackwell-24-101-mm-f-4-traveller-second-version · CC BY 4.0".to_owned(),
            ],
            series,
            tolerance_pct: 2.0,
            axis,
            theme: Theme::Light,
            width,
            height,
            pull_dioptres: None,
        }
    }

    /// Left, right, top, bottom of every text.
    fn boxes(scene: &Scene) -> Vec<(String, [f64; 4])> {
        scene
            .marks
            .iter()
            .filter_map(|mark| match mark {
                Mark::Text(text) => {
                    let width = text_width(&text.words, text.size);
                    let left = match text.align {
                        Align::Start => text.at.0,
                        Align::Middle => text.at.0 - width / 2.0,
                        Align::End => text.at.0 - width,
                    };
                    // Ascenders and descenders fill about one type size.
                    let half = text.size / 2.0;
                    let sides = [left, left + width, text.at.1 - half, text.at.1 + half];
                    Some((text.words.clone(), sides))
                }
                _ => None,
            })
            .collect()
    }

    #[test]
    fn no_two_texts_overlap_and_none_leaves_the_picture() {
        let crowded = [0.1, 0.12, 0.11, -0.1, 4.0, 3.9, 0.0, 0.05];
        for lines in [&crowded[..], &crowded[..2], &[-6.0], &[]] {
            for (width, height) in [(320, 300), (720, 420), (1920, 1080), (3840, 2160)] {
                for axis in [Axis::Distance, Axis::Travel] {
                    let scene = lay_out(&chart(lines, width, height, axis));
                    let texts = boxes(&scene);
                    for (index, (words, a)) in texts.iter().enumerate() {
                        assert!(
                            a[0] >= -0.5
                                && a[1] <= f64::from(width) + 0.5
                                && a[2] >= -0.5
                                && a[3] <= f64::from(height) + 0.5,
                            "{words:?} leaves {width} × {height}: {a:?}"
                        );
                        for (other, b) in &texts[..index] {
                            let apart =
                                a[1] <= b[0] || b[1] <= a[0] || a[3] <= b[2] || b[3] <= a[2];
                            assert!(apart, "{words:?} on {other:?} at {width} × {height}");
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn a_curve_without_distances_is_named_and_not_drawn() {
        let mut chart = chart(&[1.0], 720, 420, Axis::Distance);
        let points = chart.series[0].curve.points().to_vec();
        let unknown = points
            .into_iter()
            .map(|point| CurvePoint {
                dioptres: None,
                ..point
            })
            .collect();
        chart.series[0].curve = ShiftCurve::new(unknown);
        let words: Vec<String> = boxes(&lay_out(&chart)).into_iter().map(|b| b.0).collect();
        assert!(
            words.iter().any(|w| w.contains("distances unknown")),
            "{words:?}"
        );
    }
}
