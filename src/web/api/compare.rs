//! Two to four lenses side by side, at their nearest focal lengths.

use serde::Serialize;
use utoipa::ToSchema;

use super::documents::{FocalDocument, LICENCE, LensHead, conditions_words};
use super::near::not_near;
use super::pull::{PullDocument, PullQuestion};
use super::query::{FOCAL_LENGTHS, Params};
use super::ranking::{ConditionsDocument, conditions_asked};
use super::record::conditions_in_use;
use super::stored::{lens_by_any_name, unless_withdrawn};
use crate::app::App;
use crate::report::words;
use crate::store::{ConditionsKey, FocalResult, LensPage, NEAR_RATIO};
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
            if !slug.is_empty() && !lenses.iter().any(|known| known == slug) {
                lenses.push(slug.to_owned());
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
            focal_mm: params.number("focal_mm", FOCAL_LENGTHS, "mm")?,
            tolerance_pct: params.tolerance_pct()?,
            pull: PullQuestion::read(params)?,
            conditions: conditions_asked(params)?,
        })
    }

    /// Reads the question and refuses a comparison of fewer than two lenses.
    pub(in crate::web) fn read_at_least_two(params: &Params) -> Result<Self, WebError> {
        let question = Self::read(params)?;
        if question.lenses.len() < 2 {
            return Err(WebError::field(
                "lens",
                format!("give two to {MOST_LENSES_WORD} lenses, e.g. lens=a&lens=b"),
            ));
        }
        Ok(question)
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
    /// Focal length that the results are nearest to, mm: one that all lenses were measured at where there is one, near the one
    /// asked for.
    pub(in crate::web) focal_mm: Option<f64>,
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
        return Err(WebError::field(
            "conditions",
            "nothing is published of these lenses under these conditions",
        ));
    }
    let conditions = question
        .conditions
        .or_else(|| shared_conditions(&pages, &in_use));
    let choices: Vec<Vec<FocalResult>> = pages
        .iter()
        .map(|page| under(&page.results, conditions, &in_use))
        .collect();
    let focal_mm = match question.focal_mm {
        Some(asked) => Some(near_asked(&choices, asked)?),
        None => common_focal_length(&choices),
    };
    let lenses: Vec<ComparedDocument> = pages
        .iter()
        .zip(choices)
        .map(|(page, choices)| {
            let focal_lengths_mm = choices.iter().map(|c| c.focal_length_mm).collect();
            let result = focal_mm
                .and_then(|wanted| nearest(&choices, wanted))
                .map(|result| FocalDocument::new(result.clone(), question.tolerance_pct));
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
    Ok(CompareDocument {
        differences: differences(&lenses, question.focal_mm),
        lenses,
        focal_mm,
        asked_focal_mm: question.focal_mm,
        conditions: conditions.map(ConditionsKey::code),
        conditions_choices,
        tolerance_pct: question.tolerance_pct,
        licence: LICENCE,
    })
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

/// How far apart two focal lengths are, as people see it: by their ratio.
fn apart(a_mm: f64, b_mm: f64) -> f64 {
    (a_mm / b_mm).ln().abs()
}

fn nearest(choices: &[FocalResult], wanted_mm: f64) -> Option<&FocalResult> {
    choices.iter().min_by(|a, b| {
        apart(a.focal_length_mm, wanted_mm).total_cmp(&apart(b.focal_length_mm, wanted_mm))
    })
}

/// Largest ratio between focal lengths that are one: cameras state marks to 5 % (common practice, no source).
const SAME_RATIO: f64 = 1.05;

/// The focal length to compare at where one is asked for: the one nearest to it that every lens was measured at, within
/// [`NEAR_RATIO`] of it, else the one asked for.
///
/// # Errors
/// None of the lenses was measured near it; the answer lists what was.
fn near_asked(choices: &[Vec<FocalResult>], asked_mm: f64) -> Result<f64, WebError> {
    let is_near =
        |result: &&FocalResult| apart(result.focal_length_mm, asked_mm) <= NEAR_RATIO.ln();
    let measured = || choices.iter().filter(|results| !results.is_empty());
    let mut near: Vec<f64> = measured()
        .flatten()
        .filter(is_near)
        .map(|result| result.focal_length_mm)
        .collect();
    if near.is_empty() && measured().next().is_some() {
        let all = measured().flatten().map(|result| result.focal_length_mm);
        return Err(not_near(asked_mm, all));
    }
    near.sort_by(|a, b| apart(*a, asked_mm).total_cmp(&apart(*b, asked_mm)));
    let has = |results: &Vec<FocalResult>, focal: f64| {
        let nearest = nearest(results, focal);
        nearest.is_some_and(|r| apart(r.focal_length_mm, focal) <= SAME_RATIO.ln())
    };
    let shared = near
        .into_iter()
        .find(|focal| measured().all(|results| has(results, *focal)));
    Ok(shared.unwrap_or(asked_mm))
}

/// The measured focal length that all lenses come nearest to; of several, the longest.
fn common_focal_length(choices: &[Vec<FocalResult>]) -> Option<f64> {
    let cost = |wanted: f64| -> f64 {
        choices
            .iter()
            .filter_map(|results| nearest(results, wanted))
            .map(|result| apart(result.focal_length_mm, wanted))
            .sum()
    };
    choices
        .iter()
        .flatten()
        .map(|result| result.focal_length_mm)
        .min_by(|a, b| {
            let rounded = |value: f64| (cost(value) * 1e6).round();
            rounded(*a)
                .total_cmp(&rounded(*b))
                .then_with(|| b.total_cmp(a))
        })
}

/// What differs in how the results were measured, one sentence each.
fn differences(lenses: &[ComparedDocument], asked_mm: Option<f64>) -> Vec<String> {
    let measured: Vec<(&LensHead, &FocalDocument)> = lenses
        .iter()
        .filter_map(|compared| Some((&compared.lens, compared.result.as_ref()?)))
        .collect();
    let mut sentences = Vec::new();
    if let Some(asked) = asked_mm {
        let off = measured
            .iter()
            .filter_map(|(lens, focal)| Some((lens, focal.at_nearest_to(asked)?)));
        let each: Vec<String> = off
            .map(|(lens, words)| format!("{}: {words}", lens.name()))
            .collect();
        if !each.is_empty() {
            sentences.push(format!(
                "Not measured at {}. {}.",
                words::focal_length(asked),
                each.join("; ")
            ));
        }
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
        focal
            .f_number
            .map_or_else(|| "not stated".to_owned(), words::f_number)
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
        let camera = focal.camera.as_deref();
        camera.unwrap_or("not stated").to_owned()
    });
    told("Algorithm", &|focal| {
        format!("version {}", focal.algorithm_version)
    });
    sentences
}
