//! Tests of worker.
