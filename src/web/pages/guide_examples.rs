//! The examples of the guide: questions about a lens of this site, with what the site answers just now.

use serde::Serialize;

use crate::app::App;
use crate::sweep::DEFAULT_TOLERANCE_PCT;
use crate::web::WebError;
use crate::web::api::{
    LensDocument, Params, RankingQuestion, ScaleQuestion, counter_scale_csv, counter_scale_of,
    lens_csv, pulls, rank,
};

/// Lines of a table that are shown.
const LINES: usize = 4;

/// Stands for a lens where nothing is published.
const ANY_LENS: (&str, &str, f64) = ("SLUG", "MOUNT", 50.0);

/// A question and its answer.
pub(super) struct Example {
    /// Path and query.
    pub(super) address: String,
    /// What comes back, from its beginning; `None` where there is nothing to ask for.
    pub(super) answer: Option<String>,
}

/// All examples are about one lens.
pub(super) struct Examples {
    /// Whether there is one.
    pub(super) found: bool,
    pub(super) slug: String,
    pub(super) focal_mm: f64,
    pub(super) ranking: Example,
    pub(super) lens: Example,
    pub(super) pull: Example,
    pub(super) counter_scale: Example,
}

impl Examples {
    /// About the first lens of the ranking.
    pub(super) async fn of(app: &App) -> Result<Self, WebError> {
        let mut question = RankingQuestion::read(&Params::default())?;
        question.limit = 1;
        let rows = rank(app, &question).await?.lenses;
        let first = rows.into_iter().find(|row| row.measured);
        let found = first.is_some();
        let any = || (ANY_LENS.0.to_owned(), ANY_LENS.1.to_owned(), ANY_LENS.2);
        let (slug, mount, focal_mm) = first.map_or_else(any, |row| {
            let focal_mm = row.worst_focal_length_mm.unwrap_or(ANY_LENS.2);
            (row.lens.slug, row.lens.mount, focal_mm)
        });
        let focal = focal_mm.to_string();
        Ok(Self {
            found,
            ranking: ranking(app, &mount, found).await?,
            lens: lens(app, &slug, found).await?,
            pull: pull(app, &slug, &focal, found).await?,
            counter_scale: counter_scale(app, &slug, &focal, found).await?,
            slug,
            focal_mm,
        })
    }
}

async fn ranking(app: &App, mount: &str, found: bool) -> Result<Example, WebError> {
    let params = Params::of_one("mount", mount)
        .and("tolerance_pct", "1.5")
        .and("holds_from_m", "1")
        .and("limit", "1");
    let answer = match found {
        true => Some(pretty(
            &rank(app, &params.asked(RankingQuestion::read)?).await?,
        )?),
        false => None,
    };
    Ok(Example {
        address: format!("/api/v1/lenses?{}", params.with(&[])),
        answer,
    })
}

async fn lens(app: &App, slug: &str, found: bool) -> Result<Example, WebError> {
    let address = format!("/lenses/{slug}.csv");
    let answer = match found {
        true => {
            let here = address.parse().map_err(WebError::inside)?;
            let record = LensDocument::published(app, slug, &here, DEFAULT_TOLERANCE_PCT).await?;
            Some(first_lines(&lens_csv(&record)?))
        }
        false => None,
    };
    Ok(Example { address, answer })
}

async fn pull(app: &App, slug: &str, focal: &str, found: bool) -> Result<Example, WebError> {
    let params = Params::of_one("focal_mm", focal)
        .and("from_m", "3")
        .and("to_m", "1")
        .and("picture_width_px", "3840");
    let address = format!("/api/v1/lenses/{slug}/pull?{}", params.with(&[]));
    let answer = match found {
        true => {
            let here = address.parse().map_err(WebError::inside)?;
            Some(pretty(&pulls(app, slug, &here, &params).await?)?)
        }
        false => None,
    };
    Ok(Example { address, answer })
}

async fn counter_scale(
    app: &App,
    slug: &str,
    focal: &str,
    found: bool,
) -> Result<Example, WebError> {
    let params = Params::of_one("focal_mm", focal)
        .and("hold_m", "3")
        .and("step_m", "1 ft")
        .and("far_m", "30 ft");
    let address = format!("/lenses/{slug}/counter-scale.csv?{}", params.with(&[]));
    let answer = match found {
        true => {
            let here = address.parse().map_err(WebError::inside)?;
            let question = params.asked(ScaleQuestion::read)?;
            let document = counter_scale_of(app, slug, &here, &question).await?;
            Some(first_lines(&counter_scale_csv(&document)?))
        }
        false => None,
    };
    Ok(Example { address, answer })
}

fn pretty(document: &impl Serialize) -> Result<String, WebError> {
    serde_json::to_string_pretty(document).map_err(WebError::inside)
}

fn first_lines(table: &str) -> String {
    let lines: Vec<&str> = table.lines().take(LINES).collect();
    lines.join("\n")
}
