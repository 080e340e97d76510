//! Direct labels: beside the ends of the lines, or as a key above the plot.

use super::draw::text_width;
use super::layout::{Frame, Line};
use super::palette::{Role, dash, shape};
use super::scene::{Align, Point, Scene};
use super::ticks::spread;

/// Labels in the right margin, each beside the end of its line, kept apart, with a leader where it had to move.
pub(super) fn label_beside(
    scene: &mut Scene,
    frame: &Frame,
    lines: &[Line],
    labels: &[String],
    size: f64,
    sample: f64,
) {
    let end = |line: &Line| {
        line.last()
            .map(|(x, shift, _)| (frame.x(*x), frame.y(*shift)))
    };
    let wishes: Vec<f64> = lines
        .iter()
        .map(|line| end(line).map_or(frame.bottom, |place| place.1))
        .collect();
    let places = spread(&wishes, size * 1.35, frame.top, frame.bottom);
    let column = frame.right + size * 1.0;
    for (number, (line, label)) in lines.iter().zip(labels).enumerate() {
        let y = places[number];
        if let Some(from) = end(line)
            && ((from.1 - y).abs() > size * 0.3 || column - from.0 > size * 2.0)
        {
            let start = (from.0 + size * 0.4, from.1);
            let stop = (column - size * 0.15, y);
            scene.line(&[start, stop], Role::Grid, (size / 18.0).max(0.75), &[]);
        }
        label_at(scene, (column, y), number, label.clone(), size, sample);
    }
}

/// A sample of the line and its label.
pub(super) fn label_at(
    scene: &mut Scene,
    (x, y): Point,
    number: usize,
    words: String,
    size: f64,
    sample: f64,
) {
    let role = Role::Line(number);
    let stroke = [(x, y), (x + sample * 0.8, y)];
    scene.line(&stroke, role, size / 6.5, dash(number));
    scene.marker((x + sample * 0.4, y), size * 0.3, shape(number), role);
    scene.text((x + sample, y), words, size, Align::Start, Role::Ink);
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
