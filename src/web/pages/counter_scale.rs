//! The counter-scale table of a lens as a page to print, with its twins.

use axum::extract::{Path, State};
use axum::http::Uri;
use axum::response::Response;

use super::form::{Fields, Form};
use super::frame::PICTURE_SIDES;
use super::lens::unknown;
use super::{PageFrame, Section, bounds, filters};
use crate::app::App;
use crate::report::{Place, words};
use crate::web::WebError;
use crate::web::api::{
    self, CounterScaleDocument, Params, ScaleQuestion, Steps, Twin, counter_scale_csv,
    counter_scale_of,
};
use crate::web::session::Viewer;

/// One row of the table: a place, and what every focal length has there.
struct ScaleRow {
    place: String,
    /// A factor, or why there is none.
    cells: Vec<Result<ScaleCell, &'static str>>,
}

/// What one focal length has at one place.
struct ScaleCell {
    factor: String,
    /// The distance, where the rows run along travel and it is known.
    distance: Option<String>,
}

#[derive(askama::Template)]
#[template(path = "pages/counter_scale.html")]
struct CounterScalePage {
    page: PageFrame,
    document: CounterScaleDocument,
    rows: Vec<ScaleRow>,
    form: Form,
    query: String,
}

impl CounterScalePage {
    /// The address of the page, without ending and question.
    fn address(&self) -> String {
        format!("/lenses/{}/counter-scale", self.document.lens.slug)
    }

    fn along_travel(&self) -> bool {
        matches!(self.document.steps, Steps::Travel { .. })
    }

    /// Whose framing is held, in words.
    fn held_words(&self) -> String {
        match (self.document.hold, self.document.hold_m) {
            ("tightest", _) => "at its tightest".to_owned(),
            ("distance", Some(m)) => {
                let held = words::distance_as_asked(m, self.document.held_in_feet);
                format!("at {held}")
            }
            ("distance", None) => "at infinity".to_owned(),
            _ if self.ends_before_infinity() => "of the farthest frame".to_owned(),
            _ => "at infinity".to_owned(),
        }
    }

    /// Whether one of the sweeps ended before infinity.
    fn ends_before_infinity(&self) -> bool {
        let mut tables = self.document.tables.iter();
        tables.any(|table| table.relative_to == "farthest_frame")
    }

    /// Whether something was noticed in one of the sweeps.
    fn has_findings(&self) -> bool {
        let mut tables = self.document.tables.iter();
        tables.any(|table| !table.findings.is_empty())
    }

    /// What was noticed, in few words for a sheet of paper: weights and titles, told together where focal lengths share them.
    fn noticed(&self) -> Vec<(String, String)> {
        let mut noticed: Vec<(String, String)> = Vec::new();
        for table in &self.document.tables {
            let findings = table.findings.iter();
            let codes: Vec<String> = findings
                .map(|finding| format!("{}: {}", finding.severity, finding.title()))
                .collect();
            let codes = codes.join(", ");
            match noticed.last_mut() {
                _ if codes.is_empty() => {}
                Some((at, last)) if *last == codes => *at = format!("{at}, {}", table.at()),
                _ => noticed.push((table.at(), codes)),
            }
        }
        noticed
    }

    /// Whether one of the factors would shrink the picture.
    fn uncovers_edges(&self) -> bool {
        let mut rows = self.document.tables.iter().flat_map(|table| &table.rows);
        rows.any(|row| row.scale < 1.0 - row.scale_u)
    }

    /// By how much perspective may make the factors wrong, in words.
    fn perspective_words(&self) -> Option<String> {
        bounds::perspective_of_scales(&self.document.tables)
    }

    /// Whether one of the distances is an estimate.
    fn is_estimated(&self) -> bool {
        let mut tables = self.document.tables.iter();
        tables.any(|table| table.distance_source == "blur")
    }

    /// The same table that holds the tightest framing.
    fn tightest(&self) -> String {
        self.form.usable().with(&[("hold_m", Some("tightest"))])
    }

    /// What was not measured, in words: "closer than …", or why there are no rows at all; focal lengths that share it are
    /// told together.
    fn limits(&self) -> Vec<(String, String)> {
        let mut limits: Vec<(String, String)> = Vec::new();
        for table in &self.document.tables {
            if table.limits.is_empty() {
                continue;
            }
            let limit = table.limits.join(", ");
            match limits.last_mut() {
                Some((at, last)) if *last == limit => *at = format!("{at}, {}", table.at()),
                _ => limits.push((table.at(), limit)),
            }
        }
        limits
    }
}

/// The fields of the form.
const FIELDS: Fields = &[
    ("hold_m", "Hold framing at"),
    ("step_m", "Step, m or ft"),
    ("far_m", "Up to, m or ft"),
    ("step_travel", "or step in travel"),
    ("focal_mm", "Focal length, mm"),
    ("conditions", "Measured with"),
];

/// `GET /lenses/{slug}/counter-scale`
pub(super) async fn page(
    app: State<App>,
    uri: Uri,
    slug: Path<String>,
    viewer: Viewer,
    params: Params,
) -> Result<Response, WebError> {
    answer(app, uri, slug, viewer, params, None).await
}

/// `GET /lenses/{slug}/counter-scale.json`
pub(super) async fn json(
    app: State<App>,
    uri: Uri,
    slug: Path<String>,
    viewer: Viewer,
    params: Params,
) -> Result<Response, WebError> {
    answer(app, uri, slug, viewer, params, Some(Twin::Json)).await
}

/// `GET /lenses/{slug}/counter-scale.csv`
pub(super) async fn csv(
    app: State<App>,
    uri: Uri,
    slug: Path<String>,
    viewer: Viewer,
    params: Params,
) -> Result<Response, WebError> {
    answer(app, uri, slug, viewer, params, Some(Twin::Csv)).await
}

async fn answer(
    State(app): State<App>,
    uri: Uri,
    Path(slug): Path<String>,
    viewer: Viewer,
    params: Params,
    twin: Option<Twin>,
) -> Result<Response, WebError> {
    let mut form = Form::new(params, FIELDS, &[]);
    let document = loop {
        let question = match twin {
            None => form.ask(ScaleQuestion::read)?,
            Some(_) => form.usable().asked(ScaleQuestion::read)?,
        };
        match counter_scale_of(&app, &slug, &uri, &question).await {
            Ok(document) => break document,
            Err(WebError::NotFound(_)) if twin.is_none() => {
                return unknown(&app, &slug, &viewer).await;
            }
            Err(error) if twin.is_none() => form.refuse(error)?,
            Err(error) => return Err(error),
        }
    };
    match twin {
        Some(Twin::Json) => return api::json(&document),
        Some(Twin::Csv) => return Ok(api::csv(counter_scale_csv(&document)?)),
        None => {}
    }
    let title = format!("{}, counter-scale", document.lens.name());
    let (width, height) = PICTURE_SIDES;
    let of_lens = format!(
        "/charts/lens/{}.png?width={width}&height={height}&conditions={}",
        document.lens.slug, document.conditions
    );
    let curves = format!(
        "Shift of the picture scale of the {} against focus distance",
        document.lens.name()
    );
    let page = CounterScalePage {
        page: PageFrame::new(title, Section::Lenses, &viewer)
            .described(format!(
                "Factors that hold the framing of the {} while focus is pulled.",
                document.lens.name()
            ))
            .at(
                &app.config.public_url(),
                &format!("/lenses/{}/counter-scale", document.lens.slug),
            )
            .pictured_by((!document.tables.is_empty()).then_some((of_lens, curves))),
        rows: rows(&document),
        query: form.usable().with(&[]),
        document,
        form,
    };
    page.form.answer(&page)
}

/// The rows of the table, closest focus first.
fn rows(document: &CounterScaleDocument) -> Vec<ScaleRow> {
    document
        .places
        .iter()
        .map(|place| ScaleRow {
            place: place_words(*place, document),
            cells: document
                .tables
                .iter()
                .map(|table| {
                    let travel = matches!(place, Place::Travel(_));
                    let Some(row) = table.row_at(*place) else {
                        let unknown = !travel && table.distance_source == "none";
                        return Err(if unknown {
                            "distance unknown"
                        } else {
                            "not measured"
                        });
                    };
                    let known = row.setting.focus_dioptres.is_some();
                    Ok(ScaleCell {
                        factor: row.words(),
                        distance: (travel && known).then(|| row.setting.words()),
                    })
                })
                .collect(),
        })
        .filter(|row| row.cells.iter().any(Result::is_ok))
        .collect()
}

/// A place in words, in the unit that the steps were asked for in first. The closest focus is a limit, and named like one.
fn place_words(place: Place, document: &CounterScaleDocument) -> String {
    let in_feet = matches!(document.steps, Steps::Distance { in_feet: true, .. });
    let m = match place {
        Place::Travel(travel) => {
            let figures = format!("{travel:.3}");
            let figures = figures.trim_end_matches('0').trim_end_matches('.');
            return figures.to_owned();
        }
        Place::Dioptres(at) if at < 1e-5 => return "infinity".to_owned(),
        Place::Dioptres(at) => 1.0 / at,
    };
    let mut ends = document
        .tables
        .iter()
        .filter_map(|table| table.closest_focus_m);
    if in_feet {
        format!("{} ({})", words::feet_and_inches(m), words::metres(m))
    } else if ends.any(|end| (end - m).abs() < 1e-6) {
        words::distance_from(m)
    } else {
        words::distance(m)
    }
}
