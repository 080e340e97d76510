//! Tests of lenses.
