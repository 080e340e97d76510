//! Tests of http_desk.
