//! Tests of accounts.
