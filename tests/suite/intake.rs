//! Tests of intake.
