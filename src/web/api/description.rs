//! `GET /api/v1/openapi.json`: the routes as OpenAPI 3.1, made from the code of the read API and the list of the reviewers' routes.

use axum::extract::State;
use axum::response::Response;
use serde_json::{Value, json};
use utoipa::OpenApi;

use super::answer as answers;
use super::counter_scale::__path_counter_scale;
use super::published::{__path_sweep, __path_sweep_version};
use super::pull::PICTURE_WIDTHS;
use super::pulls::__path_pull;
use super::query::LONGEST_TEXT;
use super::ranking::{MOST_ROWS, SORTS};
use super::scale_question::STEPS_TRAVEL;
use super::v1::{__path_compared, __path_curves, __path_lens, __path_lenses};
use super::{MOST_LENSES, reviewing};
use crate::app::App;
use crate::store::{ConditionsKey, Kind, Switch};
use crate::units::{FOCAL_LENGTHS_MM, FOCUS_DISTANCES_M, TOLERANCES_PCT};
use crate::web::WebError;

/// The read API.
#[derive(OpenApi)]
#[openapi(
    info(
        title = "Breathmark",
        description = "Measured lens breathing. Units are in the names; `u` fields are standard uncertainties (k = 1); unknown is null. Parameters that are not known are passed over; blank ones count as not given. A number may bring the unit that its name ends in, and a decimal comma.",
        license(name = "CC BY 4.0", url = "https://creativecommons.org/licenses/by/4.0/")
    ),
    paths(lenses, lens, curves, pull, counter_scale, compared, sweep, sweep_version),
    components(schemas(crate::web::inputs::LensInput, crate::web::inputs::ConditionsInput)),
    tags(
        (name = "read", description = "Open to all, without signing in and from any site"),
        (name = "review", description = "For reviewers, with a token")
    )
)]
struct ReadApi;

/// `GET /api/v1/openapi.json`
pub(super) async fn answer(State(app): State<App>) -> Result<Response, WebError> {
    answers::json(&description(&app.config.public_url())?)
}

fn description(site: &str) -> Result<Value, WebError> {
    let mut description = serde_json::to_value(ReadApi::openapi()).map_err(WebError::inside)?;
    description["servers"] = json!([{ "url": site }]);
    description["components"]["schemas"]["Problem"] = problem();
    description["components"]["securitySchemes"] = json!({
        "token": { "type": "http", "scheme": "bearer", "description": "Made on the account page or with breathmark token add" },
    });
    let paths = description["paths"].as_object_mut();
    for (path, item) in paths.into_iter().flatten() {
        if let Some(operation) = item.get_mut("get") {
            complete(path, operation);
        }
    }
    for (path, method, operation) in reviewing::operations() {
        description["paths"][path][method] = operation;
    }
    Ok(description)
}

/// Adds what holds for every route of the read API: ranges of the parameters, answers that the layers give.
fn complete(path: &str, operation: &mut Value) {
    for parameter in operation["parameters"].as_array_mut().into_iter().flatten() {
        let schema = parameter["name"].as_str().and_then(allowed);
        if let Some(schema) = schema {
            parameter["schema"] = schema;
        }
        // Blank counts as not given: forms send every field that they have.
        if parameter["in"] == "query" && parameter["required"] != true {
            parameter["allowEmptyValue"] = json!(true);
        }
    }
    let answers = &mut operation["responses"];
    if path.contains("{slug}") {
        answers["301"] =
            json!({ "description": "The lens was merged into another one; Location leads there" });
    }
    answers["304"] = json!({ "description": "The copy that If-None-Match names is still right" });
    answers["400"] = refusal("The query can't be read");
    answers["429"] = refusal("Too many reads from one address in a minute; see Retry-After");
    for status in ["404", "410", "422"] {
        if let Some(words) = answers[status]["description"].as_str() {
            answers[status] = refusal(words);
        }
    }
}

/// A refusal, which is a problem document.
pub(super) fn refusal(words: &str) -> Value {
    json!({
        "description": words,
        "content": { "application/problem+json": { "schema": { "$ref": "#/components/schemas/Problem" } } },
    })
}

/// What a parameter may be, by its name, which means the same everywhere; `None` for any text.
fn allowed(name: &str) -> Option<Value> {
    let number = |range: &std::ops::RangeInclusive<f64>| json!({ "type": "number", "minimum": range.start(), "maximum": range.end() });
    let words = |words: &[&str]| json!({ "type": "string", "enum": words });
    Some(match name {
        "slug" => slug(),
        "lens" => {
            json!({ "type": "array", "items": slug(), "minItems": 2, "maxItems": MOST_LENSES, "uniqueItems": true })
        }
        "id" => json!({ "type": "integer", "format": "int64", "minimum": 1 }),
        "q" | "mount" => json!({ "type": "string", "maxLength": LONGEST_TEXT }),
        "kind" => words(&Kind::ALL.map(Kind::code)),
        "focal_mm" | "min_focal_mm" | "max_focal_mm" => number(&FOCAL_LENGTHS_MM),
        "tolerance_pct" => number(&TOLERANCES_PCT),
        "holds_from_m" => number(&FOCUS_DISTANCES_M),
        "step_travel" => number(&STEPS_TRAVEL),
        "conditions" => json!({ "type": "string", "enum": conditions() }),
        "direction" => words(&["tighter", "wider", "none"]),
        "sort" => words(&SORTS.map(|(word, _)| word)),
        "order" => words(&["asc", "desc"]),
        "limit" => json!({ "type": "integer", "minimum": 1, "maximum": MOST_ROWS }),
        "picture_width_px" => {
            json!({ "type": "integer", "minimum": PICTURE_WIDTHS.start(), "maximum": PICTURE_WIDTHS.end() })
        }
        "from_m" | "to_m" => {
            json!({ "type": "string", "pattern": DISTANCE, "examples": ["3", "10 ft", "inf"] })
        }
        "hold_m" => {
            json!({ "type": "string", "pattern": HELD, "examples": ["3", "10 ft", "inf", "tightest"] })
        }
        "step_m" => {
            json!({ "type": "string", "pattern": STEP, "examples": ["0.25", "1 ft"] })
        }
        "far_m" => json!({ "type": "string", "pattern": FAR, "examples": ["10", "30 ft"] }),
        _ => return None,
    })
}

/// Steps that are understood, and some more are: metres, feet.
const STEP: &str = r"^([1-9][0-9]?(\.[0-9]{1,6})?( ?(m|ft))?|0\.[1-9][0-9]{0,5}( ?m)?)$";

/// Ends of the steps that are understood, and some more are: metres, feet.
const FAR: &str = r"^[1-9][0-9]{0,2}(\.[0-9]{1,6})?( ?(m|ft))?$";

/// What framing can be held, and some more can be: a distance, or the tightest.
const HELD: &str =
    r"^([1-9][0-9]{0,3}(\.[0-9]{1,6})?( ?(m|ft))?|0\.[1-9][0-9]{0,5}( ?m)?|inf|tightest)$";

/// Distances that are understood, and some more are: metres, feet, infinity.
const DISTANCE: &str =
    r"^([1-9][0-9]{0,3}(\.[0-9]{1,6})?( ?(m|ft))?|0\.[1-9][0-9]{0,5}( ?m)?|inf)$";

fn slug() -> Value {
    json!({ "type": "string", "pattern": "^[a-z0-9-]{1,100}$" })
}

/// Every set of conditions.
fn conditions() -> Vec<String> {
    let sets = Switch::ALL.iter().flat_map(|correction| {
        Switch::ALL.iter().map(|compensation| ConditionsKey {
            distortion_correction: *correction,
            breathing_compensation: *compensation,
        })
    });
    sets.map(ConditionsKey::code).collect()
}

/// The problem document (RFC 9457).
fn problem() -> Value {
    json!({
        "type": "object",
        "description": "What is wrong and how to mend it (RFC 9457)",
        "required": ["type", "title", "status", "detail", "instance", "request_id"],
        "properties": {
            "type": { "type": "string", "description": "Stable kind of the problem; the guide at /api lists them", "format": "uri-reference" },
            "title": { "type": "string", "description": "The kind in words" },
            "status": { "type": "integer", "description": "Status code" },
            "detail": { "type": "string", "description": "What is wrong here and how to mend it" },
            "instance": { "type": "string", "description": "Path that was asked for" },
            "request_id": { "type": "string", "description": "Key of the request in the server's log" },
            "errors": {
                "type": "array",
                "description": "Fields that can't be used",
                "items": {
                    "type": "object",
                    "required": ["field", "detail"],
                    "properties": {
                        "field": { "type": "string", "description": "Name of the field" },
                        "detail": { "type": "string", "description": "What is wrong and what to give instead" },
                    },
                },
            },
        },
    })
}
