//! Repeats of a sweep side by side.

use crate::report::words;
use crate::store::{Store, Sweep, SweepId};
use crate::sweep::{Counts, Reach, combine_repeats, how_each_counts};
use crate::units::Measured;
use crate::web::WebError;
use crate::web::session::Viewer;

/// Repeats of a sweep, itself first.
pub(super) struct Repeats {
    pub(super) lines: Vec<RepeatLine>,
    /// All of them together, as the page of the lens shows it.
    pub(super) together: String,
    /// What that is.
    pub(super) how: &'static str,
    /// They scatter beyond their uncertainties.
    pub(super) disagree: bool,
}

/// One sweep among its repeats.
pub(super) struct RepeatLine {
    pub(super) id: SweepId,
    pub(super) reviewer: String,
    pub(super) is_public: bool,
    pub(super) has_same_pictures: bool,
    /// It covers less of the focus range than others, and is not counted.
    pub(super) is_partial: bool,
    pub(super) shift: String,
}

impl Repeats {
    /// The repeats that this viewer works on; `None` where there are none. Pictures that were sent twice, and sweeps that cover
    /// less of the focus range than others, are shown, but not counted.
    pub(super) async fn of(
        store: &Store,
        viewer: &Viewer,
        sweep: &Sweep,
    ) -> Result<Option<Self>, WebError> {
        let result = sweep.result.as_ref();
        let measured = result.map(|result| &result.measurement);
        let Some((summary, reach)) =
            measured.and_then(|sweep| Some((sweep.summary.as_ref()?, sweep.reach()?)))
        else {
            return Ok(None);
        };
        let Some(account) = &viewer.account else {
            return Ok(None);
        };
        let others = store.repeats_of(sweep.id, account.confined_to()).await?;
        if others.is_empty() {
            return Ok(None);
        }
        let same = store.sweeps_with_same_pictures(sweep.id).await?;
        let reaches: Vec<Reach> = std::iter::once(reach)
            .chain(others.iter().map(|other| other.reach))
            .collect();
        // Only pictures of the sweep itself are looked for; it is the first.
        let share_pictures = |one: usize, other: usize| {
            one == 0 && same.iter().any(|same| same.id == others[other - 1].id)
        };
        let counts = how_each_counts(&reaches, &share_pictures);
        let mut counted: Vec<(SweepId, Measured)> = Vec::new();
        let mut count = |at: usize, id: SweepId, shift: Measured| {
            if counts[at] == Counts::Wholly {
                counted.push((id, shift));
            }
        };
        count(0, sweep.id, summary.worst_shift_pct);
        let mut lines = vec![RepeatLine {
            id: sweep.id,
            reviewer: sweep.reviewer.clone(),
            is_public: sweep.publications.iter().any(|one| one.withdrawn.is_none()),
            has_same_pictures: false,
            is_partial: counts[0] == Counts::Partly,
            shift: words::shift(summary.worst_shift_pct),
        }];
        for (at, other) in (1..).zip(&others) {
            count(at, other.id, other.worst_shift_pct);
            lines.push(RepeatLine {
                id: other.id,
                reviewer: other.reviewer.clone(),
                is_public: other.is_public,
                has_same_pictures: matches!(counts[at], Counts::AsPicturesOf(_)),
                is_partial: counts[at] == Counts::Partly,
                shift: words::shift(other.worst_shift_pct),
            });
        }
        // In the order that the page of the lens combines them in.
        counted.sort_by_key(|(id, _)| *id);
        let shifts: Vec<Measured> = counted.into_iter().map(|(_, shift)| shift).collect();
        Ok(combine_repeats(&shifts).map(|combined| Self {
            lines,
            together: words::shift(combined.shown),
            how: words::taken_together(combined.is_mean),
            disagree: combined.disagree,
        }))
    }
}
