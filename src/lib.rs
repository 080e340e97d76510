//! Breathmark measures how much a lens breathes (changes its angle of view while it is refocused) from focus
//! brackets of two targets, and publishes, ranks and compares the results.
//!
//! Data takes one way: upload → [`intake`] (originals) → job → [`measure`] (frames) → [`sweep`] (curve, findings) →
//! [`store`] → read model → page = JSON twin = chart. `breathmark measure` walks the same way without store and web.
//!
//! A room may use the rooms above it in this list, never one below.

pub mod units;

pub mod optics;

pub mod measure;

pub mod sweep;

pub mod simulate;

pub mod intake;

pub mod store;

pub mod charts;

pub mod report;

pub mod config;

pub mod worker;

pub mod backup;

pub mod app;

pub mod web;

pub mod cli;
