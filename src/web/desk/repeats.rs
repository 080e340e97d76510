//! Repeats of a sweep side by side.

use crate::report::words;
use crate::store::{Store, Sweep, SweepId};
use crate::sweep::{Reach, combine_repeats, cover_most};
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
        let mut others = store.repeats_of(sweep.id).await?;
        others.retain(|other| viewer.may_work_on(other.account));
        if others.is_empty() {
            return Ok(None);
        }
        let same = store.sweeps_with_same_pictures(sweep.id).await?;
        let is_same = |id: SweepId| same.iter().any(|other| other.id == id);
        let mut counted: Vec<(SweepId, Measured, Reach)> =
            vec![(sweep.id, summary.worst_shift_pct, reach)];
        let mut lines = vec![RepeatLine {
            id: sweep.id,
            reviewer: sweep.reviewer.clone(),
            is_public: sweep.publications.iter().any(|one| one.withdrawn.is_none()),
            has_same_pictures: false,
            is_partial: false,
            shift: words::shift(summary.worst_shift_pct),
        }];
        for other in others {
            let has_same_pictures = is_same(other.id);
            if !has_same_pictures {
                counted.push((other.id, other.worst_shift_pct, other.reach));
            }
            lines.push(RepeatLine {
                id: other.id,
                reviewer: other.reviewer,
                is_public: other.is_public,
                has_same_pictures,
                is_partial: false,
                shift: words::shift(other.worst_shift_pct),
            });
        }
        let reaches: Vec<Reach> = counted.iter().map(|(.., reach)| *reach).collect();
        let covers = cover_most(&reaches).into_iter();
        let partial: Vec<SweepId> = counted
            .iter()
            .zip(covers)
            .filter_map(|((id, ..), covers)| (!covers).then_some(*id))
            .collect();
        counted.retain(|(id, ..)| !partial.contains(id));
        for line in &mut lines {
            line.is_partial = partial.contains(&line.id);
        }
        // In the order that the page of the lens combines them in.
        counted.sort_by_key(|(id, ..)| *id);
        let shifts: Vec<Measured> = counted.into_iter().map(|(_, shift, _)| shift).collect();
        Ok(combine_repeats(&shifts).map(|combined| Self {
            lines,
            together: words::shift(combined.shown),
            how: words::taken_together(combined.is_mean),
            disagree: combined.disagree,
        }))
    }
}
