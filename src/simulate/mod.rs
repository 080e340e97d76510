//! Renders sweeps with known truth: for the demo, for tests, for teaching.
