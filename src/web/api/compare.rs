//! Two to four lenses side by side, at their nearest focal lengths.

use serde::Serialize;
use utoipa::ToSchema;

use super::documents::{FocalDocument, LICENCE, LensHead, conditions_words};
use super::matching::{meeting, nearest};
use super::pull::{PullDocument, PullQuestion};
use super::query::{Params, cut};
use super::ranking::{ConditionsDocument, conditions_asked};
use super::record::conditions_in_use;
use super::stored::{lens_by_any_name, unless_withdrawn};
use crate::app::App;
use crate::report::words;
use crate::store::{ConditionsKey, FocalResult, LensPage, isolated};
use crate::units::FOCAL_LENGTHS_MM;
use crate::web::WebError;

/// How many lenses can be compared.
pub(in crate::web) const MOST_LENSES: usize = 4;
/// The same in a word.
const MOST_LENSES_WORD: &str = "four";

/// What is compared.
#[derive(Debug, Clone)]
pub(in crate::web) struct CompareQuestion {
    /// Slugs of the lenses, without repetition.
    pub(in crate::web) lenses: Vec<String>,
    /// Focal length wanted, mm.
    pub(in crate::web) focal_mm: Option<f64>,
    /// Tolerance, per cent.
    pub(in crate::web) tolerance_pct: f64,
    /// A focus pull.
    pub(in crate::web) pull: Option<PullQuestion>,
    /// Conditions to compare under; those of most lenses where not given.
    pub(in crate::web) conditions: Option<ConditionsKey>,
}

impl CompareQuestion {
    /// Reads the question; fewer than two lenses are left to the caller to judge.
    pub(in crate::web) fn read(params: &Params) -> Result<Self, WebError> {
        let mut lenses: Vec<String> = Vec::new();
        for slug in params.all("lens").iter().flat_map(|value| value.split(',')) {
            // Slugs are lower case; capitals come from those who type names.
            let slug = slug.trim().to_lowercase();
            if !slug.is_empty() && !lenses.contains(&slug) {
                lenses.push(slug);
            }
        }
        if lenses.len() > MOST_LENSES {
            return Err(WebError::field(
                "lens",
                format!(
                    "give two to {MOST_LENSES_WORD} lenses, not {}",
                    lenses.len()
                ),
            ));
        }
        Ok(Self {
            lenses,
            focal_mm: params.number("focal_mm", FOCAL_LENGTHS_MM, "mm")?,
            tolerance_pct: params.tolerance_pct()?,
            pull: PullQuestion::read(params)?,
            conditions: conditions_asked(params)?,
        })
    }

    /// Reads the question and refuses a comparison of fewer than two lenses.
    pub(in crate::web) fn read_at_least_two(params: &Params) -> Result<Self, WebError> {
        let question = Self::read(params)?;
        let different = match question.lenses.as_slice() {
            [_, _, ..] => return Ok(question),
            [only] if params.all("lens").len() > 1 => format!(", not “{}” twice", cut(only)),
            [only] => format!(", not “{}” alone", cut(only)),
            [] => String::new(),
        };
        Err(WebError::field(
            "lens",
            format!("give two to {MOST_LENSES_WORD} lenses, e.g. lens=a&lens=b{different}"),
        ))
    }
}

/// One lens of a comparison.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub(in crate::web) struct ComparedDocument {
    /// The lens.
    pub(in crate::web) lens: LensHead,
    /// The result compared; `null` where nothing is published.
    pub(in crate::web) result: Option<FocalDocument>,
    /// What the focus pull does; `null` where none was asked for or nothing is published.
    pub(in crate::web) pull: Option<PullDocument>,
    /// Focal lengths that could be compared, mm.
    pub(in crate::web) focal_lengths_mm: Vec<f64>,
}

/// The comparison.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub(in crate::web) struct CompareDocument {
    /// The lenses, in the order asked for.
    pub(in crate::web) lenses: Vec<ComparedDocument>,
    /// What differs in how they were measured, in words; read it before the numbers.
    pub(in crate::web) differences: Vec<String>,
    /// Focal length that each result is the nearest to, mm. Where none is asked for: the one that most lenses were measured at
    /// (within 5 %); of several the one that all come nearest to, then the longest. Else, within a factor of 1.25 of the one
    /// asked for: one that all lenses were measured at; else the one asked for, if a lens was measured there; else the one that
    /// most were measured at, if two were; else the one asked for.
    pub(in crate::web) focal_mm: Option<f64>,
    /// How the focal lengths were matched, in words; `null` where all results are at the same one.
    pub(in crate::web) matched: Option<String>,
    /// Focal length that was asked for, mm.
    pub(in crate::web) asked_focal_mm: Option<f64>,
    /// Conditions that the results are compared under; a lens without results under them is shown under those it has, and
    /// `differences` says so. `null` where nothing is published.
    pub(in crate::web) conditions: Option<String>,
    /// The conditions that one of the lenses has results under, with how many of the lenses do.
    pub(in crate::web) conditions_choices: Vec<ConditionsDocument>,
    /// Tolerance, per cent.
    pub(in crate::web) tolerance_pct: f64,
    /// Licence of the numbers.
    pub(in crate::web) licence: &'static str,
}

/// Asks the store for each lens and sets them side by side.
pub(in crate::web) async fn compare(
    app: &App,
    question: &CompareQuestion,
) -> Result<CompareDocument, WebError> {
    let site = app.config.public_url();
    let mut pages: Vec<LensPage> = Vec::with_capacity(question.lenses.len());
    for slug in &question.lenses {
        let page = page_of(app, slug).await?;
        if let Some(known) = pages.iter().find(|known| known.lens.id == page.lens.id) {
            return Err(WebError::field(
                "lens",
                format!(
                    "“{slug}” was merged into “{}”; leave it out",
                    known.lens.slug
                ),
            ));
        }
        pages.push(page);
    }
    let in_use = conditions_in_use(app).await?;
    let conditions_choices = choices_of(&pages, &in_use);
    if let Some(asked) = question.conditions
        && !conditions_choices.iter().any(|c| c.code == asked.code())
    {
        return Err(not_under(asked, &conditions_choices));
    }
    let conditions = question
        .conditions
        .or_else(|| shared_conditions(&pages, &in_use));
    let choices: Vec<Vec<FocalResult>> = pages
        .iter()
        .map(|page| under(&page.results, conditions, &in_use))
        .collect();
    let lengths_of = |results: &Vec<FocalResult>| -> Vec<f64> {
        results
            .iter()
            .map(|result| result.focal_length_mm)
            .collect()
    };
    let lengths: Vec<Vec<f64>> = choices.iter().map(lengths_of).collect();
    let focal_mm = meeting(&lengths, question.focal_mm)?;
    let lenses: Vec<ComparedDocument> = pages
        .iter()
        .zip(choices.iter().zip(lengths))
        .map(|(page, (choices, focal_lengths_mm))| {
            let at = focal_mm.and_then(|wanted| nearest(&focal_lengths_mm, wanted));
            let mut results =
                FocalDocument::of_lens(&page.lens, choices.clone(), question.tolerance_pct);
            let result = at.map(|at| results.swap_remove(at));
            ComparedDocument {
                lens: LensHead::new(&page.lens, &site),
                pull: question
                    .pull
                    .zip(result.as_ref())
                    .map(|(pull, focal)| PullDocument::new(focal, pull)),
                result,
                focal_lengths_mm,
            }
        })
        .collect();
    let mut document = CompareDocument {
        differences: Vec::new(),
        lenses,
        matched: None,
        focal_mm,
        asked_focal_mm: question.focal_mm,
        conditions: conditions.map(ConditionsKey::code),
        conditions_choices,
        tolerance_pct: question.tolerance_pct,
        licence: LICENCE,
    };
    document.matched = document.matched_words();
    document.differences = differences(&document);
    Ok(document)
}

/// Whether a lens can be compared; the error says why not.
pub(in crate::web) async fn comparable(app: &App, slug: &str) -> Result<(), WebError> {
    page_of(app, slug).await.map(|_| ())
}

/// All that is public of a lens, also by the name that it had before it was merged into another.
async fn page_of(app: &App, slug: &str) -> Result<LensPage, WebError> {
    let page = lens_by_any_name(app, slug).await?;
    let page = page.ok_or_else(|| WebError::no_such(&format!("lens as “{slug}”")))?;
    unless_withdrawn(page).map_err(|error| match error {
        WebError::Gone(why) => WebError::Gone(format!("{why}; leave lens={slug} out")),
        other => other,
    })
}

/// The complaint that none of the lenses has results under these conditions, with those that they have.
fn not_under(asked: ConditionsKey, choices: &[ConditionsDocument]) -> WebError {
    let codes: Vec<&str> = choices.iter().map(|choice| choice.code.as_str()).collect();
    let instead = match &codes[..] {
        [] => "nothing is published of them yet, so leave it out".to_owned(),
        [one] => format!("give {one}, or leave it out"),
        several => format!("give one of {}, or leave it out", several.join(", ")),
    };
    WebError::field(
        "conditions",
        format!(
            "none of these lenses was measured with {}; {instead}",
            conditions_words(asked)
        ),
    )
}

/// Every set of conditions that one of the lenses has results under, once, in the order of the ranking.
fn conditions_of(pages: &[LensPage], in_use: &[ConditionsKey]) -> Vec<ConditionsKey> {
    let has = |key: &&ConditionsKey| {
        let mut results = pages.iter().flat_map(|page| &page.results);
        results.any(|result| result.conditions == **key)
    };
    in_use.iter().filter(has).copied().collect()
}

/// The same with how many lenses have them, that of most lenses first.
fn choices_of(pages: &[LensPage], in_use: &[ConditionsKey]) -> Vec<ConditionsDocument> {
    let mut keys = conditions_of(pages, in_use);
    let having = |key: &ConditionsKey| {
        let has = |page: &&LensPage| page.results.iter().any(|r| r.conditions == *key);
        pages.iter().filter(has).count() as u64
    };
    keys.sort_by_key(|key| std::cmp::Reverse(having(key)));
    keys.into_iter()
        .map(|key| ConditionsDocument {
            code: key.code(),
            words: conditions_words(key),
            lens_count: having(&key),
        })
        .collect()
}

/// The conditions under which most of the lenses have results; of several, those that come first in the ranking, so that a
/// lens has the same number here as there.
fn shared_conditions(pages: &[LensPage], in_use: &[ConditionsKey]) -> Option<ConditionsKey> {
    let having = |key: &ConditionsKey| {
        let has = |page: &&LensPage| page.results.iter().any(|r| r.conditions == *key);
        pages.iter().filter(has).count()
    };
    // The first of equals, not the last.
    let keys = conditions_of(pages, in_use).into_iter();
    keys.reduce(|best, key| {
        if having(&key) > having(&best) {
            key
        } else {
            best
        }
    })
}

/// The results under these conditions; where there are none, those under the set that comes first in the ranking.
fn under(
    results: &[FocalResult],
    conditions: Option<ConditionsKey>,
    in_use: &[ConditionsKey],
) -> Vec<FocalResult> {
    let of = |key: &ConditionsKey| -> Vec<FocalResult> {
        let alike = results.iter().filter(|result| result.conditions == *key);
        alike.cloned().collect()
    };
    let mut found = conditions.iter().chain(in_use).map(of);
    found
        .find(|results| !results.is_empty())
        .unwrap_or_default()
}

/// Everything that the sweeps of a result were shot with, each once, e.g. "f/2.8 and f/4".
fn all_of(each: impl Iterator<Item = String>) -> String {
    let mut each: Vec<String> = each.collect();
    each.dedup();
    match each.split_last() {
        None => "not stated".to_owned(),
        Some((only, [])) => only.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
    }
}

/// What differs in how the results were measured, one sentence each.
fn differences(document: &CompareDocument) -> Vec<String> {
    let measured: Vec<(&LensHead, &FocalDocument)> = document
        .lenses
        .iter()
        .filter_map(|compared| Some((&compared.lens, compared.result.as_ref()?)))
        .collect();
    let mut sentences = Vec::new();
    if let Some(asked) = document.asked_focal_mm {
        sentences.extend(document.away_from_asked(asked));
    }
    let mut told = |what: &str, value: &dyn Fn(&FocalDocument) -> String| {
        let values: Vec<(String, String)> = measured
            .iter()
            .map(|(lens, focal)| (lens.name(), value(focal)))
            .collect();
        if values.windows(2).any(|pair| pair[0].1 != pair[1].1) {
            let each: Vec<String> = values
                .iter()
                .map(|(name, value)| format!("{name}: {value}"))
                .collect();
            sentences.push(format!("{what} differs. {}.", each.join("; ")));
        }
    };
    told("Focal length", &|focal| {
        words::focal_length(focal.focal_length_mm)
    });
    told("Aperture", &|focal| {
        all_of(focal.f_numbers.iter().map(|n| words::f_number(*n)))
    });
    told("Correction in the camera", &|focal| {
        conditions_words(focal.result.conditions)
    });
    told("Reference", &|focal| match focal.relative_to {
        "infinity" => "infinity".to_owned(),
        _ => "the farthest frame, not infinity".to_owned(),
    });
    told("Source of the distances", &|focal| {
        focal.distance_source_words().to_owned()
    });
    told("Target distance", &|focal| {
        focal
            .target_distance_m
            .map_or_else(|| "not stated".to_owned(), words::metres)
    });
    told("Camera", &|focal| {
        let mut cameras = focal.cameras.clone();
        cameras.sort();
        all_of(cameras.iter().map(|name| isolated(name).into_owned()))
    });
    told("Algorithm", &|focal| {
        format!("version {}", focal.algorithm_version)
    });
    sentences
}
