//! A sweep to take away: its chart at any size, its numbers, and all of it as one archive.

use axum::Json;
use axum::body::Bytes;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};

use super::archive::{self, Entry};
use super::{Seen, facts, seen_sweep};
use crate::app::App;
use crate::charts::Series;
use crate::report::{SweepDocument, frames_csv, words};
use crate::store::SweepId;
use crate::sweep::{DEFAULT_TOLERANCE_PCT, SweepMeasurement};
use crate::units::FNumber;
use crate::web::api::Params;
use crate::web::pages::{ChartShelf, Drawing, Noted, TAKEN_SIDES, THEMES, Wanted, notes};
use crate::web::place::Place;
use crate::web::session::Viewer;
use crate::web::{Web, WebError};

/// When somebody who found no place for an archive may try again, s.
const TRY_AGAIN_S: u64 = 20;
/// The measurement that this viewer may see.
fn measurement(seen: &Seen) -> Result<&SweepMeasurement, WebError> {
    let result = seen.sweep.result.as_ref();
    result
        .map(|result| &result.measurement)
        .ok_or_else(|| WebError::no_such("result of this sweep yet"))
}

fn series(measurement: &SweepMeasurement) -> Result<Vec<Series>, WebError> {
    let summary = measurement.summary.as_ref();
    let summary = summary.ok_or_else(|| WebError::no_such("chart of a sweep without a result"))?;
    let label = measurement.focal_length.map_or_else(
        || measurement.name.clone(),
        |focal| words::focal_length(focal.mm()),
    );
    Ok(vec![Series {
        label,
        curve: summary.curve.clone(),
    }])
}

/// What stands under the chart of a sweep; a draft has no address.
fn noted(seen: &Seen, measurement: &SweepMeasurement, site: &str) -> Vec<String> {
    let sweep = &seen.sweep;
    let summary = measurement.summary.as_ref();
    let line = Noted {
        label: measurement.name.clone(),
        conditions: sweep.conditions.key(),
        f_number: measurement.f_number.map(FNumber::n),
        against_farthest: summary.is_some_and(|summary| summary.relative_to_farthest),
        distances: measurement.distance_source,
    };
    let address = format!("{site}/sweeps/{}", sweep.id);
    let public = seen.public_version.is_some();
    notes(&[line], public.then_some(address.as_str()))
}

/// How long others may keep an answer: not at all what only its reviewer sees.
fn keeping(seen: &Seen) -> (header::HeaderName, &'static str) {
    let keep = if seen.is_own {
        "private, no-store"
    } else {
        "public, no-cache"
    };
    (header::CACHE_CONTROL, keep)
}

/// `GET /sweeps/{id}/chart.svg`
pub(in crate::web) async fn chart_svg(
    app: State<App>,
    shelf: State<ChartShelf>,
    viewer: Viewer,
    place: Place<SweepId>,
    params: Params,
) -> Result<Response, WebError> {
    chart(app, shelf, viewer, place, params, Drawing::Svg).await
}

/// `GET /sweeps/{id}/chart.png`
pub(in crate::web) async fn chart_png(
    app: State<App>,
    shelf: State<ChartShelf>,
    viewer: Viewer,
    place: Place<SweepId>,
    params: Params,
) -> Result<Response, WebError> {
    chart(app, shelf, viewer, place, params, Drawing::Png).await
}

async fn chart(
    State(app): State<App>,
    State(shelf): State<ChartShelf>,
    viewer: Viewer,
    Place(id): Place<SweepId>,
    params: Params,
    drawing: Drawing,
) -> Result<Response, WebError> {
    let seen = seen_sweep(&app.store, &viewer, id).await?;
    let series = series(measurement(&seen)?)?;
    let title = facts::heading(&seen.sweep);
    let noted = noted(&seen, measurement(&seen)?, &app.config.public_url());
    let chart = Wanted::read(&params)?.chart(title, noted, series, params.tolerance_pct()?);
    let drawn = shelf.draw(chart, drawing).await?;
    let kind = (header::CONTENT_TYPE, drawing.media_type());
    Ok(([kind, keeping(&seen)], drawn).into_response())
}

/// `GET /sweeps/{id}/result.json`
pub(in crate::web) async fn json(
    State(app): State<App>,
    viewer: Viewer,
    Place(id): Place<SweepId>,
) -> Result<Response, WebError> {
    let seen = seen_sweep(&app.store, &viewer, id).await?;
    let document = SweepDocument::new(measurement(&seen)?, DEFAULT_TOLERANCE_PCT);
    Ok(([keeping(&seen)], Json(document)).into_response())
}

/// `GET /sweeps/{id}/result.csv`
pub(in crate::web) async fn csv(
    State(app): State<App>,
    viewer: Viewer,
    Place(id): Place<SweepId>,
) -> Result<Response, WebError> {
    let seen = seen_sweep(&app.store, &viewer, id).await?;
    let document = SweepDocument::new(measurement(&seen)?, DEFAULT_TOLERANCE_PCT);
    let rows = frames_csv(&[document], &[]).map_err(WebError::inside)?;
    let kind = (
        header::CONTENT_TYPE,
        "text/csv; charset=utf-8; header=present",
    );
    Ok(([kind, keeping(&seen)], rows).into_response())
}

/// `GET /sweeps/{id}/everything.zip`: numbers, sentence and charts; for those who work on the sweep also the files as they
/// came. Sent as it is made, so that its size costs no memory.
pub(in crate::web) async fn everything(
    State(web): State<Web>,
    viewer: Viewer,
    Place(id): Place<SweepId>,
) -> Result<Response, WebError> {
    let seen = seen_sweep(&web.app.store, &viewer, id).await?;
    let measurement = measurement(&seen)?;
    let busy = WebError::Busy {
        retry_after_s: TRY_AGAIN_S,
    };
    let place = web.exports.clone().try_acquire_owned().map_err(|_| busy)?;
    let document = SweepDocument::new(measurement, DEFAULT_TOLERANCE_PCT);
    let json = serde_json::to_vec_pretty(&document).map_err(WebError::inside)?;
    let rows = frames_csv(&[document], &[]).map_err(WebError::inside)?;
    let mut entries = vec![
        Entry::made("result.json", json.into()),
        Entry::made("frames.csv", rows.into()),
        Entry::made("about.txt", about(&seen, &web.app.config.public_url())),
    ];
    if measurement.summary.is_some() {
        entries.extend(charts(&seen, measurement, &web.app.config.public_url())?);
    }
    if seen.is_own {
        entries.extend(archive::originals(&seen.sweep.files));
    }
    let name = format!("{}-sweep-{id}.zip", seen.sweep.lens.slug);
    let body = archive::stream(entries, web.app.originals.clone(), place);
    let about = [
        (header::CONTENT_TYPE, "application/zip".to_owned()),
        (
            header::CONTENT_DISPOSITION,
            format!("attachment; filename=\"{name}\""),
        ),
    ];
    Ok((about, [keeping(&seen)], body).into_response())
}

/// The charts of the archive: every size and theme.
fn charts(seen: &Seen, measurement: &SweepMeasurement, site: &str) -> Result<Vec<Entry>, WebError> {
    let (title, series) = (facts::heading(&seen.sweep), series(measurement)?);
    let noted = noted(seen, measurement, site);
    let mut entries = Vec::new();
    for sides in TAKEN_SIDES {
        for (word, theme) in THEMES {
            for (drawing, ending) in [(Drawing::Svg, "svg"), (Drawing::Png, "png")] {
                let chart = Wanted::sized(theme, sides).chart(
                    title.clone(),
                    noted.clone(),
                    series.clone(),
                    DEFAULT_TOLERANCE_PCT,
                );
                let name = format!("charts/{}x{}-{word}.{ending}", sides.0, sides.1);
                entries.push(archive::chart(name, chart, drawing));
            }
        }
    }
    Ok(entries)
}

/// What the archive holds, and the sentence to read out.
fn about(seen: &Seen, site: &str) -> Bytes {
    let sweep = &seen.sweep;
    let measurement = sweep.result.as_ref().map(|result| &result.measurement);
    let sentence = measurement.and_then(facts::verdict);
    let state = match seen.public_version {
        Some(version) if !seen.is_own => format!("version {version}, published"),
        Some(version) => format!("the newest result; version {version} is public"),
        None => "a draft that is not published".to_owned(),
    };
    let mut text = format!(
        "{}\n{site}/sweeps/{}: {state}\n\n",
        facts::heading(sweep),
        sweep.id
    );
    text.push_str(sentence.as_deref().unwrap_or("There is no result."));
    text.push_str("\n\n");
    for (term, words) in facts::facts(sweep) {
        text.push_str(&format!("{term}: {words}\n"));
    }
    text.push_str(
        "\nresult.json has all numbers, frames.csv one row a frame, charts/ the chart in three sizes, light, dark and clear.\n",
    );
    text.into()
}
