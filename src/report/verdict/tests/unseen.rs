//! What is said where the pictures can't tell all that pulls the targets.

use super::*;

/// +1.9 % of which the pictures can't tell 0.2 points to either side.
#[test]
fn what_the_pictures_cant_tell_is_counted_to_either_side() {
    let unsure = |shift, outcome| FocalVerdict {
        unseen_pct: 0.2,
        ..verdict(50.0, shift, outcome)
    };
    for shift in [1.9, -1.9] {
        let within = unsure(shift, ToleranceOutcome::Within);
        let words = "it may stay within 2 % everywhere it was measured. What the pictures can't tell may come to 0.20 percentage \
                     points, so it may exceed 2 % after all.";
        assert!(within.sentence().ends_with(words), "{}", within.sentence());
        assert_eq!(within.doubt(), Some("pictures"));
        let row = short_verdict(&[within], &WHOLE).expect("a verdict");
        let words =
            "in question: what the pictures can't tell may make up to 0.20 points of difference";
        assert!(row.ends_with(words), "{row}");
    }
    let beyond = unsure(-2.1, exceeded(1.9)).sentence();
    assert!(
        beyond.contains("so it may stay within 2 % after all."),
        "{beyond}"
    );
    assert_eq!(unsure(1.7, ToleranceOutcome::Within).doubt(), None);
    let zoom = [
        unsure(1.9, ToleranceOutcome::Within),
        verdict(85.0, 1.0, ToleranceOutcome::Within),
    ];
    let told = lens_verdict(&zoom, &WHOLE).expect("a verdict");
    let words = "At 50 mm what the pictures can't tell may come to 0.20 percentage points, so it may exceed 2 % there after all.";
    assert!(told.contains(words), "{told}");
    // With perspective, and with the uncertainty, where neither is enough alone.
    let mut together = unsure(-1.7, ToleranceOutcome::Within);
    together.perspective_pct = Some(0.15);
    let words = "Perspective may hide up to 0.15 percentage points, the pictures can't tell 0.20 more, so it may exceed";
    assert!(
        together.sentence().contains(words),
        "{}",
        together.sentence()
    );
    let mut close = unsure(1.79, ToleranceOutcome::Within);
    close.worst_shift_pct.std_error = 0.01;
    assert!(
        close
            .sentence()
            .contains("0.20 percentage points, and it is uncertain by ± 0.02, so"),
        "{}",
        close.sentence()
    );
    // What nobody saw is no claim that nothing is there.
    let still = unsure(0.0, ToleranceOutcome::Within).sentence();
    assert!(
        still.contains("but the pictures may hide up to 0.20 percentage points"),
        "{still}"
    );
}
