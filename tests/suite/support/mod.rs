//! What the tests from outside share: the built program, simulated sweeps on disk, a browser.

pub mod browser;
pub mod program;
pub mod sweeps;
