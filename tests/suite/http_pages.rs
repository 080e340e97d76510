//! Tests of http_pages.
