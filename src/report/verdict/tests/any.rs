//! Sentences over any lens, judged by what every one of its focal lengths says.

use proptest::prelude::*;

use super::*;

/// A focal length as it can be measured: its outcome fits its shift.
fn any_verdict(tolerance_pct: f64) -> impl Strategy<Value = FocalVerdict> {
    let shift = (-20.0..20.0_f64, prop_oneof![0.001..0.05_f64, 0.05..8.0_f64]);
    let focal = prop::sample::select(vec![14.0, 24.0, 35.0, 50.0, 70.0, 100.0, 135.0, 200.0]);
    let outcome = (0..4_u8, 0.05..4.0_f64);
    let flags = (any::<bool>(), any::<bool>(), any::<bool>());
    let lacks = prop::option::of(prop_oneof![-0.3..0.3_f64, -3.0..3.0_f64]);
    let bound = prop::option::of(prop_oneof![0.0..0.5_f64, 0.0..8.0_f64]);
    let unseen = prop_oneof![Just(0.0), 0.05..4.0_f64];
    (shift, focal, outcome, flags, bound, lacks, unseen).prop_map(
        move |((shift, u), focal, (kind, dioptres), flags, bound, lacks, unseen)| FocalVerdict {
            worst_shift_pct: Measured::new(shift, u),
            perspective_pct: bound,
            shortfall_pct: lacks,
            unseen_pct: unseen,
            outcome: match kind {
                _ if shift.abs() <= tolerance_pct => ToleranceOutcome::Within,
                0 => ToleranceOutcome::Unknown { travel: 0.4 },
                1 => exceeded(0.0),
                _ => exceeded(dioptres),
            },
            tolerance_pct,
            relative_to_farthest: flags.0,
            distances_estimated: flags.1,
            repeats_disagree: flags.2,
            ..verdict(focal, shift, ToleranceOutcome::Within)
        },
    )
}

proptest! {
    /// Whatever a lens does, its sentences say nothing that one of its focal lengths belies, and keep back nothing.
    #[test]
    fn sentences_say_what_every_focal_length_bears_out(
        lens in (0.5..5.0_f64).prop_flat_map(|tolerance| prop::collection::vec(any_verdict(tolerance), 1..7)),
    ) {
        let sentences = lens_verdict(&lens, &WHOLE).expect("something was measured");
        let says = |words: &str| sentences.contains(words);
        let told: Vec<&FocalVerdict> = lens.iter().filter(|verdict| !verdict.is_untold()).collect();
        let any = |holds: &dyn Fn(&FocalVerdict) -> bool| told.iter().any(|verdict| holds(verdict));
        let exceeds = |verdict: &FocalVerdict| verdict.outcome != ToleranceOutcome::Within;
        let goes = |way: Direction| any(&|verdict| Direction::of(verdict.worst_shift_pct) == way);

        prop_assert!(sentences.ends_with('.') && !says("  ") && !says("NaN") && !says("inf "), "{sentences}");
        let everywhere = says("everywhere it was measured") && !says("; beyond ");
        prop_assert_eq!(everywhere, !told.is_empty() && !any(&exceeds), "{}", sentences);
        // The true shift is anything from the measured one less the bound to the measured one, or with what is lacking added; below
        // 0.005 points nothing is printed. All of that may be off by the expanded uncertainty and what is unseen. "Exceeds" and "stays" are only said
        // where all of it is on one side, and what reaches across the tolerance is left open; so is what lacks nobody knows how much.
        let lacks = |verdict: &FocalVerdict| verdict.shortfall_pct.filter(|lacks| lacks.abs() >= 0.005);
        let reaches = |verdict: &FocalVerdict| {
            let bound = verdict.perspective_pct.filter(|bound| *bound >= 0.005).unwrap_or(0.0);
            let (shift, tolerance) = (verdict.worst_shift_pct.value, verdict.tolerance_pct);
            let (u, lacks) = (2.0 * verdict.worst_shift_pct.std_error, lacks(verdict).unwrap_or(0.0) );
            let u = u + verdict.unseen_pct;
            let (least, most) = (shift - bound + lacks.min(0.0) - u, shift + lacks.max(0.0) + u);
            let unknown = verdict.relative_to_farthest && verdict.shortfall_pct.is_none();
            let beyond = shift.abs() > tolerance || most > tolerance || least < -tolerance || unknown;
            (least <= tolerance && most >= -tolerance, beyond)
        };
        let open = |verdict: &FocalVerdict| reaches(verdict) == (true, true);
        prop_assert!(!everywhere || says("may stay within") == any(&open), "{sentences}");
        prop_assert!(!says("exceeds") || any(&|verdict| !reaches(verdict).0), "{sentences}");
        prop_assert_eq!(says("after all"), any(&open), "{}", sentences);
        let whichever = any(&|verdict| verdict.way() == Way::Untold) && says("which way") | says("Which way");
        prop_assert_eq!(says("not measured well enough"), told.len() < lens.len() || whichever, "{}", sentences);
        prop_assert!(!says("holds its framing") || !any(&|verdict| verdict.way() == Way::Untold), "{sentences}");
        let larger = |verdict: &FocalVerdict| verdict.relative_to_farthest && lacks(verdict).is_none();
        prop_assert_eq!(says("may be larger"), any(&larger), "{}", sentences);
        prop_assert!(!says("beyond about ") || any(&|verdict| verdict.distances_estimated && exceeds(verdict)), "{sentences}");
        prop_assert_eq!(says("tighter"), goes(Direction::Tighter), "{}", sentences);
        prop_assert_eq!(says("wider"), goes(Direction::Wider), "{}", sentences);
        let unknown = any(&|verdict| matches!(verdict.outcome, ToleranceOutcome::Unknown { .. }));
        prop_assert_eq!(says("is not known"), unknown, "{}", sentences);
        // A distance is named only where every focal length holds the tolerance beyond it.
        let farthest = told.iter().filter_map(|verdict| verdict.outcome.distance_m()).map(|m| m.value);
        let distance = farthest.fold(0.0, f64::max);
        if says("; beyond ") {
            prop_assert!(says(&words::distance_from(distance)), "{} in {}", distance, sentences);
        }
        let row = short_verdict(&lens, &WHOLE).expect("something was measured");
        prop_assert_eq!(row.contains("everywhere"), told.len() == lens.len() && !any(&exceeds), "{}", row);
    }
}
