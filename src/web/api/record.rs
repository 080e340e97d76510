//! The record of a lens: all its published results, and what became of them.

use axum::http::Uri;
use serde::Serialize;
use utoipa::ToSchema;

use super::documents::{FocalDocument, LICENCE, LensHead, conditions_words, timestamp};
use super::pull::{PullDocument, PullQuestion};
use super::verdicts::verdict;
use crate::app::App;
use crate::report::words;
use crate::store::{ConditionsKey, HistoryEntry, LensPage};
use crate::web::WebError;

/// Something that happened to what was published.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub(in crate::web) struct HistoryDocument {
    /// When (RFC 3339, UTC).
    pub(in crate::web) at: String,
    /// Key of the sweep.
    pub(in crate::web) sweep: i64,
    /// Marked focal length, mm.
    pub(in crate::web) focal_length_mm: f64,
    /// Conditions that it was shot under.
    pub(in crate::web) conditions: String,
    /// What happened, in words.
    pub(in crate::web) what: String,
    /// Focal length and conditions in words, for the page.
    #[serde(skip)]
    #[schema(ignore)]
    pub(in crate::web) place: PlaceWords,
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
    /// What a focus pull does at each of the results, in their order; left out where none was asked for.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(in crate::web) pulls: Vec<PullDocument>,
    /// What was published and withdrawn, newest first.
    pub(in crate::web) history: Vec<HistoryDocument>,
    /// Licence of the numbers.
    pub(in crate::web) licence: &'static str,
    /// Why all that was published of it was taken back; empty where something is public, or nothing ever was.
    #[serde(skip)]
    #[schema(ignore)]
    pub(in crate::web) withdrawn: Vec<String>,
}

/// Where an entry of the change log belongs, in words.
#[derive(Debug, Clone)]
pub(in crate::web) struct PlaceWords {
    /// The focal length.
    pub(in crate::web) at: String,
    /// The conditions.
    pub(in crate::web) conditions: String,
}

fn place_words(entry: &HistoryEntry) -> PlaceWords {
    PlaceWords {
        at: words::focal_length(entry.focal_length_mm),
        conditions: conditions_words(entry.conditions),
    }
}

impl LensDocument {
    /// What is public of a lens, at this tolerance, per cent; the errors are those of [`published_lens`].
    pub(in crate::web) async fn published(
        app: &App,
        slug: &str,
        here: &Uri,
        tolerance_pct: f64,
    ) -> Result<Self, WebError> {
        let page = published_lens(app, slug, here).await?;
        Ok(Self::new(page, tolerance_pct, &app.config.public_url()))
    }

    /// The document of a lens page at this tolerance.
    pub(in crate::web) fn new(page: LensPage, tolerance_pct: f64, site: &str) -> Self {
        let withdrawn = if page.is_withdrawn() {
            page.reasons
        } else {
            Vec::new()
        };
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
            pulls: Vec::new(),
            history: page
                .history
                .into_iter()
                .map(|entry| HistoryDocument {
                    at: timestamp(entry.at_ms),
                    sweep: entry.sweep,
                    focal_length_mm: entry.focal_length_mm,
                    conditions: entry.conditions.code(),
                    place: place_words(&entry),
                    what: entry.what,
                })
                .collect(),
            licence: LICENCE,
            withdrawn,
        };
        document.verdict = document
            .groups()
            .first()
            .and_then(|(_, results)| verdict(results));
        document
    }

    /// The same with what a focus pull does, where one is asked for.
    pub(in crate::web) fn with_pull(mut self, question: Option<PullQuestion>) -> Self {
        if let Some(question) = question {
            let pull = |focal: &FocalDocument| PullDocument::new(focal, question);
            self.pulls = self.results.iter().map(pull).collect();
        }
        self
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

/// All that is public of a lens, by its name or by one that it had before it was merged into another.
pub(in crate::web) async fn lens_by_any_name(
    app: &App,
    slug: &str,
) -> Result<Option<LensPage>, WebError> {
    if let Some(page) = app.store.lens_page(slug).await? {
        return Ok(Some(page));
    }
    match app.store.slug_after_merge(slug).await? {
        Some(now) => Ok(app.store.lens_page(&now).await?),
        None => Ok(None),
    }
}

/// All that is public of a lens of which something is, or nothing ever was. Where it was merged into another, the error is
/// the way to the same address of that one; where all of it was taken back, the reason.
pub(in crate::web) async fn published_lens(
    app: &App,
    slug: &str,
    here: &Uri,
) -> Result<LensPage, WebError> {
    unless_withdrawn(stored_lens(app, slug, here).await?)
}

/// The page, or the reason why all of it was taken back.
pub(in crate::web) fn unless_withdrawn(page: LensPage) -> Result<LensPage, WebError> {
    if page.is_withdrawn() {
        let reasons: Vec<&str> = page
            .reasons
            .iter()
            .map(|r| r.trim_end_matches('.'))
            .collect();
        Err(WebError::Gone(format!(
            "what was published of the {} was withdrawn: {}. What became of it stands at /lenses/{}",
            page.lens.about.name(),
            reasons.join("; "),
            page.lens.slug
        )))
    } else {
        Ok(page)
    }
}

/// All that is public of a lens, and what became of it where that is nothing more. Where it was merged into another, the
/// error is the way to the same address of that one.
pub(in crate::web) async fn stored_lens(
    app: &App,
    slug: &str,
    here: &Uri,
) -> Result<LensPage, WebError> {
    if let Some(page) = app.store.lens_page(slug).await? {
        return Ok(page);
    }
    // Slugs are lower case; capitals come from those who type names.
    let lower = slug.to_lowercase();
    if lower != slug && app.store.lens_by_slug(&lower).await?.is_some() {
        let there = moved(here, slug, &lower).map(WebError::Moved);
        return Err(there.unwrap_or_else(|| WebError::no_such("lens")));
    }
    let now = app.store.slug_after_merge(slug).await?;
    Err(now
        .and_then(|now| moved(here, slug, &now))
        .map_or_else(|| WebError::no_such("lens"), WebError::Moved))
}

/// The address with another slug after `lens/` or `lenses/`; endings such as `.json` stay.
fn moved(here: &Uri, slug: &str, now: &str) -> Option<String> {
    let mut parts: Vec<String> = here.path().split('/').map(str::to_owned).collect();
    let at = (1..parts.len()).find(|&at| {
        let rest = parts[at].strip_prefix(slug);
        ["lens", "lenses"].contains(&parts[at - 1].as_str())
            && rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('.'))
    })?;
    parts[at].replace_range(..slug.len(), now);
    let path = parts.join("/");
    Some(match here.query() {
        Some(query) => format!("{path}?{query}"),
        None => path,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_address_of_another_lens() {
        for (here, there) in [
            (
                "/lenses/old.json?tolerance_pct=1",
                "/lenses/new.json?tolerance_pct=1",
            ),
            ("/api/v1/lenses/old/curves", "/api/v1/lenses/new/curves"),
            ("/charts/lens/old.svg", "/charts/lens/new.svg"),
        ] {
            let here: Uri = here.parse().expect("an address");
            assert_eq!(moved(&here, "old", "new").as_deref(), Some(there));
        }
        // A lens may be called like a part of the address.
        let here: Uri = "/api/v1/lenses/lenses/pull".parse().expect("an address");
        assert_eq!(
            moved(&here, "lenses", "new").as_deref(),
            Some("/api/v1/lenses/new/pull")
        );
        let here: Uri = "/lenses/older".parse().expect("an address");
        assert_eq!(moved(&here, "old", "new"), None);
    }
}
