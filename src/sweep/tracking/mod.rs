//! The same targets in every frame: looked for, followed through the sweep, doubted where they do not fit.

pub(super) mod balance;
mod covered;
pub(super) mod extra;
pub(super) mod look;
pub(super) mod pair;
pub(super) mod pick;
mod run_together;
pub(super) mod separation;
mod track;
