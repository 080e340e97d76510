//! The reviewers' side over real HTTP: signing in, uploading, measuring, repairing, publishing, and what others must not see.

mod account;
mod api;
mod backup;
mod bench;
mod client;
mod door;
mod events;
mod faults;
mod filing;
mod finishing;
mod form;
mod lenses;
mod page;
mod private;
mod publish;
mod readme;
mod repair;
mod roles;
mod runs;
mod take_away;
mod together;
