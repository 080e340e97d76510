//! Tests of browser.
