//! Tests of the store on real SQLite files in temporary folders: one for each query, and what must hold when writers meet.

mod accounts;
mod bounds;
mod content;
mod fixture;
mod jobs;
mod lenses;
mod opening;
mod publishing;
mod ranking;
mod ranking_anew;
mod repeats;
mod sweeps;
mod uploads;
