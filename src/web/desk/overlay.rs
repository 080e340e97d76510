//! The found targets of a frame, drawn over its picture: centre, uncertainty, blur, the window of pixels that was used, and
//! the places that were pointed at by hand.

use std::fmt::Write as _;

use crate::measure::Target;
use crate::sweep::FrameResult;

/// Half the length of the cross at a centre, as a part of the picture's width.
const CROSS: f64 = 0.012;
/// How many times an uncertainty may be enlarged so that it is seen, the most first.
const ENLARGEMENTS: [f64; 4] = [1000.0, 100.0, 10.0, 1.0];
/// Longest half-axis of an enlarged uncertainty, as a part of the picture's width.
const LONGEST_UNCERTAINTY: f64 = 0.03;

/// How much is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Detail {
    /// For the strip of small pictures.
    Small,
    /// With the uncertainty of the centres, for one large picture.
    Large,
}

/// How many times the uncertainties (k = 2) of these targets are enlarged in a picture of this width; `None` without targets.
pub(super) fn enlargement(targets: &[Target], width: u32) -> Option<f64> {
    let largest = targets
        .iter()
        .flat_map(|target| [target.x_px.std_error, target.y_px.std_error])
        .reduce(f64::max)?;
    let most = LONGEST_UNCERTAINTY * f64::from(width);
    ENLARGEMENTS
        .into_iter()
        .find(|times| 2.0 * largest * times <= most)
        .or(Some(1.0))
}

/// An SVG with the picture's own coordinates as its view, to be laid over the picture; every line twice, dark below
/// bright, so that it shows on tape and on black. Empty where no target was found or pointed at.
pub(super) fn svg(
    frame: &FrameResult,
    pointed: &[(f64, f64)],
    (width, height): (u32, u32),
    detail: Detail,
) -> String {
    let mut lines = String::new();
    let cross = CROSS * f64::from(width);
    let enlarged = enlargement(&frame.targets, width).filter(|_| detail == Detail::Large);
    for (index, target) in frame.targets.iter().enumerate() {
        // A whole number is the middle of a pixel; in the SVG it is the edge.
        let (x, y) = (target.x_px.value + 0.5, target.y_px.value + 0.5);
        let window = target.window;
        shape(
            &mut lines,
            "t-window",
            &format!(
                "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"",
                window.left,
                window.top,
                window.right.saturating_sub(window.left) + 1,
                window.bottom.saturating_sub(window.top) + 1
            ),
        );
        if let Some(blur) = frame.blur_px.get(index).copied().flatten() {
            shape(
                &mut lines,
                "t-blur",
                &format!(
                    "<circle cx=\"{x:.2}\" cy=\"{y:.2}\" r=\"{:.2}\"",
                    blur / 2.0
                ),
            );
        }
        if let Some(times) = enlarged {
            let (rx, ry) = (target.x_px.std_error, target.y_px.std_error);
            shape(
                &mut lines,
                "t-uncertainty",
                &format!(
                    "<ellipse cx=\"{x:.2}\" cy=\"{y:.2}\" rx=\"{:.2}\" ry=\"{:.2}\"",
                    2.0 * rx * times,
                    2.0 * ry * times
                ),
            );
        }
        shape(
            &mut lines,
            "t-centre",
            &format!(
                "<path d=\"M{:.2} {y:.2}H{:.2}M{x:.2} {:.2}V{:.2}\"",
                x - cross,
                x + cross,
                y - cross,
                y + cross
            ),
        );
    }
    for (x, y) in pointed {
        shape(&mut lines, "t-pointed", &diamond((x + 0.5, y + 0.5), cross));
    }
    drawing(&lines, (width, height))
}

/// A place that was pointed at, before anything is measured there.
pub(super) fn mark(place: (f64, f64), (width, height): (u32, u32)) -> String {
    let mut lines = String::new();
    let at = (place.0 + 0.5, place.1 + 0.5);
    shape(
        &mut lines,
        "t-pointed",
        &diamond(at, CROSS * f64::from(width)),
    );
    drawing(&lines, (width, height))
}

fn diamond((x, y): (f64, f64), reach: f64) -> String {
    format!(
        "<path d=\"M{:.2} {y:.2}L{x:.2} {:.2}L{:.2} {y:.2}L{x:.2} {:.2}Z\"",
        x - reach,
        y - reach,
        x + reach,
        y + reach
    )
}

fn drawing(lines: &str, (width, height): (u32, u32)) -> String {
    if lines.is_empty() {
        return String::new();
    }
    format!(
        "<svg class=\"found\" viewBox=\"0 0 {width} {height}\" aria-hidden=\"true\" focusable=\"false\">{lines}</svg>"
    )
}

fn shape(lines: &mut String, class: &str, open_tag: &str) {
    for layer in ["t-under", "t-over"] {
        // Writing to a string can't fail.
        let _ = write!(
            lines,
            "{open_tag} class=\"{class} {layer}\" fill=\"none\" vector-effect=\"non-scaling-stroke\"/>"
        );
    }
}

/// The same in words, for those who don't see it.
pub(super) fn words(frame: &FrameResult) -> String {
    if frame.targets.is_empty() {
        return "no target was measured".to_owned();
    }
    let places: Vec<String> = frame
        .targets
        .iter()
        .map(|target| format!("{:.1}, {:.1}", target.x_px.value, target.y_px.value))
        .collect();
    format!("targets at {} px", places.join(" and "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::{Target, Window};
    use crate::sweep::{FrameInfo, FrameState};
    use crate::units::Measured;

    fn frame() -> FrameResult {
        FrameResult {
            info: FrameInfo::default(),
            state: FrameState::Measured,
            travel: 0.0,
            focus_dioptres: None,
            targets: vec![Target {
                window: Window {
                    left: 80,
                    top: 30,
                    right: 119,
                    bottom: 69,
                },
                x_px: Measured::new(99.5, 0.01),
                y_px: Measured::new(49.5, 0.01),
                ..Target::plain(99.5, 49.5, 40.0)
            }],
            separation_px: None,
            shift_pct: None,
            blur_px: vec![Some(24.0)],
        }
    }

    #[test]
    fn a_pixel_centre_is_half_a_pixel_into_the_drawing() {
        let drawn = svg(&frame(), &[], (1000, 600), Detail::Small);
        assert!(drawn.contains("viewBox=\"0 0 1000 600\""), "{drawn}");
        assert!(
            drawn.contains("cx=\"100.00\" cy=\"50.00\" r=\"12.00\""),
            "{drawn}"
        );
        assert!(
            drawn.contains("x=\"80\" y=\"30\" width=\"40\" height=\"40\""),
            "{drawn}"
        );
        assert!(
            !drawn.contains("style="),
            "inline styles break the content policy"
        );
    }

    #[test]
    fn nothing_found_draws_nothing() {
        let mut empty = frame();
        empty.targets.clear();
        assert_eq!(svg(&empty, &[], (10, 10), Detail::Large), "");
        assert_eq!(words(&empty), "no target was measured");
    }

    #[test]
    fn an_uncertainty_is_enlarged_until_it_is_seen_and_no_further() {
        let frame = frame();
        assert_eq!(enlargement(&frame.targets, 1000), Some(1000.0));
        assert_eq!(enlargement(&frame.targets, 600), Some(100.0));
        assert_eq!(enlargement(&[], 600), None);
        let large = svg(&frame, &[], (1000, 600), Detail::Large);
        assert!(large.contains("rx=\"20.00\""), "{large}");
        let small = svg(&frame, &[(10.0, 10.0)], (1000, 600), Detail::Small);
        assert!(!small.contains("t-uncertainty") && small.contains("t-pointed"));
    }
}
