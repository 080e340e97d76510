//! The tests from outside, one module for each promise; one binary, so that it links once.

mod browser;
mod charts;
mod cli;
mod http_desk;
mod http_pages;
mod intake;
mod measurement;
mod simulation;
mod store;
mod support;
mod sweeps;
mod tidy;
mod worker;
