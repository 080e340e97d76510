//! Tests of tidy.
