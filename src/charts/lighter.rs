//! Drawings inside pages with fewer bytes: the dashes of a line, or its markers, are one path instead of an element each.

use std::fmt::Write as _;

/// What a line and what an area begins with, and where their points are.
const LINE: &str = "<polyline ";
const AREA: &str = "<polygon ";
const POINTS: &str = "points=\"";
/// Type sizes are written to all digits of a double.
const SIZE: &str = "font-size=\"";

/// The drawing with every run of lines, and of areas, that are drawn alike as one path, each point told by its way from the
/// one before, and type sizes with two decimals. What is drawn, and in which order, stays as it was.
pub(super) fn merged(svg: &str) -> String {
    let mut lighter = String::with_capacity(svg.len());
    let mut rest = svg;
    while let Some(at) = rest.find("<poly") {
        let (before, from) = rest.split_at(at);
        lighter.push_str(before);
        let Some((shape, mut after)) = shape(from) else {
            lighter.push_str(&from[..1]);
            rest = &from[1..];
            continue;
        };
        let mut pen = (0, 0);
        let mut way = String::new();
        shape.follow(&mut way, &mut pen);
        while let Some((other, next)) = self::shape(after).filter(|(other, _)| shape.joins(other)) {
            other.follow(&mut way, &mut pen);
            after = next;
        }
        // Written to a String: can't fail.
        let _ = write!(lighter, "<path {}d=\"{way}\"/>", shape.style);
        rest = after;
    }
    lighter.push_str(rest);
    rounded(&lighter)
}

/// A line or an area.
struct Shape<'a> {
    /// Its attributes without its points.
    style: &'a str,
    points: Vec<(i64, i64)>,
    /// Whether it is an area.
    closed: bool,
}

/// The shape that a text begins with, and what follows. `None` where it begins with something else, with one whose points are
/// not whole units, or with the ground, which the style sheet knows as what it is.
fn shape(text: &str) -> Option<(Shape<'_>, &str)> {
    let line = text.strip_prefix(LINE).map(|rest| (rest, false));
    let (rest, closed) = line.or_else(|| Some((text.strip_prefix(AREA)?, true)))?;
    let (attributes, after) = rest.split_once("/>")?;
    let (style, points) = attributes.split_once(POINTS)?;
    let points = points.strip_suffix('"')?;
    let point = |pair: &str| {
        let (x, y) = pair.split_once(',')?;
        Some((x.parse().ok()?, y.parse().ok()?))
    };
    let points: Option<Vec<(i64, i64)>> = points.split_whitespace().map(point).collect();
    let points = points.filter(|points| points.len() > 1 && !style.contains("k-ground"))?;
    let shape = Shape {
        style,
        points,
        closed,
    };
    Some((shape, after))
}

impl Shape<'_> {
    /// Whether another one can be drawn in one go with it. Where areas that let something show through overlap, less shows.
    fn joins(&self, other: &Self) -> bool {
        let alike = self.closed == other.closed && self.style == other.style;
        alike && !self.style.contains("opacity")
    }

    /// Moves to its first point and draws to the others.
    fn follow(&self, way: &mut String, pen: &mut (i64, i64)) {
        for (index, (x, y)) in self.points.iter().enumerate() {
            let (dx, dy) = (x - pen.0, y - pen.1);
            let before = match (index, dx < 0) {
                (0, _) => "m",
                (_, true) => "",
                (_, false) => " ",
            };
            let between = if dy < 0 { "" } else { " " };
            let _ = write!(way, "{before}{dx}{between}{dy}");
            *pen = (*x, *y);
        }
        if self.closed {
            way.push('z');
            // Closing leads back to where it began.
            *pen = self.points[0];
        }
    }
}

/// The drawing with two decimals to a type size: an eight-hundredth of a px.
fn rounded(svg: &str) -> String {
    let mut parts = svg.split(SIZE);
    let mut short = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let end = part.find('"').unwrap_or(0);
        short.push_str(SIZE);
        match part[..end].parse::<f64>() {
            Ok(size) => short.push_str(&format!("{}", (size * 100.0).round() / 100.0)),
            Err(_) => short.push_str(&part[..end]),
        }
        short.push_str(&part[end..]);
    }
    short
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_that_are_drawn_alike_are_one_path() {
        let alike = "fill=\"none\" class=\"k-1\" stroke-width=\"6\" ";
        let line = |points: &str| format!("<polyline {alike}points=\"{points}\"/>");
        let drawing = format!(
            "<polygon class=\"k-ground\" points=\"0,0 1,1\"/>{}{}<text font-size=\"110.56578760371471\">a</text>{}<polyline class=\"k-2\" points=\"0,0 5,5\"/>",
            line("10,20 30,20"),
            line("40,10 50,5 45,30"),
            line("1,1 2,2"),
        );
        assert_eq!(
            merged(&drawing),
            format!(
                "<polygon class=\"k-ground\" points=\"0,0 1,1\"/><path {alike}d=\"m10 20 20 0m10-10 10-5-5 25\"/>\
                 <text font-size=\"110.57\">a</text>\
                 <path {alike}d=\"m1 1 1 1\"/><path class=\"k-2\" d=\"m0 0 5 5\"/>"
            )
        );
        // Markers of a line are one path as well; areas that let something show through are not joined.
        let marker =
            |class: &str| format!("<polygon class=\"{class}\" points=\"10,10 20,10 15,5\"/>");
        assert_eq!(
            merged(&format!(
                "{0}{0}{1}{1}",
                marker("k-1"),
                marker("k-2\" opacity=\"0.1")
            )),
            "<path class=\"k-1\" d=\"m10 10 10 0-5-5zm0 0 10 0-5-5z\"/>\
             <path class=\"k-2\" opacity=\"0.1\" d=\"m10 10 10 0-5-5z\"/>\
             <path class=\"k-2\" opacity=\"0.1\" d=\"m10 10 10 0-5-5z\"/>"
        );
        // What is not understood is left alone.
        for odd in [
            "<polyline points=\"0.5,1 2,2\"/>",
            "<polyline ",
            "<polyline points=\"1,1\"/>",
            "",
        ] {
            assert_eq!(merged(odd), odd);
        }
    }
}
