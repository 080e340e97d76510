//! Tests of charts.
