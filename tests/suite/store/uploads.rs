//! Tests of uploads.
