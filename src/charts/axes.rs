//! Axes: grid, ticks, and what they say.

use super::draw::text_width;
use super::layout::Frame;
use super::palette::Role;
use super::scene::{Align, Scene};
use super::ticks::distance_ticks;
use super::{Axis, ShiftChart};

/// Grid, ticks and words of both axes, and the label of the tolerance band.
pub(super) fn draw_axes(
    scene: &mut Scene,
    chart: &ShiftChart,
    frame: &Frame,
    size: f64,
    y_ticks: &[f64],
    y_words: &[String],
) {
    let hair = (size / 18.0).max(0.75);
    for (tick, words) in y_ticks.iter().zip(y_words) {
        let y = frame.y(*tick);
        let zero = words == "0";
        let (role, width) = if zero {
            (Role::Ink, hair * 1.3)
        } else {
            (Role::Grid, hair)
        };
        scene.line(&[(frame.left, y), (frame.right, y)], role, width, &[]);
        let at = (frame.left - size * 0.5, y);
        scene.text(at, words.clone(), size, Align::End, Role::Quiet);
    }
    let plot = frame.right - frame.left;
    let ticks: Vec<(f64, String)> = match chart.axis {
        Axis::Distance => distance_ticks(frame.x_max, size / plot, &|words| {
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
    let long = plot > size * 22.0;
    let words = match (chart.axis, long) {
        (Axis::Distance, true) => "focus distance, m (spaced in dioptres)",
        (Axis::Distance, false) => "focus distance, m",
        (Axis::Travel, true) => "travel: 1 at the far end, 0 at closest focus",
        (Axis::Travel, false) => "travel, 0 at closest focus",
    };
    let at = ((frame.left + frame.right) / 2.0, frame.bottom + size * 2.5);
    scene.text(at, words.to_owned(), size, Align::Middle, Role::Quiet);

    let words = if long {
        "shift, % of picture scale: + tighter, − wider"
    } else {
        "shift, %: + tighter, − wider"
    };
    let at = (size * 0.6, frame.top - size * 0.9);
    scene.text(at, words.to_owned(), size, Align::Start, Role::Quiet);
    let tolerance = chart.tolerance_pct.abs().clamp(0.01, 50.0);
    let band = frame.y(-tolerance) - frame.y(tolerance);
    if band > size * 3.0 {
        let at = (frame.left + size * 0.5, frame.y(tolerance) + size * 0.8);
        let words = format!("± {tolerance} %");
        scene.text(at, words, size, Align::Start, Role::Quiet);
    }
}
