//! Tests of measurement.
