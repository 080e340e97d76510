//! Tests of store.
