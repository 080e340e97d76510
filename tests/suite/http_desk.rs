//! The reviewers' side over real HTTP: signing in, uploading, measuring, repairing, publishing, and what others must not see.

mod api;
mod bench;
mod client;
mod door;
mod form;
mod page;
