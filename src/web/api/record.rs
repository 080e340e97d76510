//! The record of a lens: all its published results, and what became of them.

use serde::Serialize;
use utoipa::ToSchema;

use super::documents::{FocalDocument, LICENCE, LensHead, timestamp, verdict};
use crate::store::{ConditionsKey, LensPage};
use crate::web::WebError;

/// Something that happened to what was published.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub(in crate::web) struct HistoryDocument {
    /// When (RFC 3339, UTC).
    pub(in crate::web) at: String,
    /// Key of the sweep.
    pub(in crate::web) sweep: i64,
    /// What happened, in words.
    pub(in crate::web) what: String,
}

/// The record of a lens: what `/lenses/{slug}` says.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub(in crate::web) struct LensDocument {
    /// The lens.
    pub(in crate::web) lens: LensHead,
    /// One or two sentences made from the results under the conditions that most of them share.
    pub(in crate::web) verdict: Option<String>,
    /// Tolerance that the results are judged by, per cent.
    pub(in crate::web) tolerance_pct: f64,
    /// Results by conditions, then focal length.
    pub(in crate::web) results: Vec<FocalDocument>,
    /// What was published and withdrawn, newest first.
    pub(in crate::web) history: Vec<HistoryDocument>,
    /// Licence of the numbers.
    pub(in crate::web) licence: &'static str,
}

impl LensDocument {
    /// The document of a lens page at this tolerance.
    pub(in crate::web) fn new(page: LensPage, tolerance_pct: f64, site: &str) -> Self {
        let results: Vec<FocalDocument> = page
            .results
            .into_iter()
            .map(|result| FocalDocument::new(result, tolerance_pct))
            .collect();
        let mut document = Self {
            lens: LensHead::new(&page.lens, site),
            verdict: None,
            tolerance_pct,
            results,
            history: page
                .history
                .into_iter()
                .map(|(at_ms, sweep, what)| HistoryDocument {
                    at: timestamp(at_ms),
                    sweep,
                    what,
                })
                .collect(),
            licence: LICENCE,
        };
        document.verdict = document
            .groups()
            .first()
            .and_then(|(_, results)| verdict(results));
        document
    }

    /// The results under these conditions, as their code names them, or under those of most results where none are named;
    /// `None` where nothing is published.
    pub(in crate::web) fn group_of(
        &self,
        code: Option<&str>,
    ) -> Result<Option<(ConditionsKey, Vec<FocalDocument>)>, WebError> {
        let mut groups = self.groups().into_iter();
        match code {
            None => Ok(groups.next()),
            Some(code) => groups
                .find(|(key, _)| key.code() == code)
                .map(Some)
                .ok_or_else(|| {
                    WebError::field(
                        "conditions",
                        "nothing is published of this lens under these conditions",
                    )
                }),
        }
    }

    /// The results of each set of conditions, the largest set first.
    pub(in crate::web) fn groups(&self) -> Vec<(ConditionsKey, Vec<FocalDocument>)> {
        let mut groups: Vec<(ConditionsKey, Vec<FocalDocument>)> = Vec::new();
        for focal in &self.results {
            let key = focal.result.conditions;
            match groups.iter_mut().find(|(known, _)| *known == key) {
                Some((_, members)) => members.push(focal.clone()),
                None => groups.push((key, vec![focal.clone()])),
            }
        }
        groups.sort_by_key(|(key, members)| (std::cmp::Reverse(members.len()), key.code()));
        groups
    }
}
