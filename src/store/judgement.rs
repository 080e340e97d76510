//! What becomes of a lens at a tolerance.

use super::packed::RankedResult;
use crate::sweep::ToleranceOutcome;

/// What becomes of a lens at a tolerance, over all its focal lengths.
#[derive(Debug, Clone, Copy)]
pub(super) enum Judgement {
    /// Never beyond it.
    Within,
    /// Beyond it at focus settings nearer than this.
    BeyondUpTo { dioptres: f64 },
    /// Beyond it somewhere, nobody knows where.
    Unknown,
}

impl Judgement {
    /// Whether the picture holds from this distance on, m.
    pub(super) fn holds_from(self, wanted_m: f64) -> bool {
        match self {
            Self::Within => true,
            Self::BeyondUpTo { dioptres } => dioptres > 0.0 && 1.0 / dioptres <= wanted_m,
            Self::Unknown => false,
        }
    }
}

pub(super) fn judge(results: &[RankedResult], tolerance_pct: f64) -> Judgement {
    let mut judged = Judgement::Within;
    for result in results {
        match (result.curve.tolerance_outcome(tolerance_pct), judged) {
            (ToleranceOutcome::Within, _) => {}
            (ToleranceOutcome::Unknown { .. }, _) => return Judgement::Unknown,
            (
                ToleranceOutcome::Exceeded { dioptres, .. },
                Judgement::BeyondUpTo { dioptres: least },
            ) if least <= dioptres.value => {}
            (ToleranceOutcome::Exceeded { dioptres, .. }, _) => {
                judged = Judgement::BeyondUpTo {
                    dioptres: dioptres.value,
                };
            }
        }
    }
    judged
}
