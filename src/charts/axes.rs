//! Axes: grid, ticks, and what they say.

use super::draw::text_width;
use super::layout::Frame;
use super::palette::Role;
use super::scene::{Align, Scene};
use super::ticks::{FEET, METRES, distance_ticks};
use super::{Axis, ShiftChart};
use crate::units::METRES_PER_FOOT;

/// Grid, ticks and words of both axes; `feet` puts a second axis of distances above the plot.
pub(super) fn draw_axes(
    scene: &mut Scene,
    chart: &ShiftChart,
    frame: &Frame,
    size: f64,
    feet: bool,
    (y_ticks, y_words): (&[f64], &[String]),
) {
    let hair = (size / 18.0).max(0.75);
    for (tick, words) in y_ticks.iter().zip(y_words) {
        let y = frame.y(*tick);
        scene.line(&[(frame.left, y), (frame.right, y)], Role::Grid, hair, &[]);
        let at = (frame.left - size * 0.5, y);
        scene.text(at, words.clone(), size, Align::End, Role::Quiet);
    }
    let plot = frame.right - frame.left;
    let ticks: Vec<(f64, String)> = match chart.axis {
        Axis::Distance => distance_ticks(frame.x_max, METRES, size / plot, &|words| {
            text_width(words, size) / plot
        }),
        Axis::Travel => [0.0, 0.25, 0.5, 0.75, 1.0]
            .into_iter()
            .map(|part: f64| (part, format!("{:.2}", 1.0 - part)))
            .filter(|(part, _)| plot > size * 14.0 || (part * 2.0).fract() < 1e-9)
            .collect(),
    };
    for (place, words) in ticks {
        let x = frame.left + plot * place;
        let below = frame.bottom + size * 0.4;
        scene.line(&[(x, frame.top), (x, below)], Role::Grid, hair, &[]);
        let at = (x, frame.bottom + size * 1.1);
        scene.text(at, words, size, Align::Middle, Role::Quiet);
    }
    // Over the grid, so that it runs through.
    if y_words.iter().any(|words| words == "0") {
        let zero = frame.y(0.0);
        let ends = [(frame.left, zero), (frame.right, zero)];
        scene.line(&ends, Role::Ink, hair * 1.3, &[]);
    }
    if feet {
        draw_feet(scene, frame, size, hair);
    }
    let long = plot > size * 22.0;
    let words = match (chart.axis, long) {
        (Axis::Distance, true) if feet => "focus distance, m; above in feet (spaced in dioptres)",
        (Axis::Distance, true) => "focus distance, m (spaced in dioptres)",
        (Axis::Distance, false) if feet => "focus distance, m; above in feet",
        (Axis::Distance, false) => "focus distance, m",
        (Axis::Travel, true) => "travel: 1 at the far end, 0 at closest focus",
        (Axis::Travel, false) => "travel, 0 at closest focus",
    };
    // In the middle of the plot, as far as it stays in the picture there.
    let half = text_width(words, size) / 2.0 + size * 0.3;
    let middle = (frame.left + frame.right) / 2.0;
    let middle = middle.min(f64::from(scene.width) - half).max(half);
    let at = (middle, frame.bottom + size * 2.5);
    scene.text(at, words.to_owned(), size, Align::Middle, Role::Quiet);

    let words = if long {
        "shift, % of picture scale: + tighter, − wider"
    } else {
        "shift, %: + tighter, − wider"
    };
    let lift = if feet { 2.2 } else { 0.9 };
    let at = (size * 0.6, frame.top - size * lift);
    scene.text(at, words.to_owned(), size, Align::Start, Role::Quiet);
}

/// Round distances in feet along the upper edge.
fn draw_feet(scene: &mut Scene, frame: &Frame, size: f64, hair: f64) {
    let plot = frame.right - frame.left;
    let said = |words: &str| format!("{words} ft");
    let closest_per_foot = frame.x_max * METRES_PER_FOOT;
    let ticks = distance_ticks(closest_per_foot, FEET, size / plot, &|words| {
        text_width(&said(words), size) / plot
    });
    // Infinity is the same in feet.
    for (place, words) in ticks.into_iter().filter(|(place, _)| *place > 0.0) {
        let x = frame.left + plot * place;
        let above = frame.top - size * 0.4;
        scene.line(&[(x, frame.top), (x, above)], Role::Grid, hair, &[]);
        let at = (x, frame.top - size);
        scene.text(at, said(&words), size, Align::Middle, Role::Quiet);
    }
}
