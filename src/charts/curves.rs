//! The plot itself: the tolerance band, a focus pull, and the curves with their uncertainty and markers.

use super::draw::text_width;
use super::layout::{Frame, Line};
use super::palette::{Role, dash, shape};
use super::scene::{Align, Mark, Point, Scene};
use super::{Axis, ShiftChart, Theme};

/// Coverage factor of the drawn uncertainty band, about 95 % (JCGM 100:2008, 6.2.1).
pub(super) const COVERAGE: f64 = 2.0;

/// Opacity of the uncertainty band.
const UNCERTAIN: f64 = 0.18;
/// Opacity of a focus pull over a picture.
const PULL_TINT: f64 = 0.2;
/// Dash and gap of the edges that stand for a ground over a picture, line widths.
const EDGE_DASH: [f64; 2] = [4.0, 4.0];

/// Half-height of the tolerance band as drawn, per cent.
pub(super) fn half_band(chart: &ShiftChart) -> f64 {
    chart.tolerance_pct.abs().clamp(0.01, 50.0)
}

/// The tolerance band and the focus pull; over a picture their edges, so that the picture stays what it is.
pub(super) fn draw_bands(scene: &mut Scene, chart: &ShiftChart, frame: &Frame, size: f64) {
    let tolerance = half_band(chart);
    let clear = chart.theme == Theme::Clear;
    let hair = (size / 14.0).max(1.0);
    let (top, bottom) = (frame.y(tolerance), frame.y(-tolerance));
    if clear {
        for y in [top, bottom] {
            let edge = [(frame.left, y), (frame.right, y)];
            scene.line(&edge, Role::Ink, hair, &EDGE_DASH);
        }
    } else {
        scene.rectangle((frame.left, top), (frame.right, bottom), Role::Band);
    }
    if let (Some((from, to)), Axis::Distance) = (chart.pull_dioptres, chart.axis) {
        let inside = |value: f64| frame.x(value.clamp(0.0, frame.x_max));
        let (from, to) = (inside(from.min(to)), inside(from.max(to)));
        if clear {
            let (top, bottom) = (frame.top, frame.bottom);
            let corners = vec![(from, top), (to, top), (to, bottom), (from, bottom)];
            scene.marks.push(Mark::Area(corners, Role::Pull, PULL_TINT));
            for x in [from, to] {
                scene.line(&[(x, top), (x, bottom)], Role::Ink, hair, &EDGE_DASH);
            }
        } else {
            scene.rectangle((from, frame.top), (to, frame.bottom), Role::Pull);
        }
    }
}

/// One line with its uncertainty band and markers.
pub(super) fn draw_line(scene: &mut Scene, frame: &Frame, line: &Line, number: usize, size: f64) {
    let role = Role::Line(number);
    let place = |x: f64, shift: f64| -> Point { (frame.x(x), frame.y(shift)) };
    let edge = |sign: f64| {
        line.iter()
            .map(move |(x, shift, u)| place(*x, shift + sign * COVERAGE * u))
    };
    let widest = line.iter().map(|point| point.2).fold(0.0, f64::max);
    if frame.y(0.0) - frame.y(COVERAGE * widest) > 0.5 {
        let outline = edge(1.0).chain(edge(-1.0).rev()).collect();
        scene.marks.push(Mark::Area(outline, role, UNCERTAIN));
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

/// Says how wide the tolerance band is, inside it where no line runs; beside it, and what it is about, where it is too thin or
/// lines run everywhere inside; nowhere where they run everywhere.
pub(super) fn label_band(
    scene: &mut Scene,
    chart: &ShiftChart,
    frame: &Frame,
    lines: &[Line],
    size: f64,
) {
    const TRIES: u32 = 16;
    let tolerance = half_band(chart);
    let words = [
        format!("± {tolerance} %"),
        format!("tolerance ± {tolerance} %"),
    ];
    let widths = [0, 1].map(|beside: usize| text_width(&words[beside], size));
    let (upper, lower) = (frame.y(tolerance), frame.y(-tolerance));
    let off = size * 0.8;
    let inside = [upper + off, lower - off].map(|y| (y, 0));
    let outside = [upper - off, lower + off].map(|y| (y, 1));
    let heights = inside
        .into_iter()
        .filter(|_| lower - upper > size * 3.0)
        .chain(outside)
        .filter(|(y, _)| *y - off >= frame.top && *y + off <= frame.bottom);
    let steps = |beside: usize| {
        let first = frame.left + size * 0.5;
        let last = frame.right - widths[beside] - size * 0.5;
        let step = move |step| first + (last - first) * f64::from(step) / f64::from(TRIES - 1);
        (0..TRIES).map(step).filter(move |_| last >= first)
    };
    // As tall as its capitals, with air around.
    let (air, half) = (size * 0.4, size * 0.8);
    let free = heights
        .flat_map(|(y, beside)| steps(beside).map(move |x| (x, y, beside)))
        .find(|(x, y, beside)| {
            let sides = [x - air, x + widths[*beside] + air, y - half, y + half];
            !lines.iter().any(|line| runs_through(line, frame, sides))
        });
    if let Some((x, y, beside)) = free {
        let words = words[beside].clone();
        scene.text((x, y), words, size, Align::Start, Role::Quiet);
    }
}

/// Whether a line with its uncertainty band runs through the box with these sides: left, right, top, bottom.
fn runs_through(line: &Line, frame: &Frame, [left, right, top, bottom]: [f64; 4]) -> bool {
    line.windows(2).any(|pair| {
        let [(a_x, a, a_u), (b_x, b, b_u)] = [pair[0], pair[1]];
        let (from, to) = (frame.x(a_x), frame.x(b_x));
        if to < left || from > right {
            return false;
        }
        let at = |x: f64, start: f64, end: f64| {
            let share = if to > from {
                (x - from) / (to - from)
            } else {
                0.0
            };
            start + (end - start) * share.clamp(0.0, 1.0)
        };
        let edges = [left, right].map(|x| {
            let (shift, u) = (at(x, a, b), COVERAGE * at(x, a_u, b_u));
            (frame.y(shift + u), frame.y(shift - u))
        });
        let high = edges[0].0.min(edges[1].0);
        let low = edges[0].1.max(edges[1].1);
        low >= top && high <= bottom
    })
}
