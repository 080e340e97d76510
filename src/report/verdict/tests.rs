//! Sentences over the cases that a lens can be.

mod any;
mod left_open;
mod unseen;

use super::*;

/// Nothing of the lens is missing.
pub(super) const WHOLE: Coverage = Coverage {
    nothing_below_mm: None,
    nothing_above_mm: None,
};

pub(super) fn verdict(focal_mm: f64, shift_pct: f64, outcome: ToleranceOutcome) -> FocalVerdict {
    FocalVerdict {
        focal_length_mm: Some(focal_mm),
        worst_shift_pct: Measured::new(shift_pct, 0.01),
        perspective_pct: None,
        shortfall_pct: None,
        unseen_pct: 0.0,
        may_reach_m: None,
        measured_from: None,
        outcome,
        tolerance_pct: 2.0,
        relative_to_farthest: false,
        measured_to_m: None,
        distances_estimated: false,
        repeats_disagree: false,
        other_way: None,
    }
}

pub(super) fn exceeded(dioptres: f64) -> ToleranceOutcome {
    ToleranceOutcome::Exceeded {
        dioptres: Measured::new(dioptres, 0.01),
        travel: 0.3,
    }
}

/// 85 mm at +2.0 % frames like 86.7 mm, 105 mm at +3.8 % like 109 mm (common practice, no source).
#[test]
fn a_focal_length_in_one_sentence() {
    assert_eq!(
        verdict(85.0, 2.05, exceeded(2.0)).sentence(),
        "At 85 mm the picture gets tighter by 2.05 % at its worst and frames like 86.7 mm; \
         beyond 0.5 m (1 ft 7.7 in) it stays within 2 %."
    );
    assert_eq!(
        verdict(28.0, -1.4, ToleranceOutcome::Within).sentence(),
        "At 28 mm the picture gets wider by 1.40 % at its worst and frames like 27.6 mm; \
         it stays within 2 % everywhere it was measured."
    );
    assert_eq!(
        verdict(50.0, 0.004, ToleranceOutcome::Within).sentence(),
        "At 50 mm the picture holds its framing: no change of scale beyond 0.02 % could be measured; \
         it stays within 2 % everywhere it was measured."
    );
    let unknown = verdict(105.0, 3.8, ToleranceOutcome::Unknown { travel: 0.4 }).sentence();
    assert!(unknown.contains("frames like 109.0 mm"), "{unknown}");
    assert!(
        unknown.ends_with("from which distance on is not known."),
        "{unknown}"
    );
}

#[test]
fn what_was_not_at_infinity_and_what_was_estimated_is_said() {
    let mut careful = verdict(50.0, 3.0, exceeded(1.0));
    careful.relative_to_farthest = true;
    careful.distances_estimated = true;
    let sentence = careful.sentence();
    assert!(
        sentence.contains("against the farthest frame"),
        "{sentence}"
    );
    assert!(sentence.contains("beyond about 1 m"), "{sentence}");
    assert!(
        sentence
            .ends_with("The farthest frame is not at infinity: the true figures may be larger."),
        "{sentence}"
    );
}

#[test]
fn a_lens_in_two_sentences() {
    let within = ToleranceOutcome::Within;
    for (verdicts, words) in [
        (
            vec![
                verdict(28.0, -1.4, within),
                verdict(100.0, 2.4, exceeded(1.25)),
                verdict(135.0, 4.3, exceeded(0.5)),
            ],
            "It gets wider at some focal lengths and tighter at others, at most by 4.30 %, at 135 mm (tighter). \
             It exceeds 2 % at 100 and 135 mm; beyond 2 m (6 ft 7 in) it stays within 2 % everywhere it was measured.",
        ),
        (
            vec![verdict(24.0, 0.5, within), verdict(70.0, 1.0, within)],
            "It gets tighter when focused closer, at most by 1.00 %, at 70 mm. \
             It stays within 2 % everywhere it was measured.",
        ),
        (
            vec![verdict(24.0, 0.01, within), verdict(70.0, -0.01, within)],
            "It holds its framing at every focal length that was measured. \
             It stays within 2 % everywhere it was measured.",
        ),
        (
            vec![
                verdict(24.0, -3.0, ToleranceOutcome::Unknown { travel: 0.2 }),
                verdict(70.0, -2.5, exceeded(1.0)),
            ],
            "It gets wider when focused closer, at most by 3.00 %, at 24 mm. \
             It exceeds 2 % at every focal length measured; from which distance on is not known for all of them.",
        ),
    ] {
        assert_eq!(lens_verdict(&verdicts, &WHOLE).as_deref(), Some(words));
    }
    assert_eq!(lens_verdict(&[], &WHOLE), None);
}

/// Wider on the way by 1.9 %, tighter by 2.6 % at its closest: neither word alone is true.
#[test]
fn a_curve_that_turns_is_told_both_ways() {
    let mut turning = verdict(50.0, 2.6, exceeded(2.0));
    turning.other_way = Some(OtherWay {
        shift_pct: Measured::new(-1.9, 0.01),
        place: OtherPlace::FartherOff,
    });
    let sentence = turning.sentence();
    assert!(
        sentence.contains("tighter by 2.60 % at its worst and frames like 51.3 mm, farther off wider by up to 1.90 %;"),
        "{sentence}"
    );
    let lens = lens_verdict(
        &[turning, verdict(70.0, 1.0, ToleranceOutcome::Within)],
        &WHOLE,
    );
    let lens = lens.expect("two focal lengths");
    assert!(
        lens.starts_with("It gets wider at some focus settings and tighter at others, at most by 2.60 %, at 50 mm (tighter)."),
        "{lens}"
    );
}

#[test]
fn the_other_way_is_only_what_is_told_apart_from_zero() {
    let curve = |shifts: &[(f64, f64)]| {
        let points = shifts.iter().map(|&(shift, u)| crate::sweep::CurvePoint {
            travel: 0.5,
            dioptres: None,
            shift_pct: Measured::new(shift, u),
        });
        ShiftCurve::new(points.collect())
    };
    let worst = Measured::new(2.5, 0.01);
    for (shifts, other) in [
        (&[(2.5, 0.01), (-1.9, 0.01), (-0.3, 0.01)][..], Some(-1.9)),
        (&[(2.5, 0.01), (-1.9, 1.0)], None),
        (&[(2.5, 0.01), (-0.05, 0.01)], None),
        (&[(2.5, 0.01), (1.9, 0.01)], None),
        (&[], None),
    ] {
        let found = OtherWay::of(&curve(shifts), worst);
        assert_eq!(
            found.map(|found| found.shift_pct.value),
            other,
            "{shifts:?}"
        );
    }
}

/// Points as (travel, shift in per cent), closest focus first.
#[test]
fn the_other_way_is_told_where_it_is() {
    use OtherPlace::{ClosestFocus, FartherOff, Nearer};
    for (points, worst_pct, place, words) in [
        (
            [(0.0, 0.15), (0.5, -0.29), (0.8, -0.1), (1.0, 0.0)],
            -0.29,
            ClosestFocus,
            "wider by 0.29 % at its worst and frames like 49.9 mm, at closest focus tighter by 0.15 %;",
        ),
        (
            [(0.0, 0.1), (0.2, 1.5), (0.7, -2.5), (1.0, 0.0)],
            -2.5,
            Nearer,
            "frames like 48.8 mm, nearer tighter by up to 1.50 %;",
        ),
        (
            [(0.0, 2.5), (0.3, 0.5), (0.6, -1.8), (1.0, 0.0)],
            2.5,
            FartherOff,
            "frames like 51.2 mm, farther off wider by up to 1.80 %;",
        ),
    ] {
        let points = points.map(|(travel, shift)| CurvePoint {
            travel,
            dioptres: None,
            shift_pct: Measured::new(shift, 0.01),
        });
        let worst = Measured::new(worst_pct, 0.01);
        let other = OtherWay::of(&ShiftCurve::new(points.to_vec()), worst);
        assert_eq!(other.map(|other| other.place), Some(place));
        let mut told = verdict(50.0, worst_pct, ToleranceOutcome::Within);
        told.other_way = other;
        let sentence = told.sentence();
        assert!(sentence.contains(words), "{sentence}");
    }
}

/// 3 % ± 8 % is neither "holds its framing" nor "exceeds 2 %".
#[test]
fn what_is_too_uncertain_is_not_judged() {
    let mut poor = verdict(35.0, 3.0, exceeded(1.0));
    poor.worst_shift_pct.std_error = 4.0;
    let sentence = poor.sentence();
    assert_eq!(
        sentence,
        "At 35 mm the picture was not measured well enough to tell: its change of scale is uncertain by ± 8.00 %."
    );
    let lens = lens_verdict(
        &[poor, verdict(70.0, 1.0, ToleranceOutcome::Within)],
        &WHOLE,
    );
    assert_eq!(
        lens.as_deref(),
        Some(
            "It gets tighter when focused closer, at most by 1.00 %, at 70 mm. It stays within 2 % everywhere it was \
             measured. At 35 mm it was not measured well enough to tell."
        )
    );
    let all = lens_verdict(&[poor, poor], &WHOLE).expect("a sentence");
    assert_eq!(
        all,
        "At every focal length measured it was not measured well enough to tell."
    );
    assert_eq!(
        short_verdict(&[poor], &WHOLE).as_deref(),
        Some("Not measured well enough to tell")
    );
}

#[test]
fn a_reference_short_of_infinity_is_said_of_the_focal_lengths_that_have_it() {
    let mut short = verdict(24.0, 3.0, exceeded(1.0));
    short.relative_to_farthest = true;
    let lens = lens_verdict(
        &[short, verdict(70.0, 1.0, ToleranceOutcome::Within)],
        &WHOLE,
    );
    let lens = lens.expect("two focal lengths");
    assert!(
        lens.ends_with("At 24 mm this is against the farthest frame, not infinity: the true figures may be larger."),
        "{lens}"
    );
}

#[test]
fn a_row_says_what_is_not_against_infinity() {
    let mut short = verdict(24.0, 3.0, exceeded(1.0));
    short.relative_to_farthest = true;
    let row = |verdicts: &[FocalVerdict]| short_verdict(verdicts, &WHOLE).expect("a verdict");
    assert_eq!(
        row(&[short]),
        "Tighter; perhaps within 2 % beyond 1 m (3 ft 3.4 in) as far as it was measured; against the farthest frame, not infinity: the true figures may be larger"
    );
    let zoom = row(&[short, verdict(70.0, 1.0, ToleranceOutcome::Within)]);
    assert!(
        zoom.contains("; in part against the farthest frame"),
        "{zoom}"
    );
}

#[test]
fn a_row_has_the_verdict_in_a_few_words() {
    let within = ToleranceOutcome::Within;
    let unknown = ToleranceOutcome::Unknown { travel: 0.2 };
    let mut estimated = verdict(50.0, 3.0, exceeded(0.5));
    estimated.distances_estimated = true;
    for (verdicts, words) in [
        (
            vec![verdict(50.0, 0.5, within)],
            "Tighter; within 2 % everywhere it was measured",
        ),
        (
            vec![verdict(50.0, 0.01, within)],
            "No change seen; within 2 % everywhere it was measured",
        ),
        (
            vec![
                verdict(24.0, -3.0, exceeded(2.0)),
                verdict(70.0, 2.5, exceeded(0.5)),
            ],
            "Wider and tighter; within 2 % beyond 2 m (6 ft 7 in)",
        ),
        (
            vec![estimated],
            "Tighter; within 2 % beyond about 2 m (6 ft 7 in)",
        ),
        (
            vec![verdict(24.0, -3.0, unknown)],
            "Wider; beyond 2 %, from which distance on is not known",
        ),
        (
            vec![verdict(24.0, -3.0, exceeded(0.0))],
            "Wider; beyond 2 % at every distance",
        ),
    ] {
        assert_eq!(short_verdict(&verdicts, &WHOLE).as_deref(), Some(words));
    }
    assert_eq!(short_verdict(&[], &WHOLE), None);
}
