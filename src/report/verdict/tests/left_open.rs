//! What is left open, and what was not measured, is said.

use super::*;

/// 0.749 % ± 0.002 is no proof of 0.75 %, and 2.01 % ± 0.02 none that 2 % is exceeded.
#[test]
fn what_is_closer_to_the_tolerance_than_its_uncertainty_is_left_open() {
    let mut close = verdict(28.0, -0.749, ToleranceOutcome::Within);
    close.worst_shift_pct.std_error = 0.001;
    close.tolerance_pct = 0.75;
    assert_eq!(close.doubt(), Some("uncertainty"));
    assert!(
        close.sentence().ends_with(
            "it may stay within 0.75 % everywhere it was measured. Its worst shift is closer to 0.75 % than its \
             uncertainty, so it may exceed 0.75 % after all."
        ),
        "{}",
        close.sentence()
    );
    let row = short_verdict(&[close], &WHOLE).expect("a verdict");
    assert!(row.contains("; in question: "), "{row}");
    let mut surely = close;
    surely.worst_shift_pct.value = -0.747;
    assert_eq!(surely.doubt(), None);
    let beyond = verdict(85.0, 2.01, exceeded(2.0));
    let zoom = lens_verdict(&[surely, beyond], &WHOLE).expect("two focal lengths");
    assert!(zoom.contains("It may exceed 0.75 % at 85 mm"), "{zoom}");
    assert!(
        zoom.contains("so it may stay within 0.75 % there after all."),
        "{zoom}"
    );
}

/// A lens that gets wider may truly be wider: beyond 0.5 m it may hold, beyond 0.6 m it does.
#[test]
fn a_tolerance_distance_that_perspective_may_push_is_no_promise() {
    let mut wider = verdict(28.0, -2.5, exceeded(2.0));
    wider.may_reach_m = Some(0.61);
    let sentence = wider.sentence();
    assert!(
        sentence.ends_with(
            "beyond 0.5 m (1 ft 7.7 in) it may stay within 2 %, beyond 0.61 m (2 ft 0.1 in) it does."
        ),
        "{sentence}"
    );
    let row = short_verdict(&[wider], &WHOLE).expect("a verdict");
    assert!(
        row.contains(
            "within 2 % beyond 0.5 m (1 ft 7.7 in), perhaps only beyond 0.61 m (2 ft 0.1 in)"
        ),
        "{row}"
    );
    // A focal length that holds farther off settles it for the whole lens.
    let farther = verdict(50.0, 3.0, exceeded(1.0));
    let zoom = lens_verdict(&[wider, farther], &WHOLE).expect("two focal lengths");
    assert!(
        zoom.contains("beyond 1 m (3 ft 3.4 in) it stays within 2 %"),
        "{zoom}"
    );
    wider.may_reach_m = Some(1.2);
    let zoom = lens_verdict(&[wider, farther], &WHOLE).expect("two focal lengths");
    assert!(
        zoom.contains("beyond 1 m (3 ft 3.4 in) it may stay within 2 %, beyond 1.2 m"),
        "{zoom}"
    );
}

#[test]
fn what_was_not_measured_of_a_lens_is_said() {
    let within = ToleranceOutcome::Within;
    let part = Coverage::of((28.0, 135.0), [28.0]);
    let one = [verdict(28.0, -1.4, within)];
    let sentence = lens_verdict(&one, &part).expect("a verdict");
    assert!(
        sentence.ends_with("it was measured. No other focal length was measured."),
        "{sentence}"
    );
    assert_eq!(
        short_verdict(&one, &part).as_deref(),
        Some("Wider; within 2 % everywhere it was measured; measured at 28 mm only")
    );
    let part = Coverage::of((28.0, 135.0), [28.0, 100.0]);
    let two = [one[0], verdict(100.0, -1.0, within)];
    let sentence = lens_verdict(&two, &part).expect("a verdict");
    assert!(
        sentence.ends_with("Nothing was measured above 100 mm."),
        "{sentence}"
    );
    let mut late = one[0];
    late.measured_from = Some(MeasuredFrom { m: Some(0.397) });
    let nearer = "othing is measured nearer than 0.397 m (1 ft 3.7 in), where it may shift more.";
    assert!(late.sentence().ends_with(nearer), "{}", late.sentence());
    let zoom = lens_verdict(&[late, two[1]], &WHOLE).expect("a verdict");
    assert!(
        zoom.ends_with(nearer) && zoom.contains("At 28 mm n"),
        "{zoom}"
    );
    let row = short_verdict(&[late], &WHOLE).expect("a verdict");
    assert!(
        row.ends_with("; not measured at its nearest, where it may shift more"),
        "{row}"
    );
}

/// +0.8 % and −0.7 % were measured: at a tolerance wider than their difference it is within, but nothing says that it holds.
#[test]
fn repeats_that_disagree_hold_no_framing() {
    let mut told = verdict(85.0, -0.7, ToleranceOutcome::Within);
    told.worst_shift_pct.std_error = 1.06;
    told.tolerance_pct = 2.9;
    told.repeats_disagree = true;
    assert_eq!(
        told.sentence(),
        "At 85 mm the picture was not told to change either way: repeated sweeps leave its change of scale uncertain by \
         ± 2.12 %; it stays within 2.9 % everywhere it was measured."
    );
    let two = lens_verdict(&[told, told], &WHOLE).expect("a sentence");
    assert!(
        two.starts_with("Which way it changes is not to be told, since repeated sweeps differ."),
        "{two}"
    );
    let row = short_verdict(&[told], &WHOLE).expect("words");
    assert!(
        row.starts_with("No direction to be told; within 2.9 %"),
        "{row}"
    );
    told.repeats_disagree = false;
    assert!(told.sentence().contains("holds its framing"));
}
