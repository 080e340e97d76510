//! Tests of opening.
