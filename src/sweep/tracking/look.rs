//! Looking at frames: every picture is loaded, searched and let go, so that memory does not grow with their number.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use crate::measure::{self, Plane, Target, Unmeasurable};

/// Gives the picture of a frame by its index.
pub(in crate::sweep) type Load<'a> = &'a (dyn Fn(usize) -> Result<Plane, Unmeasurable> + Sync);

/// What was seen in one frame.
#[derive(Debug, Clone)]
pub(in crate::sweep) struct Sight {
    /// Columns and rows.
    pub(in crate::sweep) size: (u32, u32),
    /// Bright spots that may be targets, the most target-like first.
    pub(in crate::sweep) candidates: Vec<Target>,
}

/// Searches the frames at `indices`, in parallel, at the places that were pointed at where there are such; the results come in the order of `indices`, whatever the threads.
pub(in crate::sweep) fn at_all(
    indices: &[usize],
    load: Load<'_>,
    pointed_at: &(dyn Fn(usize) -> Option<Vec<(f64, f64)>> + Sync),
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
                    candidates: match pointed_at(index) {
                        Some(places) => pointed(&plane, &places)?,
                        None => measure::candidates(&plane),
                    },
                })
            });
            done(count.fetch_add(1, Ordering::Relaxed) + 1);
            sight
        })
        .collect()
}

/// Second moments that a target pointed at by hand is tried with, px²: from a sharp small patch to a blur of 240 px.
const WIDTHS_TRIED: [f64; 6] = [40.0, 160.0, 400.0, 900.0, 2000.0, 4500.0];
/// How far from a place that was pointed at a candidate may be, px, or in standard deviations of its light.
const POINTED: (f64, f64) = (25.0, 1.5);

/// The targets at places pointed at by hand, left to right.
pub(in crate::sweep) fn pointed(
    plane: &Plane,
    places: &[(f64, f64)],
) -> Result<Vec<Target>, Unmeasurable> {
    let candidates = measure::candidates(plane);
    let mut targets: Vec<Target> = Vec::new();
    for &(x, y) in places {
        let off = |target: &Target| (target.x_px.value - x).hypot(target.y_px.value - y);
        let allowed = |target: &Target| POINTED.0.max(POINTED.1 * target.variance_px2.value.sqrt());
        let nearest = candidates
            .iter()
            .filter(|target| off(target) < allowed(target))
            .min_by(|a, b| off(a).total_cmp(&off(b)));
        let target = match nearest {
            Some(target) => target.clone(),
            None => measure::targets_near(plane, WIDTHS_TRIED.map(|variance| ((x, y), variance)))
                .filter_map(Result::ok)
                .find(|target| off(target) < allowed(target))
                .ok_or(Unmeasurable::NoTargets)?,
        };
        targets.push(target);
    }
    targets.sort_by(|a, b| a.x_px.value.total_cmp(&b.x_px.value));
    Ok(targets)
}

/// Measures targets near places (x, y and second moment) of one frame, which is loaded again. Where some are found and others
/// not, that is the reason.
pub(in crate::sweep) fn near(
    index: usize,
    load: Load<'_>,
    places: &[((f64, f64), f64)],
) -> Result<Vec<Target>, Unmeasurable> {
    guarded(|| {
        let plane = load(index)?;
        let seen: Vec<Result<Target, Unmeasurable>> =
            measure::targets_near(&plane, places.iter().copied()).collect();
        let some = seen.iter().any(Result::is_ok);
        let found: Result<Vec<Target>, Unmeasurable> = seen.into_iter().collect();
        found.map_err(|why| match why {
            Unmeasurable::NoTargets if some => Unmeasurable::OneTarget,
            other => other,
        })
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
