use super::*;

/// Light that a curve explains is a curve's, light that one explains in part may be, unless it is hardly another one, and light that
/// scatters is nobody's.
#[test]
fn what_a_curve_explains_in_part_is_not_the_standard_curves() {
    let target = Target::plain(100.0, 100.0, 150.0);
    let frame = |k: u8| Seen {
        target: &target,
        side: usize::from(k % 2),
        travel: f64::from(k / 2) / 23.0,
        scale: 0.0,
    };
    let seen: Vec<Seen<'_>> = (0..48).map(frame).collect();
    let reading = |first: f64, left: f64, without: f64| {
        let fitted = Fitted {
            curve: Curve::new(first, 0.0, 0.0),
            left,
            without,
            beyond: Vec::new(),
        };
        fitted.reading(&seen)
    };
    assert!(matches!(reading(-0.5, 4.0, 300.0), Tone::Other(_)));
    assert_eq!(reading(-0.5, 100.0, 300.0), Tone::Unknown);
    assert_eq!(reading(-0.1, 100.0, 300.0), Tone::Srgb);
    assert_eq!(reading(-0.5, 100.0, 150.0), Tone::Srgb);
    assert_eq!(reading(-0.5, 900.0, 950.0), Tone::Unknown);
}

/// Light that goes with brightness is judged by the curve, or not at all where that is none; light that is merely unsteady as it is.
#[test]
fn exposures_are_judged_in_the_light_of_a_curve_that_explains_them() {
    let target = Target {
        peak: 0.5,
        ..Target::plain(100.0, 100.0, 150.0)
    };
    let seen: Vec<Seen<'_>> = (0..48)
        .map(|k| Seen {
            target: &target,
            side: k % 2,
            travel: k as f64 / 47.0,
            scale: 0.0,
        })
        .collect();
    let judging = |curve: [f64; POWERS], left: f64| {
        let fitted = Fitted {
            curve: Curve::from(curve),
            left,
            without: 9000.0,
            beyond: Vec::new(),
        };
        fitted.judging(&seen)
    };
    let steep = [0.7, 0.3, 0.05];
    assert_eq!(judging(steep, 10.0), Some(Curve::from(steep)));
    assert_eq!(judging(steep, 3000.0), Some(Curve::zeros()));
    // T falls from I = 0.2 on.
    assert_eq!(judging([1.4, 0.3, -0.2], 10.0), None);
    assert_eq!(judging([9.0, 0.3, -0.2], 10.0), Some(Curve::zeros()));
}
