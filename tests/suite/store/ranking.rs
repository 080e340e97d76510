//! Tests of ranking.
