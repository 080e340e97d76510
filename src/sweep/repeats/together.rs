//! Sweeps of one lens that repeat each other: which do, what they come to together, what is said where they disagree.

use super::combine_showing;
use crate::sweep::{
    BudgetLine, Code, Combined, Counts, DistanceSource, Finding, Part, Reach, Severity, ShiftCurve,
    SweepMeasurement, how_each_counts,
};
use crate::units::Measured;

/// Marked focal lengths that differ by no more than this share are one setting of a zoom.
pub const SAME_FOCAL_SHARE: f64 = 0.005;

/// Most sweeps that a finding names one by one.
const MOST_NAMED: usize = 6;

/// One of several sweeps that repeat each other.
#[derive(Debug, Clone, PartialEq)]
pub struct Repeat<'a> {
    /// What it is called where it is spoken of: "sweep 7".
    pub name: String,
    /// Worst shift, per cent.
    pub worst_shift_pct: Measured,
    /// Shift against focus.
    pub curve: &'a ShiftCurve,
    /// Where its distances come from.
    pub distance_source: DistanceSource,
    /// Bounds that no scatter shows.
    pub systematic: &'a [BudgetLine],
}

/// Repeats as one result.
#[derive(Debug, Clone, PartialEq)]
pub struct Together {
    /// How their worst shifts go together.
    pub combined: Combined,
    /// Worst shift of the curve, per cent: of all of them together.
    pub worst_shift_pct: Measured,
    /// The curve of the surest one of those that know their distances best, with the size and the scatter of all.
    pub curve: ShiftCurve,
    /// The largest bound of each part: bounds repeat with the set-up, so a mean would hide them.
    pub systematic: Vec<BudgetLine>,
    /// What is said where they disagree.
    pub disagreement: Option<Finding>,
}

/// Repeats as one result; one alone is what it is. `None` for none.
#[must_use]
pub fn together(repeats: &[Repeat<'_>]) -> Option<Together> {
    let shifts: Vec<Measured> = repeats.iter().map(|one| one.worst_shift_pct).collect();
    let known = |one: &Repeat<'_>| one.distance_source.trust();
    let best = repeats.iter().map(known).max()?;
    let shown = |at: usize| known(&repeats[at]) == best;
    let combined = combine_showing(&shifts, &shown)?;
    let surest = repeats.get(combined.surest)?;
    let (worst_shift_pct, curve) = if repeats.len() == 1 {
        (surest.worst_shift_pct, surest.curve.clone())
    } else {
        let curves: Vec<(Measured, &ShiftCurve)> = repeats
            .iter()
            .map(|one| (one.worst_shift_pct, one.curve))
            .collect();
        let curve = combined.curve(&curves);
        let worst = curve.worst().map(|point| point.shift_pct);
        (worst.unwrap_or(combined.shown), curve)
    };
    Some(Together {
        combined,
        worst_shift_pct,
        curve,
        systematic: largest_bounds(repeats),
        disagreement: combined.disagree.then(|| disagreement(repeats, &combined)),
    })
}

fn largest_bounds(repeats: &[Repeat<'_>]) -> Vec<BudgetLine> {
    let largest = |part: &Part| {
        let lines = repeats.iter().flat_map(|repeat| repeat.systematic);
        lines
            .filter(|line| line.part == *part)
            .max_by(|a, b| a.pct.abs().total_cmp(&b.pct.abs()))
            .cloned()
    };
    Part::ALL.iter().filter_map(largest).collect()
}

/// Sweeps of one list that repeat each other.
#[derive(Debug, Clone, PartialEq)]
pub struct RepeatGroup {
    /// Places in the list of those that count, two or more.
    pub counted: Vec<usize>,
    /// Places of those that hold pictures of one of these, and so don't count.
    pub same_pictures: Vec<usize>,
    /// Places of those that cover less of the focus range, and so don't count.
    pub partial: Vec<usize>,
    /// What they come to.
    pub together: Together,
}

/// Which sweeps of a list repeat each other by `is_repeat`, and which of these count. `share_pictures` says whether two hold a
/// picture in common; the first of such sweeps counts. Sweeps without a result don't count.
#[must_use]
pub fn repeat_groups(
    sweeps: &[SweepMeasurement],
    share_pictures: &dyn Fn(usize, usize) -> bool,
) -> Vec<RepeatGroup> {
    let mut groups: Vec<Vec<(usize, Reach)>> = Vec::new();
    for (at, sweep) in sweeps.iter().enumerate() {
        let Some(reach) = sweep.reach() else { continue };
        let repeated = |group: &&mut Vec<(usize, Reach)>| is_repeat(&sweeps[group[0].0], sweep);
        match groups.iter_mut().find(repeated) {
            Some(group) => group.push((at, reach)),
            None => groups.push(vec![(at, reach)]),
        }
    }
    groups
        .into_iter()
        .filter_map(|group| taken_together(sweeps, &group, share_pictures))
        .collect()
}

/// Those of a group that count as one; `None` where fewer than two do.
fn taken_together(
    sweeps: &[SweepMeasurement],
    group: &[(usize, Reach)],
    share_pictures: &dyn Fn(usize, usize) -> bool,
) -> Option<RepeatGroup> {
    let reaches: Vec<Reach> = group.iter().map(|(_, reach)| *reach).collect();
    let share = |one: usize, other: usize| share_pictures(group[one].0, group[other].0);
    let (mut counted, mut same_pictures, mut partial) = (Vec::new(), Vec::new(), Vec::new());
    for ((at, _), counts) in group.iter().zip(how_each_counts(&reaches, &share)) {
        match counts {
            Counts::Wholly => counted.push(*at),
            Counts::AsPicturesOf(_) => same_pictures.push(*at),
            Counts::Partly => partial.push(*at),
        }
    }
    if counted.len() < 2 {
        return None;
    }
    let repeats: Vec<Repeat<'_>> = counted
        .iter()
        .filter_map(|&at| {
            let summary = sweeps[at].summary.as_ref()?;
            Some(Repeat {
                name: sweeps[at].name.clone(),
                worst_shift_pct: summary.worst_shift_pct,
                curve: &summary.curve,
                distance_source: sweeps[at].distance_source,
                systematic: &summary.budget.systematic,
            })
        })
        .collect();
    let together = together(&repeats)?;
    Some(RepeatGroup {
        counted,
        same_pictures,
        partial,
        together,
    })
}

/// Whether one of two sweeps, shot in one evening, repeats the other as far as their files tell: the same lens, or where
/// none is named the same folder, the same camera and focal length, and apertures that `split` would not part.
#[must_use]
fn is_repeat(one: &SweepMeasurement, other: &SweepMeasurement) -> bool {
    let folder = |sweep: &SweepMeasurement| {
        let first = sweep.frames.first();
        first.map(|frame| frame.info.folder.clone())
    };
    let same_lens = match (&one.lens, &other.lens) {
        (None, None) => folder(one) == folder(other),
        (one, other) => one == other,
    };
    let same_focal = one
        .focal_length
        .zip(other.focal_length)
        .is_some_and(|(a, b)| (a.mm() - b.mm()).abs() <= SAME_FOCAL_SHARE * a.mm());
    let f_number = |sweep: &SweepMeasurement| sweep.f_number.map(|f| f.n());
    same_lens
        && same_focal
        && one.camera == other.camera
        && !crate::sweep::sorting::split::is_other_aperture(f_number(one), f_number(other))
}

/// What is said of sweeps that disagree.
fn disagreement(repeats: &[Repeat<'_>], combined: &Combined) -> Finding {
    let told = |repeat: &Repeat<'_>| {
        let shift = repeat.worst_shift_pct;
        let sign = if shift.value < 0.0 { "−" } else { "+" };
        let u = (2.0 * shift.std_error).max(0.01);
        format!("{}: {sign}{:.2} % ± {u:.2}", repeat.name, shift.value.abs())
    };
    let by_shift = |a: &&Repeat<'_>, b: &&Repeat<'_>| {
        let of = |repeat: &Repeat<'_>| repeat.worst_shift_pct.value;
        of(a).total_cmp(&of(b))
    };
    let named: Vec<String> = if repeats.len() > MOST_NAMED {
        let ends = [
            repeats.iter().min_by(by_shift),
            repeats.iter().max_by(by_shift),
        ];
        ends.into_iter().flatten().map(told).collect()
    } else {
        repeats.iter().map(told).collect()
    };
    let which = if named.len() < repeats.len() {
        format!("Lowest and highest of {} sweeps: ", repeats.len())
    } else {
        String::new()
    };
    let figure = match repeats.get(combined.surest) {
        Some(surest) if !combined.is_mean => {
            format!("What is shown is of {}, the surest one alone", surest.name)
        }
        _ => "What is shown is their mean".to_owned(),
    };
    Finding {
        code: Code::RepeatsDisagree,
        severity: Severity::Warning,
        message: format!(
            "The worst shifts of repeated sweeps differ by more than their uncertainties (k = 2). {which}{}. {figure}; its \
             uncertainty is widened by how far they scatter. Measure again, and look for what changed: focal length, what the camera \
             corrects, the distances, whether a target or the camera moved.",
            named.join("; ")
        ),
        files: Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sweep::CurvePoint;

    fn curve(worst: Measured) -> ShiftCurve {
        let point = |near: f64| CurvePoint {
            travel: 1.0 - near,
            dioptres: Some(Measured::new(near, 0.01)),
            shift_pct: worst.scaled(near),
        };
        ShiftCurve::new(vec![point(1.0), point(0.0)])
    }

    fn of(shifts: &[Measured]) -> Together {
        let curves: Vec<ShiftCurve> = shifts.iter().map(|shift| curve(*shift)).collect();
        let bound = |pct| {
            vec![BudgetLine {
                part: Part::EntrancePupil,
                pct,
            }]
        };
        let bounds: Vec<Vec<BudgetLine>> =
            (0..shifts.len()).map(|n| bound(0.1 * n as f64)).collect();
        let repeats: Vec<Repeat<'_>> = (0..shifts.len())
            .map(|n| Repeat {
                name: format!("sweep {n}"),
                worst_shift_pct: shifts[n],
                curve: &curves[n],
                distance_source: DistanceSource::Exif,
                systematic: &bounds[n],
            })
            .collect();
        together(&repeats).expect("some repeats")
    }

    #[test]
    fn figure_curve_and_bounds_are_of_all() {
        let two = of(&[Measured::new(2.00, 0.01), Measured::new(2.02, 0.01)]);
        assert!((two.worst_shift_pct.value - 2.01).abs() < 1e-12);
        assert_eq!(
            two.curve.worst().map(|point| point.shift_pct),
            Some(two.worst_shift_pct)
        );
        assert!((two.systematic[0].pct - 0.1).abs() < 1e-12);
        assert_eq!(two.disagreement, None);
        let one = Measured::new(-1.0, 0.003);
        assert_eq!(of(&[one]).worst_shift_pct, one);
        assert!(together(&[]).is_none());
    }

    #[test]
    fn disagreement_names_each_or_the_ends_of_many() {
        let two = of(&[Measured::new(-3.1, 0.006), Measured::new(5.4, 0.005)]);
        let named = two.disagreement.expect("they disagree").message;
        for words in [
            "sweep 0: −3.10 % ± 0.01",
            "sweep 1: +5.40 % ± 0.01",
            "of sweep 1",
        ] {
            assert!(named.contains(words), "{named}");
        }
        let many: Vec<Measured> = (0..20).map(|n| Measured::new(f64::from(n), 0.01)).collect();
        let named = of(&many).disagreement.expect("they disagree").message;
        assert!(
            named.contains("of 20 sweeps: sweep 0: +0.00 % ± 0.02; sweep 19: +19.00 %"),
            "{named}"
        );
    }
}
