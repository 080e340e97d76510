//! Direct labels: beside the ends of the lines, or as a key above the plot.

use super::draw::text_width;
use super::layout::{Frame, Line};
use super::palette::{Role, dash, shape};
use super::scene::{Align, Point, Scene};
use super::ticks::spread;

/// The largest share of the width that a column of labels may take before the labels become a key above the plot.
const SHARE: f64 = 0.36;
/// Shares of the width that labels in rows are broken to, the first that holds them in two rows.
const SHARES: [f64; 4] = [0.2, 0.25, 0.3, SHARE];
/// Least width of a chart whose labels are broken, type sizes; narrower ones leave too little beside them.
const BROKEN_FROM: f64 = 40.0;
/// Most rows of a label; what is longer is cut.
const MOST_ROWS: usize = 3;
/// Height of a row of a label, type sizes.
const ROW: f64 = 1.15;
/// Air between two labels, type sizes.
const AIR: f64 = 0.2;
/// Length of the sample of a line before its label, type sizes.
const SAMPLE: f64 = 2.2;

/// Labels in the right margin.
pub(super) struct Column {
    /// The rows of each label.
    labels: Vec<Vec<String>>,
    /// What the column takes of the width, px.
    pub(super) width: f64,
    /// Type size, px.
    size: f64,
}

impl Column {
    /// A column for a chart of this width beside a plot of this height, px: in single rows, or broken where those would
    /// take more than their share; `None` where they would still.
    pub(super) fn new(labels: &[String], width: f64, height: f64, size: f64) -> Option<Self> {
        let around = size * (SAMPLE + 1.6);
        let column = |labels: Vec<Vec<String>>| {
            let rows = labels.iter().flatten();
            let widest = rows.map(|row| text_width(row, size)).fold(0.0, f64::max);
            Self {
                labels,
                width: widest + around,
                size,
            }
        };
        let single = column(labels.iter().map(|label| vec![label.clone()]).collect());
        if single.width <= SHARE * width {
            return Some(single);
        }
        if width < BROKEN_FROM * size {
            return None;
        }
        let broken = |share: f64| -> Vec<Vec<String>> {
            let room = share * width - around;
            labels.iter().map(|label| rows(label, room, size)).collect()
        };
        let in_two = SHARES
            .into_iter()
            .map(broken)
            .find(|labels| labels.iter().all(|rows| rows.len() <= 2));
        let column = column(in_two.unwrap_or_else(|| broken(SHARE)));
        let fits = column.gap() * labels.len() as f64 <= height;
        (fits && column.width <= SHARE * width + 0.5).then_some(column)
    }

    /// From the middle of a label to the middle of the next, px.
    fn gap(&self) -> f64 {
        let most = self.labels.iter().map(Vec::len).max().unwrap_or(1);
        self.size * (most as f64 * ROW + AIR)
    }

    /// Each label beside the end of its line, kept apart, with a leader where it had to move.
    pub(super) fn draw(self, scene: &mut Scene, frame: &Frame, lines: &[Line]) {
        let (size, gap) = (self.size, self.gap());
        let end = |line: &Line| {
            line.last()
                .map(|(x, shift, _)| (frame.x(*x), frame.y(*shift)))
        };
        let wishes: Vec<f64> = lines
            .iter()
            .map(|line| end(line).map_or(frame.bottom, |place| place.1))
            .collect();
        // Half of what a label of several rows is higher than one of a single row.
        let more = (gap - size * (ROW + AIR)) / 2.0;
        let places = spread(&wishes, gap, frame.top + more, frame.bottom - more);
        let column = frame.right + size * 1.0;
        for (number, (line, label)) in lines.iter().zip(&self.labels).enumerate() {
            let y = places[number];
            if let Some(from) = end(line)
                && ((from.1 - y).abs() > size * 0.3 || column - from.0 > size * 2.0)
            {
                let start = (from.0 + size * 0.4, from.1);
                let stop = (column - size * 0.15, y);
                scene.line(&[start, stop], Role::Grid, (size / 18.0).max(0.75), &[]);
            }
            label_at(scene, (column, y), number, label, size);
        }
    }
}

/// A sample of the line and its label.
pub(super) fn label_at(
    scene: &mut Scene,
    (x, y): Point,
    number: usize,
    rows: &[String],
    size: f64,
) {
    let role = Role::Line(number);
    let sample = SAMPLE * size;
    let stroke = [(x, y), (x + sample * 0.8, y)];
    scene.line(&stroke, role, size / 6.5, dash(number));
    scene.marker((x + sample * 0.4, y), size * 0.3, shape(number), role);
    let first = y - size * ROW * (rows.len() as f64 - 1.0) / 2.0;
    for (row, words) in rows.iter().enumerate() {
        let at = (x + sample, first + size * ROW * row as f64);
        scene.text(at, words.clone(), size, Align::Start, Role::Ink);
    }
}

/// A label in rows no wider than `room` px, broken between words, but not between a number and its unit; what is too long
/// is cut with an ellipsis.
fn rows(label: &str, room: f64, size: f64) -> Vec<String> {
    let mut rows: Vec<String> = Vec::new();
    let mut words: Vec<String> = Vec::new();
    for word in label.split(' ') {
        match words.last_mut() {
            Some(number) if word == "mm" => number.push_str(" mm"),
            _ => words.push(word.to_owned()),
        }
    }
    for word in words {
        let longer = rows.last().map(|row| format!("{row} {word}"));
        match (longer, rows.last_mut()) {
            (Some(longer), Some(row)) if text_width(&longer, size) <= room => *row = longer,
            _ => rows.push(word),
        }
    }
    if rows.len() > MOST_ROWS {
        let rest = rows.split_off(MOST_ROWS - 1).join(" ");
        rows.push(rest);
    }
    rows.iter().map(|row| shortened(row, room, size)).collect()
}

/// The text, cut with an ellipsis where it is wider than `room` px.
pub(super) fn shortened(words: &str, room: f64, size: f64) -> String {
    if text_width(words, size) <= room {
        return words.to_owned();
    }
    let mut kept: Vec<char> = words.chars().collect();
    while !kept.is_empty() {
        kept.pop();
        let cut: String = kept.iter().collect::<String>().trim_end().to_owned() + "…";
        if text_width(&cut, size) <= room {
            return cut;
        }
    }
    String::new()
}
