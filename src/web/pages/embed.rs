//! The chart of a lens for a frame on another site: the only page that may be framed.

use axum::extract::{Path, State};
use axum::http::{HeaderValue, StatusCode, Uri, header};
use axum::response::{IntoResponse, Response};

use super::charts::{asked_axis, axis_for, lens_series};
use super::inline_chart::InlineChart;
use super::{ChartShelf, filters, html};
use crate::app::App;
use crate::sweep::Severity;
use crate::units::FOCAL_LENGTHS_MM;
use crate::web::WebError;
use crate::web::api::{self, LensDocument, Params, brief_verdict, conditions_words, verdict};
use crate::web::headers::FRAMED_CONTENT_SECURITY_POLICY;

/// Sides of the chart in high frames, px: wide ones and narrow ones.
const SIDES: [(u32, u32); 2] = [(640, 340), (340, 320)];
/// The same in low frames, where the chart takes what the words leave.
const LOW_SIDES: [(u32, u32); 2] = [(620, 200), (340, 150)];

/// What the address of a frame may ask for; the same names as on the page of the lens.
pub(super) const ASKED: [&str; 4] = ["focal_mm", "tolerance_pct", "axis", "conditions"];

#[derive(askama::Template)]
#[template(path = "pages/embed.html")]
struct EmbedPage {
    document: LensDocument,
    verdict: String,
    /// The same in a few words, for low frames.
    brief: String,
    conditions: String,
    /// That the focal length is not the one asked for, in words; `None` where it is.
    nearest: Option<String>,
    /// For high frames and for low ones.
    charts: Option<(InlineChart, InlineChart)>,
    /// What the warnings are about that stand beside the numbers.
    warnings: Vec<&'static str>,
    /// Address of the page of the lens with the same question.
    page: String,
}

/// `GET /embed/lens/{slug}`
pub(super) async fn lens(
    State(app): State<App>,
    State(shelf): State<ChartShelf>,
    uri: Uri,
    Path(slug): Path<String>,
    params: Params,
) -> Result<Response, WebError> {
    let tolerance_pct = params.tolerance_pct()?;
    let focal_mm = params.number("focal_mm", FOCAL_LENGTHS_MM, "mm")?;
    let axis = asked_axis(&params)?;
    let stored = api::stored_lens(&app, &slug, &uri).await?;
    let document = LensDocument::of(&app, stored, tolerance_pct).await?;
    let group = document.group_of(params.text("conditions"))?;
    let mut warnings: Vec<&'static str> = Vec::new();
    let mut nearest = None;
    let (conditions, charts, words) = match group {
        None => (String::new(), None, None),
        Some((key, results)) => {
            let results = api::asked_for(results, focal_mm)?;
            let asked = focal_mm.zip(results.first());
            nearest = asked.and_then(|(asked, focal)| focal.at_nearest_to(asked));
            let findings = results.iter().flat_map(|focal| &focal.result.findings);
            warnings.extend(
                findings
                    .filter(|finding| finding.severity == Severity::Warning)
                    .map(|finding| finding.code.title()),
            );
            warnings.sort_unstable();
            warnings.dedup();
            let series = lens_series(&results);
            let axis = axis_for(axis, &series);
            let drawn = async |sides| {
                let series = series.clone();
                InlineChart::sized(&shelf, series, tolerance_pct, axis, None, sides).await
            };
            let charts = (drawn(SIDES).await?, drawn(LOW_SIDES).await?);
            // One focal length stands for itself alone.
            let of = focal_mm.is_none().then_some(&document.lens);
            let words = verdict(&results, of).zip(brief_verdict(&results, of));
            (conditions_words(key), Some(charts), words)
        }
    };
    let question = params.with(&[]);
    let status = if document.withdrawn.is_empty() {
        StatusCode::OK
    } else {
        StatusCode::GONE
    };
    let (verdict, brief) = words.unwrap_or_else(|| {
        let state = if document.withdrawn.is_empty() {
            "Not measured yet.".to_owned()
        } else {
            format!(
                "Withdrawn: what was published was taken back. {}.",
                document.withdrawn.join("; ")
            )
        };
        (state.clone(), state)
    });
    let page = EmbedPage {
        page: if question.is_empty() {
            document.lens.url.clone()
        } else {
            format!("{}?{question}", document.lens.url)
        },
        verdict,
        brief,
        conditions,
        nearest,
        charts,
        warnings,
        document,
    };
    let policy = [(
        header::CONTENT_SECURITY_POLICY,
        HeaderValue::from_static(FRAMED_CONTENT_SECURITY_POLICY),
    )];
    Ok((status, policy, html(&page)?).into_response())
}
