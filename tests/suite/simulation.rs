//! Tests of simulation.
