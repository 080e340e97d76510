//! Results for the outside, in words and numbers: the sweep document (JSON, CSV, table), sentences, metres and feet.
//!
//! The command line, the pages and the API all speak through this room, so that one number is said one way everywhere.
//! Numbers in documents are raw; rounding happens in [`words`] and in tables.

mod counter_scale;
mod coverage;
mod document;
mod repeats;
mod rows;
mod table;
mod verdict;
pub mod words;

pub use counter_scale::{
    CounterScale, Held, Place, Setting, counter_scales, distance_places, not_closer, not_farther,
    outside, reference,
};
pub use coverage::Coverage;
pub use document::{
    BudgetDocument, BudgetLineDocument, FindingDocument, FrameDocument, ReportDocument,
    SkippedDocument, SweepDocument, TargetDocument,
};
pub use repeats::{RepeatsDocument, repeats_table};
pub use rows::{frames_csv, guarded, number};
pub use table::sweep_table;
pub use verdict::{FocalVerdict, MeasuredFrom, OtherPlace, OtherWay, lens_verdict, short_verdict};
