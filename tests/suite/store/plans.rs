//! Tests of plans.
