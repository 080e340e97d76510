//! Tests of sweeps.
