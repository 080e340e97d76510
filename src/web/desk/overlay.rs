//! The found targets of a frame, drawn over its picture: centre, blur, and the window of pixels that was used.

use std::fmt::Write as _;

use crate::sweep::FrameResult;

/// Half the length of the cross at a centre, as a part of the picture's width.
const CROSS: f64 = 0.012;

/// An SVG with the picture's own coordinates as its view, to be laid over the picture; every line twice, dark below
/// bright, so that it shows on tape and on black. Empty where no target was found.
pub(super) fn svg(frame: &FrameResult, (width, height): (u32, u32)) -> String {
    if frame.targets.is_empty() {
        return String::new();
    }
    let mut lines = String::new();
    let cross = CROSS * f64::from(width);
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
        let exact = |value| Measured::new(value, 0.01);
        FrameResult {
            info: FrameInfo::default(),
            state: FrameState::Measured,
            travel: 0.0,
            focus_dioptres: None,
            targets: vec![Target {
                x_px: exact(99.5),
                y_px: exact(49.5),
                variance_px2: exact(40.0),
                flux: 100.0,
                peak: 0.8,
                skewness: 0.0,
                elongation: 0.0,
                window_change_px: 0.0,
                tone_change_px: 0.0,
                window: Window {
                    left: 80,
                    top: 30,
                    right: 119,
                    bottom: 69,
                },
                flags: Vec::new(),
            }],
            separation_px: None,
            shift_pct: None,
            blur_px: vec![Some(24.0)],
        }
    }

    #[test]
    fn a_pixel_centre_is_half_a_pixel_into_the_drawing() {
        let drawn = svg(&frame(), (1000, 600));
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
        assert_eq!(svg(&empty, (10, 10)), "");
        assert_eq!(words(&empty), "no target was measured");
    }
}
