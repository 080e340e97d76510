//! How the results of a lens were measured: what all focal lengths share is said once, the rest in a table.

use super::date_of;
use crate::store::isolated;
use crate::web::api::FocalDocument;

/// How some results were measured.
pub(super) struct Measured {
    /// What they all share: a term and its words.
    pub(super) shared: Vec<(&'static str, String)>,
    /// The terms in which they differ.
    pub(super) differing: Vec<&'static str>,
    /// One row a result.
    pub(super) rows: Vec<Row>,
}

/// How one result was measured, as far as it differs from others.
pub(super) struct Row {
    /// Focal length in words.
    pub(super) at: String,
    /// Each differing term with its words.
    pub(super) cells: Vec<(&'static str, String)>,
    /// Keys of the sweeps.
    pub(super) sweeps: Vec<i64>,
    /// Keys of sweeps that hold the same pictures and are not counted.
    pub(super) same_pictures: Vec<i64>,
    /// Keys of sweeps that cover less of the focus range and are not averaged.
    pub(super) partial: Vec<i64>,
}

impl Measured {
    /// How these results were measured.
    pub(super) fn new(results: &[FocalDocument]) -> Self {
        let facts: Vec<[(&'static str, String); 8]> = results.iter().map(facts).collect();
        let is_shared = |index: usize| {
            facts
                .windows(2)
                .all(|pair| pair[0][index] == pair[1][index])
        };
        let (mut shared, mut differing) = (Vec::new(), Vec::new());
        for (index, (term, words)) in facts.iter().flatten().take(8).cloned().enumerate() {
            if is_shared(index) {
                shared.push((term, words));
            } else {
                differing.push(term);
            }
        }
        let rows = results
            .iter()
            .zip(facts)
            .map(|(focal, facts)| Row {
                at: focal.at(),
                cells: facts
                    .into_iter()
                    .filter(|(term, _)| differing.contains(term))
                    .collect(),
                sweeps: focal.sweeps.clone(),
                same_pictures: focal.same_pictures.clone(),
                partial: focal.partial.clone(),
            })
            .collect();
        Self {
            shared,
            differing,
            rows,
        }
    }
}

/// What is to say of how one result was measured.
fn facts(focal: &FocalDocument) -> [(&'static str, String); 8] {
    let mut taken: Vec<&str> = focal.captured_at.iter().map(|at| date_of(at)).collect();
    taken.dedup();
    let said = |words: Vec<&str>| match words.is_empty() {
        true => "not stated".to_owned(),
        false => words
            .iter()
            .map(|name| isolated(name))
            .collect::<Vec<_>>()
            .join(", "),
    };
    [
        (
            "Camera",
            said(focal.cameras.iter().map(String::as_str).collect()),
        ),
        ("Aperture", focal.aperture_words()),
        ("Targets at", focal.target_words()),
        ("Focused from", focal.closest_words()),
        ("Distances", focal.distance_source_words().to_owned()),
        ("Taken", said(taken)),
        (
            "By",
            said(focal.reviewers.iter().map(String::as_str).collect()),
        ),
        ("Algorithm", format!("version {}", focal.algorithm_version)),
    ]
}
