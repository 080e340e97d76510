//! What is said where the nearest frames of a sweep gave no result, because they failed or were left out, or none was shot
//! near the closest focus of the lens.

use super::{FocalVerdict, which, words};
use crate::sweep::{NearEnd, ShiftCurve};

/// Where the measured range of a sweep begins that has nearer frames without a result, or of a lens that focuses nearer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasuredFrom {
    /// The nearest distance that was measured, m; `None` where it is not known.
    pub m: Option<f64>,
    /// Closest focus that is marked on the lens, m, where another focal length of it reaches that, so that nobody knows whether
    /// this one focuses nearer at all.
    pub elsewhere_m: Option<f64>,
}

impl MeasuredFrom {
    /// Where a curve begins that does not begin at the first frame of its sweep, or whose lens has a marked closest focus that
    /// was not reached (see [`NearEnd`]); `None` where it begins at closest focus.
    #[must_use]
    pub fn of(curve: &ShiftCurve, near: NearEnd) -> Option<Self> {
        let first = curve.points().first()?;
        let dioptres = first.dioptres.map(|at| at.value);
        let m = dioptres.filter(|at| *at > 1e-5).map(|at| 1.0 / at);
        let is_known_short = near.unreached_m().is_some() && m.is_some();
        if curve.begins_late() || is_known_short {
            return Some(Self {
                m,
                elsewhere_m: None,
            });
        }
        let elsewhere_m = near.reached_elsewhere_m(curve);
        elsewhere_m.map(|_| Self { m, elsewhere_m })
    }

    /// Whether nearer settings of it are known to be missing.
    #[must_use]
    pub fn is_missing(&self) -> bool {
        self.elsewhere_m.is_none()
    }

    /// What follows where the measured range begins.
    fn consequence(self) -> String {
        match self.elsewhere_m {
            Some(m) => format!(
                "though the lens focuses to {} at other focal lengths",
                words::distance_from(m)
            ),
            None => "where it may shift more".to_owned(),
        }
    }

    /// A sentence after a blank.
    pub(super) fn sentence(self) -> String {
        match self.m {
            Some(m) => format!(
                " Nothing is measured nearer than {}, {}.",
                words::distance_from(m),
                self.consequence()
            ),
            None => " Its nearest frames are not measured, where it may shift more.".to_owned(),
        }
    }
}

/// Sentences on the focal lengths whose nearest frames gave no result, or that begin farther off than others, of so many that
/// were measured.
pub(super) fn cautions(told: &[FocalVerdict], measured: usize) -> Vec<String> {
    let kinds = [true, false].map(|missing| {
        let is_so = |verdict: &&FocalVerdict| {
            let from = verdict.measured_from;
            from.is_some_and(|from| from.is_missing() == missing)
        };
        told.iter().filter(is_so).copied().collect::<Vec<_>>()
    });
    kinds
        .iter()
        .filter_map(|late| caution(late, measured))
        .collect()
}

fn caution(late: &[FocalVerdict], measured: usize) -> Option<String> {
    let first = late.first()?.measured_from?;
    let said = |verdict: &FocalVerdict| {
        let from = verdict.measured_from.and_then(|from| from.m);
        from.map(words::distance_from)
    };
    let alike = late.iter().all(|verdict| said(verdict) == said(&late[0]));
    let nearer = match said(&late[0]).filter(|_| alike) {
        Some(m) => format!("nothing is measured nearer than {m}"),
        None if late.len() == 1 => "its nearest frames are not measured".to_owned(),
        None => "what is nearest is not measured".to_owned(),
    };
    Some(format!(
        "At {} {nearer}, {}.",
        which(late, measured),
        first.consequence()
    ))
}
