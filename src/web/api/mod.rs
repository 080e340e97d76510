//! The read API: documents of lenses, ranking, comparison, focus pulls and published sweeps. No sign-in, open to any site.

mod answer;
mod compare;
mod csv;
mod curves;
mod documents;
mod pull;
mod query;
mod ranked;
mod ranking;
mod record;
mod v1;

pub(super) use self::csv::{compare_csv, lens_csv, ranking_csv};
pub(super) use answer::{Twin, csv, json, with_tag};
pub(super) use compare::{CompareDocument, CompareQuestion, MOST_LENSES, compare};
pub(super) use documents::{FocalDocument, conditions_words, verdict};
pub(super) use pull::{PullDocument, PullQuestion};
pub(super) use query::{FOCAL_LENGTHS, Params};
pub(super) use ranked::RankedDocument;
pub(super) use ranking::{RankingDocument, RankingQuestion, rank, tolerance_range};
pub(super) use record::LensDocument;
pub use v1::routes;
pub(super) use v1::{compared, lenses as ranked, nearest};
