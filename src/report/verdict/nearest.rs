//! What is said where the nearest frames of a sweep gave no result, because they failed or were left out, or none was shot
//! near the closest focus of the lens.

use super::{FocalVerdict, which, words};
use crate::sweep::ShiftCurve;

/// Where the measured range of a sweep begins that has nearer frames without a result, or of a lens that focuses nearer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasuredFrom {
    /// The nearest distance that was measured, m; `None` where it is not known.
    pub m: Option<f64>,
}

impl MeasuredFrom {
    /// Where a curve begins that does not begin at the first frame of its sweep, or whose lens has a marked closest focus that
    /// was not reached (see `unreached_m`); `None` where it begins at closest focus.
    #[must_use]
    pub fn of(curve: &ShiftCurve, unreached_m: Option<f64>) -> Option<Self> {
        let first = curve.points().first()?;
        let dioptres = first.dioptres.map(|at| at.value);
        let m = dioptres.filter(|at| *at > 1e-5).map(|at| 1.0 / at);
        let is_known_short = unreached_m.is_some() && m.is_some();
        (first.travel > 1e-9 || is_known_short).then_some(Self { m })
    }

    /// A sentence after a blank.
    pub(super) fn sentence(self) -> String {
        match self.m {
            Some(m) => format!(
                " Nothing is measured nearer than {}, where it may shift more.",
                words::distance_from(m)
            ),
            None => " Its nearest frames are not measured, where it may shift more.".to_owned(),
        }
    }
}

/// A sentence on the focal lengths whose nearest frames gave no result, of so many that were measured.
pub(super) fn caution(told: &[FocalVerdict], measured: usize) -> Option<String> {
    let begins = |verdict: &&FocalVerdict| verdict.measured_from.is_some();
    let late: Vec<FocalVerdict> = told.iter().filter(begins).copied().collect();
    match late[..] {
        [] => None,
        [only] => {
            let from = only.measured_from.and_then(|from| from.m);
            let nearer = from.map_or_else(
                || "its nearest frames are not measured".to_owned(),
                |m| {
                    format!(
                        "nothing is measured nearer than {}",
                        words::distance_from(m)
                    )
                },
            );
            Some(format!(
                "At {} {nearer}, where it may shift more.",
                which(&late, measured)
            ))
        }
        [first, ..] => {
            let from = |verdict: &FocalVerdict| verdict.measured_from.and_then(|from| from.m);
            let said = |verdict: &FocalVerdict| from(verdict).map(words::distance_from);
            let alike = late.iter().all(|verdict| said(verdict) == said(&first));
            let nearer = match said(&first).filter(|_| alike) {
                Some(m) => format!("nothing is measured nearer than {m}"),
                None => "what is nearest is not measured".to_owned(),
            };
            Some(format!(
                "At {} {nearer}, where it may shift more.",
                which(&late, measured)
            ))
        }
    }
}
