//! Factors of curves whose truth is known by hand.

use super::*;

/// A curve through (dioptres, shift in per cent), closest first, with the same uncertainties everywhere.
fn curve(points: &[(f64, f64)], u_pct: f64, u_dioptres: f64) -> ShiftCurve {
    let last = (points.len() - 1) as f64;
    let points = points.iter().enumerate();
    ShiftCurve::new(
        points
            .map(|(index, &(dioptres, shift))| CurvePoint {
                travel: index as f64 / last,
                dioptres: Some(Measured::new(dioptres, u_dioptres)),
                shift_pct: Measured::new(shift, u_pct),
            })
            .collect(),
    )
}

fn without_distances(curve: &ShiftCurve) -> ShiftCurve {
    let points = curve.points().iter();
    ShiftCurve::new(
        points
            .map(|point| CurvePoint {
                dioptres: None,
                ..*point
            })
            .collect(),
    )
}

fn factor(curve: &ShiftCurve, held: Held, place: Place) -> Measured {
    let reference = reference(curve, held).expect("it was measured");
    at(curve, reference, place).expect("it was measured").scale
}

fn at(curve: &ShiftCurve, reference: Setting, place: Place) -> Option<CounterScale> {
    counter_scales(curve, reference, &[place])[0]
}

#[test]
fn the_factor_undoes_the_shift() {
    let turning = curve(&[(2.0, 4.0), (1.0, -2.0), (0.0, 0.0)], 0.01, 0.0);
    for (held, at, expected) in [
        (Held::Farthest, 2.0, 1.0 / 1.04),
        (Held::Farthest, 1.0, 1.0 / 0.98),
        (Held::Farthest, 0.5, 1.0 / 0.99),
        (Held::Farthest, 0.0, 1.0),
        (Held::At(1.0), 2.0, 0.98 / 1.04),
        (Held::At(1.0), 1.0, 1.0),
        (Held::Tightest, 0.0, 1.04),
        (Held::Tightest, 1.0, 1.04 / 0.98),
    ] {
        let scale = factor(&turning, held, Place::Dioptres(at));
        // Exact arithmetic on both sides.
        assert!((scale.value - expected).abs() < 1e-12, "{held:?} at {at}");
    }
}

/// Enlarging by the factor gives the framing of the reference: the product of factor and picture scale is the same
/// at every setting.
#[test]
fn enlarged_pictures_all_frame_alike() {
    let lens = curve(
        &[(2.5, -3.0), (1.7, 1.2), (0.6, 0.9), (0.0, 0.0)],
        0.01,
        0.01,
    );
    let held = reference(&lens, Held::At(1.1)).expect("inside");
    for step in 0..=25 {
        let at = f64::from(step) * 0.1;
        let here = self::at(&lens, held, Place::Dioptres(at)).expect("inside");
        let framing = here.scale.value * (1.0 + here.setting.shift_pct.value / 100.0);
        assert!((framing - (1.0 + held.shift_pct.value / 100.0)).abs() < 1e-12);
    }
}

#[test]
fn the_tightest_framing_uncovers_no_edge() {
    let lens = curve(&[(2.0, -4.0), (1.0, 1.5), (0.0, 0.0)], 0.01, 0.0);
    let held = reference(&lens, Held::Tightest).expect("measured");
    for step in 0..=20 {
        let at = f64::from(step) * 0.1;
        let here = self::at(&lens, held, Place::Dioptres(at)).expect("inside");
        assert!(here.scale.value >= 1.0, "{at}");
    }
}

/// At one dioptre the slope is 2 % a dioptre: 0.01 dioptres are 0.02 % of shift, beside 0.03 % of its own; the
/// reference adds 0.03 %, all over a scale of 1.02.
#[test]
fn uncertainty_holds_shift_reference_and_distance() {
    let lens = curve(&[(2.0, 4.0), (1.0, 2.0), (0.0, 0.0)], 0.03, 0.01);
    let scale = factor(&lens, Held::Farthest, Place::Dioptres(1.0));
    let expected = (0.0003_f64).hypot((0.0003_f64).hypot(0.0002) / 1.02) / 1.02;
    assert!((scale.std_error - expected).abs() < 1e-12, "{scale:?}");
    // By travel nothing depends on distances.
    let scale = factor(&lens, Held::Farthest, Place::Travel(0.5));
    let expected = (0.0003_f64).hypot(0.0003 / 1.02) / 1.02;
    assert!((scale.std_error - expected).abs() < 1e-12, "{scale:?}");
    let still = factor(&lens, Held::Farthest, Place::Dioptres(0.0));
    assert_eq!(still, Measured::new(1.0, 0.0), "one by definition");
}

#[test]
fn nothing_is_extrapolated() {
    let short = curve(&[(2.0, 4.0), (0.5, 0.0)], 0.01, 0.0);
    let held = reference(&short, Held::Farthest).expect("the last frame");
    for outside in [2.01, 0.49, 0.0] {
        assert_eq!(at(&short, held, Place::Dioptres(outside)), None);
    }
    assert_eq!(at(&short, held, Place::Travel(1.01)), None);
    let far = reference(&short, Held::At(0.0)).expect_err("not measured");
    assert_eq!(far, "not measured farther than 2 m (6 ft 6.5 in)");
    let near = reference(&short, Held::At(4.0)).expect_err("not measured");
    assert_eq!(near, "not measured closer than 0.5 m (1 ft 7.7 in)");
    assert!(reference(&ShiftCurve::default(), Held::Tightest).is_err());
}

#[test]
fn without_distances_there_is_the_travel() {
    let unknown = without_distances(&curve(&[(2.0, 4.0), (1.0, 2.0), (0.0, 0.0)], 0.01, 0.0));
    let scale = factor(&unknown, Held::Farthest, Place::Travel(0.25));
    assert!((scale.value - 1.0 / 1.03).abs() < 1e-12);
    let refused = reference(&unknown, Held::At(1.0)).expect_err("no distances");
    assert!(refused.contains("not known"), "{refused}");
    assert!(distance_places(&[&unknown], 0.5, 10.0, false).is_empty());
}

#[test]
fn steps_run_from_the_closest_frame_to_infinity() {
    let metres =
        |places: Vec<f64>| -> Vec<String> { places.into_iter().map(words::focus).collect() };
    let near = curve(&[(1.0 / 0.45, 4.0), (0.0, 0.0)], 0.01, 0.0);
    let other = curve(&[(1.0 / 0.7, 4.0), (0.25, 0.0)], 0.01, 0.0);
    assert_eq!(
        metres(distance_places(&[&near, &other], 0.5, 2.0, false)),
        ["0.45 m", "0.5 m", "0.7 m", "1 m", "1.5 m", "2 m", "∞"]
    );
    // A curve that ends at 4 m has no infinity.
    assert_eq!(
        metres(distance_places(&[&other], 1.0, 6.0, false)),
        ["0.7 m", "1 m", "2 m", "3 m", "4 m"]
    );
}

/// 0.45 m are 17.72 in, 0.6 m are 23.62 in: nearer rows than 18 in and 2 ft, with names of their own.
#[test]
fn steps_in_feet_and_inches_each_have_a_name() {
    let near = curve(&[(1.0 / 0.45, 4.0), (0.0, 0.0)], 0.01, 0.0);
    let other = curve(&[(1.0 / 0.6, 4.0), (0.0, 0.0)], 0.01, 0.0);
    let names = |step_in: f64, far_in: f64| -> Vec<String> {
        let places = distance_places(&[&near, &other], step_in * 0.0254, far_in * 0.0254, true);
        let finite = places.into_iter().filter(|at| *at > 0.0);
        finite.map(|at| words::feet_and_inches(1.0 / at)).collect()
    };
    assert_eq!(
        names(6.0, 30.0),
        [
            "1 ft 5.72 in",
            "1 ft 6 in",
            "1 ft 11.62 in",
            "2 ft",
            "2 ft 6 in"
        ]
    );
    let fine = names(3.0, 168.0);
    assert!(fine.contains(&"10 ft 9 in".to_owned()), "{fine:?}");
    let mut once = fine.clone();
    once.dedup();
    assert_eq!(once, fine);
}
