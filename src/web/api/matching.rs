//! At which focal length lenses are set side by side, and what is said of it.

use super::compare::{CompareDocument, ComparedDocument};
use super::near::{nearest_words, not_near};
use crate::report::words;
use crate::store::NEAR_RATIO;
use crate::web::WebError;

/// Largest ratio between focal lengths that are one: cameras state marks to 5 % (common practice, no source).
const SAME_RATIO: f64 = 1.05;

/// How far apart two focal lengths are, as people see it: by their ratio.
fn apart(a_mm: f64, b_mm: f64) -> f64 {
    (a_mm / b_mm).ln().abs()
}

fn is_same(a_mm: f64, b_mm: f64) -> bool {
    apart(a_mm, b_mm) <= SAME_RATIO.ln()
}

/// Which of the focal lengths, mm, is nearest to the one wanted.
pub(super) fn nearest(lengths_mm: &[f64], wanted_mm: f64) -> Option<usize> {
    let each = lengths_mm.iter().enumerate();
    each.min_by(|(_, a), (_, b)| apart(**a, wanted_mm).total_cmp(&apart(**b, wanted_mm)))
        .map(|(at, _)| at)
}

/// Of how many lenses there is a result at this focal length.
fn meeting_at(lenses: &[Vec<f64>], focal_mm: f64) -> usize {
    let has = |lengths: &&Vec<f64>| lengths.iter().any(|length| is_same(*length, focal_mm));
    lenses.iter().filter(has).count()
}

/// The focal length, mm, that each lens is then shown nearest to. Without one asked for it is where most of the lenses meet; of
/// several, what all of them come nearest to, then the longest. With one it is, within [`NEAR_RATIO`] of it, where all meet;
/// else the one asked for, if a lens was measured there; else where most meet, if two do; else the one asked for. `None` where
/// nothing is measured of any lens.
///
/// # Errors
/// None of the lenses was measured near the one asked for; the complaint lists what was.
pub(super) fn meeting(lenses: &[Vec<f64>], asked_mm: Option<f64>) -> Result<Option<f64>, WebError> {
    let measured: Vec<Vec<f64>> = lenses.iter().filter(|l| !l.is_empty()).cloned().collect();
    let lengths = || measured.iter().flatten().copied();
    let Some(asked) = asked_mm else {
        return Ok(where_most_meet(&measured, lengths(), None));
    };
    if measured.is_empty() {
        return Ok(Some(asked));
    }
    let near: Vec<f64> = lengths()
        .filter(|length| apart(*length, asked) <= NEAR_RATIO.ln())
        .collect();
    if near.is_empty() {
        return Err(not_near(asked, lengths()));
    }
    let is_measured = near.iter().any(|length| is_same(*length, asked));
    let best = where_most_meet(&measured, near.into_iter(), Some(asked));
    Ok(best.map(|best| {
        let meet = meeting_at(&measured, best);
        let is_worth_it = meet == measured.len() || (!is_measured && meet > 1);
        if is_worth_it { best } else { asked }
    }))
}

/// That of some focal lengths where most lenses meet; of several the one nearest to what was asked for, else the one that all
/// lenses come nearest to, else the longest.
fn where_most_meet(
    lenses: &[Vec<f64>],
    lengths: impl Iterator<Item = f64>,
    asked_mm: Option<f64>,
) -> Option<f64> {
    let cost = |wanted: f64| -> f64 {
        let nearest = |lengths: &Vec<f64>| nearest(lengths, wanted).map(|at| lengths[at]);
        let found = lenses.iter().filter_map(nearest);
        found.map(|length| apart(length, wanted)).sum()
    };
    // Sums of the same terms in another order differ in their last digits.
    let rounded = |value: f64| (value * 1e6).round();
    let from_asked = |length: f64| asked_mm.map_or(0.0, |asked| rounded(apart(length, asked)));
    lengths.min_by(|a, b| {
        let met = |length: f64| meeting_at(lenses, length);
        (met(*b).cmp(&met(*a)))
            .then_with(|| from_asked(*a).total_cmp(&from_asked(*b)))
            .then_with(|| rounded(cost(*a)).total_cmp(&rounded(cost(*b))))
            .then_with(|| b.total_cmp(a))
    })
}

impl CompareDocument {
    /// At which focal length a lens is compared, in words, and why not at that of the others.
    pub(in crate::web) fn at_words(&self, compared: &ComparedDocument) -> Option<String> {
        let focal = compared.result.as_ref()?;
        let at = focal.at();
        let near = |wanted: f64| format!("{at}, its nearest to {}", words::focal_length(wanted));
        Some(match (self.asked_focal_mm, self.focal_mm) {
            (Some(asked), _) => match self.kept_from(compared, asked) {
                Some(kept) => format!("{at}, with the others; {kept} is nearer"),
                None if (focal.focal_length_mm - asked).abs() > 1e-9 => near(asked),
                None => at,
            },
            (None, Some(meeting)) if !is_same(focal.focal_length_mm, meeting) => near(meeting),
            (None, _) => at,
        })
    }

    /// A focal length of a lens that is nearer to the one asked for, mm, than the one it is compared at, in words.
    fn kept_from(&self, compared: &ComparedDocument, asked_mm: f64) -> Option<String> {
        let lengths = &compared.focal_lengths_mm;
        let nearest_mm = lengths[nearest(lengths, asked_mm)?];
        let at_mm = compared.result.as_ref()?.focal_length_mm;
        let is_nearer = apart(nearest_mm, asked_mm) + 1e-9 < apart(at_mm, asked_mm);
        is_nearer.then(|| words::focal_length(nearest_mm))
    }

    /// What is said first where one of them is not at the focal length that was asked for, mm.
    pub(super) fn away_from_asked(&self, asked_mm: f64) -> Option<String> {
        let each = self.lenses.iter().filter_map(|compared| {
            let focal = compared.result.as_ref()?;
            let said = match self.kept_from(compared, asked_mm) {
                Some(kept) => format!("at {}, with the others; {kept} is nearer", focal.at()),
                None => nearest_words(focal.focal_length_mm, asked_mm)?,
            };
            Some(format!("{}: {said}", compared.lens.name()))
        });
        let each: Vec<String> = each.collect();
        let asked = words::focal_length(asked_mm);
        (!each.is_empty())
            .then(|| format!("Not all were measured at {asked}. {}.", each.join("; ")))
    }

    /// How the focal lengths were matched, in words; `None` where all results are at the same.
    pub(super) fn matched_words(&self) -> Option<String> {
        let meeting = self.focal_mm?;
        let results = || self.lenses.iter().filter_map(|l| l.result.as_ref());
        let (all, same) = (
            results().count(),
            results()
                .filter(|focal| is_same(focal.focal_length_mm, meeting))
                .count(),
        );
        if all < 2 || same == all {
            return None;
        }
        let at = words::focal_length(meeting);
        Some(match same {
            0 => format!("Each lens is shown at its focal length nearest to {at}."),
            1 => format!(
                "No two of them were measured at the same focal length: one was at {at}, the others are shown at their nearest."
            ),
            _ => format!(
                "Set side by side at {at}, where {same} of {all} were measured; the others are shown at their nearest."
            ),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lenses_meet_where_most_of_them_can() {
        for (lenses, asked, expected) in [
            // Not asked: shared by all; by three of four; by none.
            (&[&[24.0, 50.0, 70.0][..], &[50.0, 85.0]][..], None, 50.0),
            (
                &[
                    &[24.0, 50.0],
                    &[50.0, 85.0],
                    &[50.0, 85.0, 90.0],
                    &[85.0, 100.0],
                ],
                None,
                85.0,
            ),
            (&[&[24.0], &[24.0], &[200.0], &[180.0]], None, 24.0),
            (&[&[28.0, 75.0, 100.0], &[85.0]], None, 85.0),
            // Marks are stated to 5 %.
            (&[&[51.0, 85.0], &[50.0, 70.0]], None, 51.0),
            // Asked: where all meet, also where one was measured at what was asked for.
            (
                &[&[24.0, 50.0, 70.0], &[28.0, 50.0, 75.0]],
                Some(60.0),
                50.0,
            ),
            (&[&[50.0, 60.0], &[60.0]], Some(50.0), 60.0),
            // Three meet at 50; one has nothing near.
            (
                &[&[50.0, 70.0], &[50.0, 70.0], &[50.0], &[105.0]],
                Some(60.0),
                50.0,
            ),
            // One was measured at what was asked for, and not all meet elsewhere.
            (
                &[&[50.0], &[50.0, 60.0], &[60.0], &[60.0]],
                Some(50.0),
                50.0,
            ),
            // Nobody meets near it.
            (&[&[28.0, 75.0, 100.0], &[85.0]], Some(90.0), 90.0),
            // Two places where two meet: the nearer one.
            (&[&[50.0, 70.0], &[50.0, 70.0], &[35.0]], Some(62.0), 70.0),
        ] {
            let lenses: Vec<Vec<f64>> = lenses.iter().map(|l| l.to_vec()).collect();
            let found = meeting(&lenses, asked).expect("near enough").expect("some");
            assert!((found - expected).abs() < 1e-9, "{lenses:?}: {found}");
        }
        assert!(meeting(&[vec![], vec![]], None).is_ok_and(|none| none.is_none()));
        let far = meeting(&[vec![28.0], vec![50.0], vec![]], Some(500.0));
        let words = far.expect_err("nothing is near").to_string();
        assert!(words.contains("28"), "{words}");
    }
}
