//! Curves whose truth is known by hand.

use super::*;

fn curve(points: &[(f64, f64)], u: f64) -> ShiftCurve {
    let last = (points.len() - 1) as f64;
    ShiftCurve::new(
        points
            .iter()
            .enumerate()
            .map(|(i, &(dioptres, shift))| CurvePoint {
                travel: i as f64 / last,
                dioptres: Some(Measured::new(dioptres, 0.001)),
                shift_pct: Measured::new(shift, u),
            })
            .collect(),
    )
}

fn exceeded_at(outcome: ToleranceOutcome) -> f64 {
    match outcome {
        ToleranceOutcome::Exceeded { dioptres, .. } => dioptres.value,
        other => panic!("{other:?}"),
    }
}

#[test]
fn the_farthest_crossing_counts_on_a_curve_that_turns() {
    // Wider than the tolerance in the middle, then tighter than it at the near end.
    let turning = curve(
        &[
            (2.0, 3.0),
            (1.6, 1.0),
            (1.2, -2.5),
            (0.8, -3.0),
            (0.4, -1.0),
            (0.0, 0.0),
        ],
        0.001,
    );
    assert!((exceeded_at(turning.tolerance_outcome(2.0)) - 0.6).abs() < 1e-12);
    assert!((exceeded_at(turning.tolerance_outcome(0.5)) - 0.2).abs() < 1e-12);
    assert_eq!(turning.tolerance_outcome(3.5), ToleranceOutcome::Within);
}

#[test]
fn a_flicker_of_noise_far_off_is_passed_over() {
    let flicker = curve(
        &[(2.0, 3.0), (1.5, 1.0), (1.0, 2.003), (0.5, 1.9), (0.0, 0.0)],
        0.003,
    );
    assert!((exceeded_at(flicker.tolerance_outcome(2.0)) - 1.75).abs() < 1e-12);
    let clear = curve(&[(2.0, 1.0), (1.0, 2.1), (0.5, 1.9), (0.0, 0.0)], 0.1);
    assert!((exceeded_at(clear.tolerance_outcome(2.0)) - 0.75).abs() < 1e-12);
}

/// Just around the tolerance, clear of it and within the noise: whoever reads the worst shift and whoever reads the
/// outcome are told the same.
#[test]
fn worst_shift_and_tolerance_never_contradict() {
    for u in [0.0001, 0.003, 0.2] {
        for size in [
            1.9, 1.997, 1.999_999, 2.0, 2.000_001, 2.003, 2.04, 2.06, 2.3,
        ] {
            for sign in [1.0, -1.0] {
                for shape in [[1.0, 0.5, 0.0], [0.3, 1.0, 0.0], [-0.9, 1.0, 0.999_999]] {
                    let points: Vec<(f64, f64)> = [2.0, 1.0, 0.5]
                        .into_iter()
                        .zip(shape.map(|part| part * sign * size))
                        .chain([(0.0, 0.0)])
                        .collect();
                    let curve = curve(&points, u);
                    let worst = curve.worst().expect("points").shift_pct.value;
                    assert_eq!(
                        curve.tolerance_outcome(2.0) == ToleranceOutcome::Within,
                        worst.abs() <= 2.0,
                        "{worst} ± {u}"
                    );
                }
            }
        }
    }
}

#[test]
fn without_distances_the_travel_is_told() {
    let mut points = curve(&[(2.0, 4.0), (1.0, 1.0), (0.0, 0.0)], 0.001).points;
    for point in &mut points {
        point.dioptres = None;
    }
    let unknown = ShiftCurve::new(points);
    match unknown.tolerance_outcome(2.5) {
        ToleranceOutcome::Unknown { travel } => assert!((travel - 0.25).abs() < 1e-12),
        other => panic!("{other:?}"),
    }
    assert_eq!(unknown.shift_at(1.0), None);
    assert!((unknown.shift_at_travel(0.25).expect("inside").value - 2.5).abs() < 1e-12);
}

#[test]
fn nothing_is_said_outside_the_measured_range() {
    let curve = curve(&[(2.0, 4.0), (1.0, 1.0), (0.5, 0.0)], 0.001);
    assert_eq!(curve.range_dioptres(), Some((0.5, 2.0)));
    assert!(curve.shift_at(0.4).is_none() && curve.shift_at(2.1).is_none());
    assert!((curve.shift_at(1.5).expect("inside").value - 2.5).abs() < 1e-12);
    assert!((curve.shift_at(2.0).expect("the end").value - 4.0).abs() < 1e-12);
    // From 2 dioptres to 1: 1.01/1.04 − 1.
    let pull = curve.pull(2.0, 1.0).expect("inside");
    assert!((pull.value - 100.0 * (1.01 / 1.04 - 1.0)).abs() < 1e-12);
    assert_eq!(curve.pull(2.0, 0.1), None);
}

#[test]
fn an_empty_curve_is_within_everything() {
    let empty = ShiftCurve::default();
    assert_eq!(empty.tolerance_outcome(2.0), ToleranceOutcome::Within);
    assert!(empty.worst().is_none() && empty.range_dioptres().is_none());
}

/// The interval: noise over slope and the distances' own uncertainty.
#[test]
fn the_crossing_knows_its_uncertainty() {
    let curve = curve(&[(2.0, 4.0), (0.0, 0.0)], 0.01);
    match curve.tolerance_outcome(2.0) {
        ToleranceOutcome::Exceeded { dioptres, .. } => {
            assert!((dioptres.std_error - 0.005_f64.hypot(0.001)).abs() < 1e-12);
        }
        other => panic!("{other:?}"),
    }
}

/// Half way up a slope of 2 % a dioptre, distances known to 0.05 dioptres: 0.1 % beside the frames' 0.01/√2.
#[test]
fn a_reading_knows_how_well_its_distance_is_known() {
    let mut points = curve(&[(2.0, 4.0), (0.0, 0.0)], 0.01).points;
    for point in &mut points {
        point.dioptres = point.dioptres.map(|at| Measured::new(at.value, 0.05));
    }
    let curve = ShiftCurve::new(points);
    let read = curve.shift_at(1.0).expect("inside");
    assert!((read.value - 2.0).abs() < 1e-12);
    assert!((read.std_error - 0.1_f64.hypot(0.01 / 2_f64.sqrt())).abs() < 1e-12);
    // At a frame, the same slope; along the travel no distance is asked for.
    let at_frame = curve.shift_at(2.0).expect("inside").std_error;
    assert!((at_frame - 0.1_f64.hypot(0.01)).abs() < 1e-12);
    let by_travel = curve.shift_at_travel(0.0).expect("inside").std_error;
    assert!((by_travel - 0.01).abs() < 1e-12);
}

#[test]
fn travel_and_distance_lead_to_each_other() {
    let curve = curve(&[(2.0, 4.0), (1.0, 1.0), (0.0, 0.0)], 0.01);
    for (dioptres, travel) in [(2.0, 0.0), (1.5, 0.25), (1.0, 0.5), (0.0, 1.0)] {
        assert!((curve.travel_at(dioptres).expect("inside") - travel).abs() < 1e-12);
        assert!((curve.dioptres_at(travel).expect("inside") - dioptres).abs() < 1e-12);
    }
    assert_eq!((curve.travel_at(2.1), curve.dioptres_at(1.1)), (None, None));
}
