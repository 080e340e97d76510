//! The record of a lens: all its published results, and what became of them.

use axum::http::Uri;
use serde::Serialize;
use utoipa::ToSchema;

use super::documents::{FocalDocument, LICENCE, LensHead, conditions_words, timestamp};
use super::near::asked_for;
use super::pull::{PullDocument, PullQuestion};
use super::stored::published_lens;
use super::verdicts::{coverage, verdict};
use crate::app::App;
use crate::report::words;
use crate::store::{ConditionsKey, HistoryEntry, LensPage, SweepId};
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
    /// Version that it happened to, 1 for the first.
    pub(in crate::web) version: u32,
    /// Worst shift of that version, per cent.
    pub(in crate::web) worst_shift_pct: f64,
    /// Worst shift of the version before it, per cent; `null` for the first and where it was taken back.
    pub(in crate::web) worst_shift_before_pct: Option<f64>,
    /// Where that version stands in full, as `/api/v1` has it; `null` where it can't be read any more.
    pub(in crate::web) version_url: Option<String>,
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
    /// One or two sentences made from the results under the conditions that come first: of those it was measured under, the set
    /// that most lenses were, as in the ranking.
    pub(in crate::web) verdict: Option<String>,
    /// The conditions that these sentences hold for; `null` where nothing is published.
    pub(in crate::web) conditions: Option<String>,
    /// Shortest focal length that was measured under these conditions, mm, where the lens goes clearly shorter (by more than a
    /// factor of 1.1), so that nothing is known of its short end; else `null`.
    pub(in crate::web) nothing_measured_below_mm: Option<f64>,
    /// Longest focal length that was measured under these conditions, mm, where the lens goes clearly longer; else `null`.
    pub(in crate::web) nothing_measured_above_mm: Option<f64>,
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
    /// The sets of conditions in the order of the ranking: that of most lenses first.
    #[serde(skip)]
    #[schema(ignore)]
    in_use: Vec<ConditionsKey>,
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

impl HistoryDocument {
    /// An entry among all of a lens; `partial` are the public sweeps that cover less than others and so don't count.
    fn new(
        entry: &HistoryEntry,
        history: &[HistoryEntry],
        partial: &[SweepId],
        site: &str,
    ) -> Self {
        let same_sweep = history.iter().filter(|other| other.sweep == entry.sweep);
        let before = same_sweep
            .filter(|other| other.version + 1 == entry.version && entry.withdrawn.is_none())
            .map(|other| other.worst_shift_pct.value)
            .next();
        let (version, shift) = (entry.version, entry.worst_shift_pct.value);
        let what = match (&entry.withdrawn, before) {
            (Some(reason), _) => format!("version {version} withdrawn: {reason}"),
            (None, None) => format!(
                "version {version} published, worst shift {}",
                words::signed_pct(shift)
            ),
            (None, Some(before)) => {
                let (before, now) = (words::signed_pct(before), words::signed_pct(shift));
                match before == now {
                    true => format!("version {version} published, worst shift {now} as before"),
                    false => format!("version {version} published, worst shift {before} → {now}"),
                }
            }
        };
        let what = match entry.withdrawn.is_none() && partial.contains(&entry.sweep) {
            true => format!("{what}; it covers less of the focus range and is not averaged in"),
            false => what,
        };
        let address = |sweep, version| format!("{site}/api/v1/sweeps/{sweep}/versions/{version}");
        Self {
            at: timestamp(entry.at_ms),
            sweep: entry.sweep,
            focal_length_mm: entry.focal_length_mm,
            conditions: entry.conditions.code(),
            version,
            worst_shift_pct: shift,
            worst_shift_before_pct: before,
            version_url: entry.readable.then(|| address(entry.sweep, version)),
            what,
            place: place_words(entry),
        }
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
        Self::of(app, page, tolerance_pct).await
    }

    /// The document of a lens page at this tolerance; the conditions that most lenses were measured under come first.
    pub(in crate::web) async fn of(
        app: &App,
        page: LensPage,
        tolerance_pct: f64,
    ) -> Result<Self, WebError> {
        let in_use = conditions_in_use(app).await?;
        Ok(Self::new(
            page,
            tolerance_pct,
            &app.config.public_url(),
            in_use,
        ))
    }

    fn new(page: LensPage, tolerance_pct: f64, site: &str, in_use: Vec<ConditionsKey>) -> Self {
        let withdrawn = if page.is_withdrawn() {
            page.reasons
        } else {
            Vec::new()
        };
        let partial: Vec<SweepId> = page
            .results
            .iter()
            .flat_map(|result| result.partial.iter().copied())
            .collect();
        let results = FocalDocument::of_lens(&page.lens, page.results, tolerance_pct);
        let mut document = Self {
            lens: LensHead::new(&page.lens, site),
            verdict: None,
            conditions: None,
            nothing_measured_below_mm: None,
            nothing_measured_above_mm: None,
            tolerance_pct,
            results,
            pulls: Vec::new(),
            history: page
                .history
                .iter()
                .map(|entry| HistoryDocument::new(entry, &page.history, &partial, site))
                .collect(),
            licence: LICENCE,
            in_use,
            withdrawn,
        };
        document.judge();
        document
    }

    /// Puts these conditions first, and the verdict with them.
    ///
    /// # Errors
    /// Nothing is published of the lens under them.
    pub(in crate::web) fn lead(
        &mut self,
        conditions: Option<ConditionsKey>,
    ) -> Result<(), WebError> {
        let Some(key) = conditions else {
            return Ok(());
        };
        self.group_of(Some(&key.code()))?;
        self.in_use.insert(0, key);
        self.judge();
        Ok(())
    }

    /// Says what is said of the conditions that come first.
    fn judge(&mut self) {
        let Some((key, results)) = self.groups().into_iter().next() else {
            return;
        };
        let coverage = coverage(&results, Some(&self.lens));
        self.verdict = verdict(&results, Some(&self.lens));
        self.conditions = Some(key.code());
        self.nothing_measured_below_mm = coverage.nothing_below_mm;
        self.nothing_measured_above_mm = coverage.nothing_above_mm;
    }

    /// What is said of the focal length asked for, mm, or the nearest one that was measured; `None` where none is asked for, or
    /// the lens has but one.
    ///
    /// # Errors
    /// Nothing was measured near it.
    pub(in crate::web) fn sentence_at(
        &self,
        focal_mm: Option<f64>,
    ) -> Result<Option<String>, WebError> {
        let (Some(asked), Some((_, results))) = (focal_mm, self.groups().into_iter().next()) else {
            return Ok(None);
        };
        let several = results.len() > 1;
        let found = asked_for(results, focal_mm)?;
        Ok(found.first().and_then(|focal| {
            let Some(near) = focal.at_nearest_to(asked) else {
                return several.then(|| focal.sentence.clone());
            };
            let near = near.replacen("at ", "The answer is for ", 1);
            Some(if several {
                format!("{near}. {}", focal.sentence)
            } else {
                format!("{near}.")
            })
        }))
    }

    /// The same with what a focus pull does, where one is asked for.
    pub(in crate::web) fn with_pull(mut self, question: Option<PullQuestion>) -> Self {
        if let Some(question) = question {
            let pull = |focal: &FocalDocument| PullDocument::new(focal, question);
            self.pulls = self.results.iter().map(pull).collect();
        }
        self
    }

    /// The results under these conditions, as their code names them, or under those that come first where none are named; `None`
    /// where nothing is published.
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

    /// The results of each set of conditions, in the order of the ranking: that of most lenses first.
    pub(in crate::web) fn groups(&self) -> Vec<(ConditionsKey, Vec<FocalDocument>)> {
        let mut groups: Vec<(ConditionsKey, Vec<FocalDocument>)> = Vec::new();
        for focal in &self.results {
            let key = focal.result.conditions;
            match groups.iter_mut().find(|(known, _)| *known == key) {
                Some((_, members)) => members.push(focal.clone()),
                None => groups.push((key, vec![focal.clone()])),
            }
        }
        groups.sort_by_key(|(key, members)| {
            let place = self.in_use.iter().position(|known| known == key);
            // Those of a draft may be under conditions that nothing is published under yet.
            let place = place.unwrap_or(usize::MAX);
            (place, std::cmp::Reverse(members.len()), key.code())
        });
        groups
    }
}

/// Every set of conditions that something is published under, that of most lenses first, as the ranking takes it.
pub(in crate::web) async fn conditions_in_use(app: &App) -> Result<Vec<ConditionsKey>, WebError> {
    let in_use = app.store.conditions_in_use().await?;
    Ok(in_use.into_iter().map(|(key, _)| key).collect())
}
