//! Every error that leaves the program, in one place.
//!
//! A handler returns a [`WebError`]; it becomes a response that only carries the problem. The layer `render`, which
//! knows the request, writes the body: an RFC 9457 document for programs, a page for browsers. Errors that axum or a
//! layer makes by itself (unknown path, wrong method, body too large) take the same way.
//!
//! What went wrong inside is logged once, with the request's id; the answer only has a fixed phrase and that id.

mod answer;
mod causes;
mod kinds;

use serde::Serialize;

pub(super) use answer::render;
pub(in crate::web) use kinds::{PROBLEM_KINDS, ProblemKind};

/// A field of a form, query or document that can't be used.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FieldError {
    /// Name of the field as it was sent.
    pub field: String,
    /// What is wrong and what to give instead.
    pub detail: String,
}

impl FieldError {
    /// What is wrong with a field, where something is.
    pub fn told<'a>(errors: &'a [Self], field: &str) -> Option<&'a str> {
        let error = errors.iter().find(|error| error.field == field);
        error.map(|error| error.detail.as_str())
    }

    /// The field as the forms of reviewers call it; its name where none of them has it.
    pub fn label(&self) -> &str {
        match self.field.as_str() {
            "lens" => "Which lens is it?",
            "maker" => "Maker",
            "model" => "Model",
            "mount" => "Mount",
            "kind" => "Kind",
            "focal_min_mm" => "Shortest focal length",
            "focal_max_mm" => "Longest focal length",
            "max_aperture" => "Smallest f-number",
            "marked_closest_focus_m" => "Marked closest focus",
            "distortion_correction" => "Distortion correction",
            "breathing_compensation" => "Breathing compensation",
            "stabilisation" => "Stabilisation",
            "target_distance_m" => "Target distance",
            "closest_focus_m" => "First frame focused at",
            "focal_length_mm" => "Marked focal length",
            "f_number" => "F-number",
            "sensor_width_mm" => "Sensor width",
            "camera" => "Camera",
            "order" => "Order of the frames",
            "notes" => "Notes",
            "distances" => "Distances of single frames",
            "files" => "Files or a zip archive",
            "x1" => "First target, x in px",
            "y1" => "First target, y in px",
            "x2" => "Second target, x in px",
            "y2" => "Second target, y in px",
            "into" => "File it under",
            "same_as" => "It is the same lens as",
            "sure" => "They are one and the same lens",
            "frame" => "Frame",
            "reason" => "Why it is left out",
            "withdraw_reason" => "Withdraw, because",
            "shown_width" => "Width of the picture as shown",
            "target_places" => "Where the targets are",
            name => name,
        }
    }
}

/// Why a request can't be answered as it was asked.
#[derive(Debug, thiserror::Error)]
pub enum WebError {
    /// The request can't be read at all.
    #[error("{0}")]
    Unreadable(String),
    /// Nobody is signed in. Browsers are led to the sign-in page.
    #[error("sign in first, or send an API token")]
    NotSignedIn,
    /// Signed in, but this is not theirs to do; also requests sent by other sites.
    #[error("{0}")]
    NotAllowed(String),
    /// There is no such thing, or it is not for this viewer to know of.
    #[error("{0}")]
    NotFound(String),
    /// It has another address now.
    #[error("it is at {0} now")]
    Moved(String),
    /// It was there and was withdrawn.
    #[error("{0}")]
    Gone(String),
    /// It contradicts what is there.
    #[error("{0}")]
    Conflict(String),
    /// Too many bytes.
    #[error("{0}")]
    TooLarge(String),
    /// Fields out of range or otherwise unusable.
    #[error("{}", fields_in_words(.0))]
    Fields(Vec<FieldError>),
    /// A file that can't be used.
    #[error("{0}")]
    UnusableFile(String),
    /// Too many requests.
    #[error("{detail}")]
    TooFast {
        /// What is too fast.
        detail: String,
        /// When to try again, s.
        retry_after_s: u64,
    },
    /// A standard allows it, and it is not done here.
    #[error("{0}")]
    NotOffered(String),
    /// Busy for the moment.
    #[error("the server is busy; try again in a moment")]
    Busy {
        /// When to try again, s.
        retry_after_s: u64,
    },
    /// The data folder can't be written.
    #[error(
        "{0}; nothing that was acknowledged is lost. Make room on the disk of the data folder, then send it again"
    )]
    Unwritable(String),
    /// A defect or damage inside; the cause goes to the log only.
    #[error("something went wrong inside the program")]
    Inside(#[source] anyhow::Error),
}

impl WebError {
    /// One unusable field.
    pub fn field(field: impl Into<String>, detail: impl Into<String>) -> Self {
        Self::Fields(vec![FieldError {
            field: field.into(),
            detail: detail.into(),
        }])
    }

    /// There is no such thing as `what`, e.g. "sweep".
    #[must_use]
    pub fn no_such(what: &str) -> Self {
        Self::NotFound(format!("there is no such {what}"))
    }

    /// A defect or damage inside.
    pub fn inside(cause: impl Into<anyhow::Error>) -> Self {
        Self::Inside(cause.into())
    }

    /// The kind of problem that it is, with the status code.
    const fn kind(&self) -> ProblemKind {
        match self {
            Self::Unreadable(_) => kinds::UNREADABLE,
            Self::NotSignedIn => kinds::NOT_SIGNED_IN,
            Self::NotAllowed(_) => kinds::NOT_ALLOWED,
            Self::NotFound(_) => kinds::NOT_FOUND,
            Self::Moved(_) => kinds::MOVED,
            Self::Gone(_) => kinds::GONE,
            Self::Conflict(_) => kinds::CONFLICT,
            Self::TooLarge(_) => kinds::TOO_LARGE,
            Self::Fields(_) => kinds::INVALID_FIELDS,
            Self::UnusableFile(_) => kinds::UNUSABLE_FILE,
            Self::TooFast { .. } => kinds::TOO_FAST,
            Self::NotOffered(_) => kinds::NOT_OFFERED,
            Self::Busy { .. } => kinds::BUSY,
            Self::Unwritable(_) => kinds::UNWRITABLE,
            Self::Inside(_) => kinds::INSIDE,
        }
    }

    fn retry_after_s(&self) -> Option<u64> {
        match self {
            Self::TooFast { retry_after_s, .. } | Self::Busy { retry_after_s } => {
                Some(*retry_after_s)
            }
            _ => None,
        }
    }
}

fn fields_in_words(fields: &[FieldError]) -> String {
    fields
        .iter()
        .map(|field| format!("{}: {}", field.field, field.detail))
        .collect::<Vec<_>>()
        .join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each field that a form of reviewers can complain of has the name that the form gives it.
    #[test]
    fn labels_are_those_of_the_forms() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/templates/desk");
        let files = std::fs::read_dir(folder).expect("the templates");
        let mut told = 0;
        for file in files {
            let mut text = std::fs::read_to_string(file.expect("a file").path()).expect("text");
            if text.contains("lens_fields.html") {
                text += include_str!("../../../templates/desk/lens_fields.html");
            }
            for rest in text.split("self.error(\"").skip(1) {
                let (field, _) = rest.split_once('"').expect("a name");
                let error = FieldError {
                    field: field.to_owned(),
                    detail: String::new(),
                };
                let label = error.label();
                assert_ne!(label, field, "{field} has no name");
                let mut places = text.match_indices(label).map(|(at, _)| at);
                let is_whole = |at: usize| {
                    text[..at].trim_end().ends_with(['"', '>'])
                        && text[at + label.len()..].starts_with(['"', ',', '<'])
                };
                assert!(
                    places.any(is_whole),
                    "{field} is called {label:?} where no form does"
                );
                told += 1;
            }
        }
        assert!(told > 20, "{told}");
    }

    #[test]
    fn causes_stay_inside() {
        let secret = WebError::inside(anyhow::anyhow!("/home/secret/path"));
        assert!(!secret.to_string().contains("secret"));
    }
}
