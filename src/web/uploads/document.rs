//! JSON documents as they come in: objects with known fields; what is wrong is told with its place and what to give.

use axum::Json;
use axum::body::Bytes;
use axum::extract::rejection::JsonRejection;
use axum::extract::{FromRequest, Request};
use axum::http::{HeaderMap, header};
use serde::de::DeserializeOwned;

use crate::web::WebError;

/// A JSON object with known fields only.
pub(in crate::web) struct Document<T>(pub(in crate::web) T);

impl<S, T> FromRequest<S> for Document<T>
where
    T: DeserializeOwned,
    S: Send + Sync,
{
    type Rejection = WebError;

    async fn from_request(request: Request, state: &S) -> Result<Self, WebError> {
        if !is_json(request.headers()) {
            return Err(WebError::Unreadable(
                "send a JSON document with content-type application/json".into(),
            ));
        }
        let body = Bytes::from_request(request, state).await.map_err(|_| {
            WebError::TooLarge("a JSON document has at most 1 MB; send less at once".into())
        })?;
        // Lists would be taken field by field in the order of the program's own, which nobody can mean.
        if let Some(first) = body.iter().find(|byte| !byte.is_ascii_whitespace())
            && *first != b'{'
        {
            return Err(WebError::field(
                "body",
                "send one JSON object in braces, with the fields by name",
            ));
        }
        match Json::<T>::from_bytes(&body) {
            Ok(Json(document)) => Ok(Self(document)),
            Err(JsonRejection::JsonDataError(error)) => Err(complaint(&error.body_text())),
            Err(error) => Err(WebError::Unreadable(format!(
                "the body is no JSON that can be read: {}",
                error.body_text()
            ))),
        }
    }
}

fn is_json(headers: &HeaderMap) -> bool {
    let Some(kind) = headers.get(header::CONTENT_TYPE) else {
        return false;
    };
    let kind = kind.to_str().unwrap_or_default().to_ascii_lowercase();
    let kind = kind.split(';').next().unwrap_or_default().trim();
    kind == "application/json" || (kind.starts_with("application/") && kind.ends_with("+json"))
}

/// What the JSON reader says, as a field and what to give there.
fn complaint(text: &str) -> WebError {
    let said = text
        .split_once("target type: ")
        .map_or(text, |(_, said)| said);
    for start in ["unknown field `", "missing field `"] {
        if let Some((_, rest)) = said.split_once(start) {
            let (field, known) = rest.split_once('`').unwrap_or((rest, ""));
            let known: Vec<&str> = known.split('`').skip(1).step_by(2).collect();
            let detail = match start.starts_with("unknown") {
                true if known.is_empty() => "there is no such field; leave it away".to_owned(),
                true => format!("there is no such field; there are {}", known.join(", ")),
                false => "this is missing; give it".to_owned(),
            };
            return WebError::field(field, detail);
        }
    }
    let (field, detail) = match said.split_once(": invalid ") {
        Some((path, detail)) => (path, detail),
        None => match said.split_once(": ") {
            Some((path, detail)) => (path, detail),
            None => ("body", said),
        },
    };
    let field = field.trim_start_matches('.');
    WebError::field(field, mended(detail))
}

/// A complaint about a type in plain words, with what to give.
fn mended(detail: &str) -> String {
    if detail.contains("untagged enum DistanceInput") {
        return "give metres as a number, e.g. 0.45, or \"infinity\"".to_owned();
    }
    let found = FOUND
        .iter()
        .find(|(word, _)| detail.contains(&format!("type: {word}")))
        .map_or("this is of another kind", |(_, words)| words);
    let wanted = detail
        .split_once("expected ")
        .map(|(_, wanted)| wanted.split(" at line").next().unwrap_or(wanted));
    match wanted {
        Some(wanted) => {
            let words = WANTED
                .iter()
                .find(|(word, _)| wanted.contains(word))
                .map_or(wanted, |(_, words)| words);
            format!("{found}; give {words}")
        }
        None => format!("{detail}; see /api for what to give"),
    }
}

/// What the JSON reader calls what it found, and what it is.
const FOUND: [(&str, &str); 7] = [
    ("string", "this is text"),
    ("integer", "this is a number"),
    ("floating point", "this is a number"),
    ("boolean", "this is true or false"),
    ("null", "this is null"),
    ("sequence", "this is a list"),
    ("map", "this is an object"),
];

/// What it calls what it wants, and what to give.
const WANTED: [(&str, &str); 8] = [
    ("f64", "a number without quotes, e.g. 0.45"),
    ("u32", "a whole number without quotes"),
    (
        "a tuple of size 2",
        "x and y in px as a list of two numbers, e.g. [120.5, 310]",
    ),
    ("a sequence", "a list in brackets"),
    ("a map", "an object in braces, by file name"),
    ("struct", "an object in braces"),
    ("a boolean", "true or false without quotes"),
    ("a string", "text in quotes"),
];

#[cfg(test)]
mod tests {
    use super::*;

    fn said(text: &str) -> (String, String) {
        match complaint(text) {
            WebError::Fields(errors) => (errors[0].field.clone(), errors[0].detail.clone()),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn types_are_told_with_what_to_give() {
        let start = "Failed to deserialize the JSON body into the target type: ";
        let (field, detail) = said(&format!(
            "{start}closest_focus_m: invalid type: string \"near\", expected f64 at line 1 column 25"
        ));
        assert_eq!(field, "closest_focus_m");
        assert_eq!(
            detail,
            "this is text; give a number without quotes, e.g. 0.45"
        );
        let (field, detail) = said(&format!(
            "{start}left_out: invalid type: sequence, expected a map at line 1 column 14"
        ));
        assert_eq!(field, "left_out");
        assert!(detail.contains("a list; give an object"), "{detail}");
        let (field, detail) = said(&format!(
            "{start}colour: unknown field `colour`, expected `order` or `notes` at line 1 column 9"
        ));
        assert_eq!(field, "colour");
        assert!(detail.ends_with("there are order, notes"), "{detail}");
    }
}
