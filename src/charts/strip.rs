//! The small strip in a row of the ranking: worst shift along the zoom.

use std::fmt::Write as _;

/// Width and height of the strip, px.
const SIDES: (f64, f64) = (132.0, 34.0);

/// Least shift at which a bar reaches the edge of the strip, per cent.
const LEAST_EDGE_PCT: f64 = 5.0;

/// Shift at which a bar reaches the edge of the strip, per cent; larger ones end in a tip. The band of the tolerance takes half of the
/// strip at most, so that what is beyond it shows.
#[must_use]
pub fn strip_edge_pct(tolerance_pct: f64) -> f64 {
    LEAST_EDGE_PCT.max(2.0 * tolerance_pct.abs())
}

/// A strip of bars, one a focal length, up for tighter and down for wider, the tolerance as a band behind.
/// `shifts` holds focal length (mm) and worst shift (%), shortest focal length first. Coloured by the page's classes.
#[must_use]
pub fn strip_svg(shifts: &[(f64, f64)], tolerance_pct: f64) -> String {
    let (width, height) = SIDES;
    let middle = height / 2.0;
    let half = middle - 2.0;
    let edge = strip_edge_pct(tolerance_pct);
    let y_of = |shift: f64| middle - half * (shift / edge).clamp(-1.0, 1.0);
    let (top, bottom) = (y_of(tolerance_pct.abs()), y_of(-tolerance_pct.abs()));
    let words: Vec<String> = shifts
        .iter()
        .map(|(focal, shift)| format!("{} mm {shift:+.1} %", rounded(*focal)).replace('-', "−"))
        .collect();
    let mut svg = format!(
        "<svg class=\"strip\" role=\"img\" width=\"{width}\" height=\"{height}\" viewBox=\"0 0 {width} {height}\"><title>{}</title>\
         <rect class=\"k-band\" x=\"0\" y=\"{top:.1}\" width=\"{width}\" height=\"{:.1}\"/>\
         <path class=\"strip-zero\" d=\"M0 {middle:.1}H{width}\"/>",
        words.join(", "),
        bottom - top,
    );
    let step = width / shifts.len().max(1) as f64;
    let bar = (step * 0.5).clamp(3.0, 14.0);
    for (index, (_, shift)) in shifts.iter().enumerate() {
        let x = step * (index as f64 + 0.5);
        let (left, right, y) = (x - bar / 2.0, x + bar / 2.0, y_of(*shift));
        let kind = if shift.abs() > tolerance_pct.abs() {
            "strip-over"
        } else {
            "strip-within"
        };
        // Beyond the strip the bar ends in a point instead of a flat end.
        let end = if shift.abs() > edge {
            let back = 5.0 * shift.signum();
            format!("V{:.1}L{x:.1} {y:.1}L{right:.1} {:.1}", y + back, y + back)
        } else {
            format!("V{y:.1}H{right:.1}")
        };
        // Written to a String: can't fail.
        let _ = write!(
            svg,
            "<path class=\"{kind}\" d=\"M{left:.1} {middle:.1}{end}V{middle:.1}Z\"/>"
        );
    }
    svg.push_str("</svg>");
    svg
}

/// A focal length without needless decimals.
fn rounded(focal_mm: f64) -> f64 {
    (focal_mm * 10.0).round() / 10.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_strip_has_a_bar_a_focal_length_and_says_it_in_words() {
        let svg = strip_svg(&[(28.0, -1.4), (50.0, 0.7), (135.0, 9.0)], 2.0);
        assert_eq!(svg.matches("strip-within").count(), 2);
        assert_eq!(svg.matches("strip-over").count(), 1);
        assert!(svg.contains("28 mm −1.4 %, 50 mm +0.7 %, 135 mm +9.0 %"));
        assert!(!svg.contains("style="));
    }

    /// However wide the tolerance, how far a lens is beyond it shows in its bar.
    #[test]
    fn what_is_beyond_the_tolerance_is_seen() {
        for tolerance in [0.5, 2.0, 5.0, 7.0, 20.0] {
            let bar = |times: f64| {
                let svg = strip_svg(&[(50.0, times * tolerance)], tolerance);
                svg.rsplit_once("<path").map(|(_, bar)| bar.to_owned())
            };
            assert_ne!(bar(1.2), bar(1.5), "{tolerance}");
        }
    }
}
