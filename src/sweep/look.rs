//! Looking at frames: every picture is loaded, searched and let go, so that memory does not grow with their number.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use crate::measure::{self, Plane, Target, Unmeasurable};

/// Gives the picture of a frame by its index.
pub(super) type Load<'a> = &'a (dyn Fn(usize) -> Result<Plane, Unmeasurable> + Sync);

/// What was seen in one frame.
#[derive(Debug, Clone)]
pub(super) struct Sight {
    /// Columns and rows.
    pub(super) size: (u32, u32),
    /// Bright spots that may be targets, the most target-like first.
    pub(super) candidates: Vec<Target>,
}

/// Searches the frames at `indices`, in parallel; the results come in the order of `indices`, whatever the threads.
pub(super) fn at_all(
    indices: &[usize],
    load: Load<'_>,
    done: &(dyn Fn(usize) + Sync),
) -> Vec<Result<Sight, Unmeasurable>> {
    let count = AtomicUsize::new(0);
    indices
        .par_iter()
        .map(|&index| {
            let sight = guarded(|| {
                let plane = load(index)?;
                Ok(Sight {
                    size: (plane.width(), plane.height()),
                    candidates: measure::candidates(&plane),
                })
            });
            done(count.fetch_add(1, Ordering::Relaxed) + 1);
            sight
        })
        .collect()
}

/// Measures targets near places (x, y and second moment) of one frame, which is loaded again.
pub(super) fn near(
    index: usize,
    load: Load<'_>,
    places: &[((f64, f64), f64)],
) -> Result<Vec<Target>, Unmeasurable> {
    guarded(|| {
        let plane = load(index)?;
        places
            .iter()
            .map(|&(place, variance)| measure::target_near(&plane, place, variance))
            .collect()
    })
}

/// Runs the work on one frame so that a panic in it ends this frame and no other.
fn guarded<T>(work: impl FnOnce() -> Result<T, Unmeasurable>) -> Result<T, Unmeasurable> {
    catch_unwind(AssertUnwindSafe(work)).unwrap_or_else(|panic| {
        let text = panic
            .downcast_ref::<&str>()
            .map(ToString::to_string)
            .or_else(|| panic.downcast_ref::<String>().cloned());
        Err(Unmeasurable::Fault(
            text.unwrap_or_else(|| "no message".to_owned()),
        ))
    })
}
