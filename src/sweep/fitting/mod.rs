//! Fits of what frames show: smooth runs, steps in them, sums of known courses, and effects that may not be there.

pub(super) mod least_squares;
mod penalised;
pub(super) mod smooth;
pub(super) mod spike_and_slab;
pub(super) mod steps;
