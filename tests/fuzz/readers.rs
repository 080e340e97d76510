//! The rooms from the ground floor up to the readers, as they stand in `src`, and nothing below them.

#[path = "../../src/units.rs"]
pub mod units;

#[path = "../../src/optics/mod.rs"]
pub mod optics;

#[path = "../../src/measure/mod.rs"]
pub mod measure;

#[path = "../../src/sweep/mod.rs"]
pub mod sweep;

#[path = "../../src/intake/mod.rs"]
pub mod intake;
