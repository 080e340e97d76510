//! Words as outlines of the embedded font, so that an SVG looks the same wherever it is opened.

use std::fmt::Write as _;
use std::sync::LazyLock;

use ab_glyph::{Font, FontRef, OutlineCurve};

use super::direction::drawn;
use super::scene::{Align, Text};

/// Height of the capitals of DejaVu Sans 2.37, em (its OS/2 table: 1493 of 2048).
const CAPITAL_HEIGHT: f64 = 1493.0 / 2048.0;

static FONT: LazyLock<Option<FontRef<'static>>> = LazyLock::new(|| {
    match FontRef::try_from_slice(dejavu::sans::regular()) {
        Ok(font) => Some(font),
        Err(error) => {
            tracing::error!(%error, "the embedded font could not be read; SVG charts ask the system for one");
            None
        }
    }
});

/// Puts outlines in the place of every `<text>` of an SVG.
///
/// `texts` are the words of those elements in the same order; `units` is the size of a pixel in units of the view
/// box, `paint` the attributes that colour a text.
pub(super) fn in_place_of_text<'a>(
    svg: &str,
    texts: impl Iterator<Item = &'a Text>,
    units: f64,
    paint: impl Fn(&Text) -> String,
) -> String {
    const END: &str = "</text>";
    let Some(font) = FONT.as_ref() else {
        return svg.to_owned();
    };
    let mut outlined = String::with_capacity(svg.len() * 2);
    let mut rest = svg;
    for text in texts {
        let Some(start) = rest.find("<text ") else {
            break;
        };
        let Some(length) = rest[start..].find(END) else {
            break;
        };
        outlined.push_str(&rest[..start]);
        let path = path(font, text, units);
        if !path.is_empty() {
            // Writing into a string does not fail.
            let _ = write!(outlined, "<path {} d=\"{path}\"/>", paint(text));
        }
        rest = &rest[start + length + END.len()..];
    }
    outlined + rest
}

/// The outlines of one text as the data of an SVG path, in whole units of the view box.
fn path(font: &FontRef<'_>, text: &Text, units: f64) -> String {
    let em = f64::from(font.units_per_em().unwrap_or(2048.0));
    let scale = text.size * units / em;
    let glyphs = placed(font, &text.words);
    let width = glyphs.1 * scale;
    let left = text.at.0 * units
        - match text.align {
            Align::Start => 0.0,
            Align::Middle => width / 2.0,
            Align::End => width,
        };
    let baseline = (text.at.1 + text.size * CAPITAL_HEIGHT / 2.0) * units;
    let mut data = String::new();
    for (glyph, advance) in glyphs.0 {
        let Some(outline) = font.outline(glyph) else {
            continue;
        };
        let place = |point: ab_glyph::Point| {
            let x = left + (advance + f64::from(point.x)) * scale;
            let y = baseline - f64::from(point.y) * scale;
            (x.round() as i64, y.round() as i64)
        };
        draw(&mut data, &outline.curves, place);
    }
    data
}

/// Every glyph with its place along the line, and the length of the line, both in units of the font.
fn placed(font: &FontRef<'_>, words: &str) -> (Vec<(ab_glyph::GlyphId, f64)>, f64) {
    let mut along = 0.0;
    let mut glyphs: Vec<(ab_glyph::GlyphId, f64)> = Vec::new();
    for letter in drawn(words).chars() {
        let glyph = font.glyph_id(letter);
        if let Some((before, _)) = glyphs.last() {
            along += f64::from(font.kern_unscaled(*before, glyph));
        }
        glyphs.push((glyph, along));
        along += f64::from(font.h_advance_unscaled(glyph));
    }
    (glyphs, along)
}

/// Appends the contours of a glyph.
fn draw(data: &mut String, curves: &[OutlineCurve], place: impl Fn(ab_glyph::Point) -> (i64, i64)) {
    let mut pen = None;
    for curve in curves {
        let (from, through, to) = match curve {
            OutlineCurve::Line(from, to) => (*from, vec![], *to),
            OutlineCurve::Quad(from, by, to) => (*from, vec![*by], *to),
            OutlineCurve::Cubic(from, first, second, to) => (*from, vec![*first, *second], *to),
        };
        if pen != Some(from) {
            let (x, y) = place(from);
            let _ = write!(data, "M{x} {y}");
        }
        data.push(['L', 'Q', 'C'][through.len()]);
        for (index, point) in through.iter().chain([&to]).enumerate() {
            let (x, y) = place(*point);
            let gap = if index == 0 { "" } else { " " };
            let _ = write!(data, "{gap}{x} {y}");
        }
        pen = Some(to);
    }
}
