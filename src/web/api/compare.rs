//! Two to four lenses side by side, at their nearest focal lengths.

use serde::Serialize;
use utoipa::ToSchema;

use super::documents::{FocalDocument, LICENCE, LensHead, conditions_words};
use super::pull::{PullDocument, PullQuestion};
use super::query::{FOCAL_LENGTHS, Params};
use super::ranking::{ConditionsDocument, conditions_asked};
use super::record::{lens_by_any_name, unless_withdrawn};
use crate::app::App;
use crate::report::words;
use crate::store::{ConditionsKey, FocalResult, LensPage};
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
    /// Focal length that the results are nearest to, mm.
    pub(in crate::web) focal_mm: Option<f64>,
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
    let conditions_choices = choices_of(&pages);
    if let Some(asked) = question.conditions
        && !conditions_choices.iter().any(|c| c.code == asked.code())
    {
        return Err(WebError::field(
            "conditions",
            "nothing is published of these lenses under these conditions",
        ));
    }
    let conditions = question.conditions.or_else(|| shared_conditions(&pages));
    let choices: Vec<Vec<FocalResult>> = pages
        .iter()
        .map(|page| under(&page.results, conditions))
        .collect();
    let focal_mm = question.focal_mm.or_else(|| common_focal_length(&choices));
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
        differences: differences(&lenses),
        lenses,
        focal_mm,
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

/// Every set of conditions that one of the lenses has results under, once.
fn conditions_of(pages: &[LensPage]) -> Vec<ConditionsKey> {
    let mut keys: Vec<ConditionsKey> = pages
        .iter()
        .flat_map(|page| page.results.iter().map(|result| result.conditions))
        .collect();
    keys.sort_by_key(|key| key.code());
    keys.dedup();
    keys
}

/// The same with how many lenses have them, that of most lenses first.
fn choices_of(pages: &[LensPage]) -> Vec<ConditionsDocument> {
    let mut keys = conditions_of(pages);
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

/// The conditions under which most of the lenses have results; of several, those with the most results.
fn shared_conditions(pages: &[LensPage]) -> Option<ConditionsKey> {
    conditions_of(pages).into_iter().max_by_key(|key| {
        let having = |page: &&LensPage| page.results.iter().any(|r| r.conditions == *key);
        let results = pages
            .iter()
            .flat_map(|page| &page.results)
            .filter(|result| result.conditions == *key)
            .count();
        (pages.iter().filter(having).count(), results)
    })
}

/// The results under these conditions; those under other conditions where there are none.
fn under(results: &[FocalResult], conditions: Option<ConditionsKey>) -> Vec<FocalResult> {
    let alike: Vec<FocalResult> = results
        .iter()
        .filter(|result| Some(result.conditions) == conditions)
        .cloned()
        .collect();
    if !alike.is_empty() {
        return alike;
    }
    let first = results.first().map(|result| result.conditions);
    results
        .iter()
        .filter(|result| Some(result.conditions) == first)
        .cloned()
        .collect()
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
fn differences(lenses: &[ComparedDocument]) -> Vec<String> {
    let measured: Vec<(&LensHead, &FocalDocument)> = lenses
        .iter()
        .filter_map(|compared| Some((&compared.lens, compared.result.as_ref()?)))
        .collect();
    let mut sentences = Vec::new();
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
