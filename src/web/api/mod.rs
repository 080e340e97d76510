//! The read API: documents of lenses, ranking, comparison, focus pulls and published sweeps. No sign-in, open to any site.

mod answer;
mod compare;
mod complaints;
mod counter_scale;
mod csv;
mod cursor;
mod curves;
mod description;
mod documents;
mod focal_words;
mod judged;
mod matching;
mod near;
mod published;
mod pull;
mod pulls;
mod query;
mod ranked;
mod ranking;
mod record;
mod reviewing;
mod scale_question;
mod search;
mod stored;
mod typed_units;
mod v1;
mod verdicts;

pub(super) use self::csv::{
    bounds, compare_csv, counter_scale_csv, figures, left_open, lens_csv, ranking_csv, shot_with,
    written,
};
pub(super) use answer::{Twin, csv, json, tagged, with_tag};
pub(super) use compare::{
    CompareDocument, CompareQuestion, ComparedDocument, MOST_LENSES, comparable, compare,
};
pub(super) use counter_scale::{CounterScaleDocument, ScaleTableDocument, counter_scale_of};
pub(super) use documents::{FocalDocument, LICENCE, LensHead, conditions_words, timestamp};
pub(super) use near::asked_for;
pub(super) use pull::{PullDocument, PullQuestion, shared_picture_width};
pub(super) use pulls::pulls;
pub(super) use query::{Params, encoded};
pub(super) use ranked::RankedDocument;
pub(super) use ranking::{
    ConditionsDocument, DIRECTIONS, RankingDocument, RankingQuestion, conditions_asked,
    of_whole_lenses, rank, tolerance_range,
};
pub(super) use record::LensDocument;
pub(super) use scale_question::{ScaleQuestion, Steps};
pub(super) use search::search_words;
pub(super) use stored::{lens_by_any_name, stored_lens, unless_withdrawn};
pub use v1::routes;
pub(super) use v1::{compared, lenses as ranked};
pub(super) use verdicts::{brief_verdict, verdict};
