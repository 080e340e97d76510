//! What the tests from outside share: the built program, simulated sweeps on disk, a browser.

pub(crate) mod browser;
pub(crate) mod lenses;
pub(crate) mod program;
pub(crate) mod sweeps;
