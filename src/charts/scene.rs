//! What a chart is made of before it is drawn: marks with places in px and roles instead of colours.

use super::palette::{Role, Shape};

/// A place, px right of the left edge and px below the top edge.
pub(super) type Point = (f64, f64);

/// Which side of a text its place is at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Align {
    /// The text begins there.
    Start,
    /// The text is centred there.
    Middle,
    /// The text ends there.
    End,
}

/// A line of text, centred on its height.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Text {
    /// Where.
    pub(super) at: Point,
    /// What.
    pub(super) words: String,
    /// Size of the type, px.
    pub(super) size: f64,
    /// Which side of it `at` is.
    pub(super) align: Align,
    /// How it is coloured.
    pub(super) role: Role,
}

/// One mark of a chart.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Mark {
    /// A filled polygon.
    Area(Vec<Point>, Role, f64),
    /// An open line of this width, px.
    Path(Vec<Point>, Role, f64),
    /// A line of text.
    Text(Text),
}

/// A chart ready to be drawn, back to front.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Scene {
    /// Width, px.
    pub(super) width: u32,
    /// Height, px.
    pub(super) height: u32,
    /// The marks, back to front.
    pub(super) marks: Vec<Mark>,
    /// Where the plot is, for what reads it.
    pub(super) plot: Option<Plot>,
}

/// The place of the plot, px, and what its width stands for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Plot {
    /// Left edge: infinity, or the far end of travel.
    pub(super) left: f64,
    /// Right edge.
    pub(super) right: f64,
    /// Top edge.
    pub(super) top: f64,
    /// Bottom edge.
    pub(super) bottom: f64,
    /// What the right edge stands for: dioptres, or 1 for the whole travel.
    pub(super) most: f64,
}

impl Scene {
    /// Adds a line of text.
    pub(super) fn text(&mut self, at: Point, words: String, size: f64, align: Align, role: Role) {
        self.marks.push(Mark::Text(Text {
            at,
            words,
            size,
            align,
            role,
        }));
    }

    /// The lines of text, back to front.
    pub(super) fn texts(&self) -> impl Iterator<Item = &Text> {
        self.marks.iter().filter_map(|mark| match mark {
            Mark::Text(text) => Some(text),
            Mark::Area(..) | Mark::Path(..) => None,
        })
    }

    /// Adds a filled rectangle between two corners.
    pub(super) fn rectangle(&mut self, (left, top): Point, (right, bottom): Point, role: Role) {
        let corners = vec![(left, top), (right, top), (right, bottom), (left, bottom)];
        self.marks.push(Mark::Area(corners, role, 1.0));
    }

    /// Adds a marker of this radius, px.
    pub(super) fn marker(&mut self, (x, y): Point, radius: f64, shape: Shape, role: Role) {
        let corners = shape
            .corners()
            .into_iter()
            .map(|(dx, dy)| (x + dx * radius, y + dy * radius))
            .collect();
        self.marks.push(Mark::Area(corners, role, 1.0));
    }

    /// Adds a line, cut into dashes; `dash` is in line widths, empty for a solid line.
    pub(super) fn line(&mut self, points: &[Point], role: Role, width: f64, dash: &[f64]) {
        if dash.is_empty() {
            if points.len() > 1 {
                self.marks.push(Mark::Path(points.to_vec(), role, width));
            }
            return;
        }
        for piece in dashes(points, width, dash) {
            self.marks.push(Mark::Path(piece, role, width));
        }
    }
}

/// Cuts a line into its dashes; the pattern alternates dash and gap, in line widths.
fn dashes(points: &[Point], width: f64, pattern: &[f64]) -> Vec<Vec<Point>> {
    let mut pieces = Vec::new();
    let Some(&first) = points.first() else {
        return pieces;
    };
    let mut piece = vec![first];
    let mut step = 0;
    let mut left = pattern[0] * width;
    for pair in points.windows(2) {
        let (mut from, to) = (pair[0], pair[1]);
        let mut length = (to.0 - from.0).hypot(to.1 - from.1);
        while length > left {
            let part = left / length;
            from = (
                from.0 + (to.0 - from.0) * part,
                from.1 + (to.1 - from.1) * part,
            );
            length -= left;
            if step % 2 == 0 {
                piece.push(from);
                pieces.push(std::mem::take(&mut piece));
            } else {
                piece = vec![from];
            }
            step += 1;
            left = (pattern[step % pattern.len()] * width).max(0.1);
        }
        left -= length;
        if step % 2 == 0 {
            piece.push(to);
        }
    }
    if piece.len() > 1 {
        pieces.push(piece);
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dashes_cover_their_share_of_the_line() {
        let line = [(0.0, 0.0), (30.0, 40.0), (30.0, 90.0)];
        let pieces = dashes(&line, 1.0, &[6.0, 4.0]);
        let length: f64 = pieces
            .iter()
            .flat_map(|piece| piece.windows(2))
            .map(|pair| (pair[1].0 - pair[0].0).hypot(pair[1].1 - pair[0].1))
            .sum();
        assert_eq!(pieces.len(), 10);
        assert!((length - 60.0).abs() < 1e-9, "{length}");
        assert!(dashes(&[], 1.0, &[1.0, 1.0]).is_empty());
    }
}
