//! The form of a reader page: what was typed stays in its fields, what can't be used is complained of beside them, and the
//! page answers the rest of the question.

use std::collections::BTreeMap;

use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::html;
use crate::web::WebError;
use crate::web::api::Params;
use crate::web::errors::FieldError;

/// The fields of a form: name in the query and what the page calls it.
pub(super) type Fields = &'static [(&'static str, &'static str)];

/// A form as it was sent.
pub(super) struct Form {
    sent: Params,
    /// What can be used of it.
    usable: Params,
    /// What stands in fields that were left empty.
    filled: BTreeMap<&'static str, String>,
    errors: Vec<FieldError>,
    /// What the page answers, where that is said already.
    status: Option<StatusCode>,
    fields: Fields,
    /// Names that belong to the question of the page without being fields of the form.
    kept: &'static [&'static str],
}

/// A complaint with the way to its field.
pub(super) struct Complaint<'a> {
    /// Name of the field, where the form has it.
    pub(super) field: Option<&'a str>,
    /// What it is called.
    pub(super) label: &'a str,
    /// What is wrong and what to give instead.
    pub(super) detail: &'a str,
}

impl Form {
    /// A form with these fields; what else belongs to the question, as `kept` names it, is sent along.
    pub(super) fn new(sent: Params, fields: Fields, kept: &'static [&'static str]) -> Self {
        Self {
            usable: sent.clone(),
            sent,
            filled: BTreeMap::new(),
            errors: Vec::new(),
            status: None,
            fields,
            kept,
        }
    }

    /// What `read` makes of the question. Fields that it refuses are set aside with the complaint, one after another, until
    /// the rest can be used.
    pub(super) fn ask<T>(
        &mut self,
        read: impl Fn(&Params) -> Result<T, WebError>,
    ) -> Result<T, WebError> {
        loop {
            match read(&self.usable) {
                Err(WebError::Fields(errors)) => {
                    for error in errors {
                        let aside = self.culprit(&error.field, &read);
                        self.set_aside(error, aside)?;
                    }
                }
                other => return other,
            }
        }
    }

    /// What `read` makes of the whole question; `None`, with every complaint, where something of it can't be used.
    pub(super) fn ask_whole<T>(
        &mut self,
        read: impl Fn(&Params) -> Result<T, WebError>,
    ) -> Result<Option<T>, WebError> {
        match self.usable.asked(read) {
            Ok(answer) => Ok(self.errors.is_empty().then_some(answer)),
            Err(WebError::Fields(errors)) => {
                self.errors.extend(errors);
                Ok(None)
            }
            Err(other) => Err(other),
        }
    }

    /// Takes up a complaint that came from the data: the field is set aside. Other errors, and complaints about nothing that
    /// was sent, are given back.
    pub(super) fn refuse(&mut self, error: WebError) -> Result<(), WebError> {
        let WebError::Fields(errors) = error else {
            return Err(error);
        };
        for error in errors {
            let aside = Some(error.field.clone());
            self.set_aside(error, aside)?;
        }
        Ok(())
    }

    /// Sets aside one value of a field that stands for something that is not there, 404, or not there any more, 410.
    pub(super) fn miss(&mut self, status: StatusCode, field: &str, value: &str, detail: String) {
        self.answers(status);
        self.usable = self.usable.without_value(field, value);
        self.errors.push(FieldError {
            field: field.to_owned(),
            detail,
        });
    }

    /// The name to set aside for a complaint: the field itself, or where that was not sent the one that asks for it.
    fn culprit<T>(
        &self,
        field: &str,
        read: &impl Fn(&Params) -> Result<T, WebError>,
    ) -> Option<String> {
        if self.usable.has(field) {
            return Some(field.to_owned());
        }
        let settles = |name: &&str| match read(&self.usable.without(&[name])) {
            Err(WebError::Fields(errors)) => errors.iter().all(|error| error.field != field),
            _ => true,
        };
        self.usable.names().find(settles).map(str::to_owned)
    }

    fn set_aside(&mut self, error: FieldError, name: Option<String>) -> Result<(), WebError> {
        match name {
            Some(name) if self.usable.has(&name) => {
                self.usable = self.usable.without(&[&name]);
                // What is missed may be what was set aside before; once is enough.
                if self.error(&error.field).is_none() {
                    self.errors.push(error);
                }
                Ok(())
            }
            _ => Err(WebError::Fields(vec![error])),
        }
    }

    /// Puts a value into a field that was left empty.
    pub(super) fn fill(&mut self, field: &'static str, value: String) {
        self.filled.insert(field, value);
    }

    /// Takes a value for what was left empty, as if it had been typed.
    pub(super) fn assume(&mut self, field: &'static str, value: String) {
        if !self.sent.has(field) {
            self.usable = self.usable.and(field, &value);
            self.fill(field, value);
        }
    }

    /// What stands in a field: as it was typed, else as it was filled in.
    pub(super) fn value(&self, name: &str) -> &str {
        let filled = || self.filled.get(name).map(String::as_str);
        self.sent.text(name).or_else(filled).unwrap_or_default()
    }

    /// What is wrong with a field, where something is.
    pub(super) fn error(&self, name: &str) -> Option<&str> {
        FieldError::told(&self.errors, name)
    }

    /// What the page calls a field.
    pub(super) fn label<'a>(&self, name: &'a str) -> &'a str {
        let known = self.fields.iter().find(|(field, _)| *field == name);
        known.map_or(name, |(_, label)| label)
    }

    /// Whether a field was given.
    pub(super) fn is_given(&self, name: &str) -> bool {
        self.sent.has(name)
    }

    /// Whether one of the fields was given.
    pub(super) fn is_filled_in(&self) -> bool {
        self.fields.iter().any(|(name, _)| self.sent.has(name))
    }

    /// Every complaint, in the order of its coming.
    pub(super) fn complaints(&self) -> Vec<Complaint<'_>> {
        let is_field = |name: &str| self.fields.iter().any(|(field, _)| *field == name);
        self.errors
            .iter()
            .map(|error| Complaint {
                field: is_field(&error.field).then_some(error.field.as_str()),
                label: without_unit(self.label(&error.field)),
                detail: &error.detail,
            })
            .collect()
    }

    /// What belongs to the question and has no field, to be sent along unseen.
    pub(super) fn unseen(&self) -> Vec<(&str, &str)> {
        let kept = self.kept.iter();
        kept.filter_map(|name| Some((*name, self.usable.text(name)?)))
            .collect()
    }

    /// What can be used of the question.
    pub(super) fn usable(&self) -> &Params {
        &self.usable
    }

    /// Says what the page answers.
    pub(super) fn answers(&mut self, status: StatusCode) {
        self.status = Some(status);
    }

    /// The page: 422 where something of the question can't be used and nothing else was said.
    pub(super) fn answer(&self, page: &impl askama::Template) -> Result<Response, WebError> {
        let status = self.status.unwrap_or(if self.errors.is_empty() {
            StatusCode::OK
        } else {
            StatusCode::UNPROCESSABLE_ENTITY
        });
        Ok((status, html(page)?).into_response())
    }

    /// Every value of a field, as it was sent.
    pub(super) fn all(&self, name: &str) -> Vec<&str> {
        self.sent.all(name)
    }
}

/// What a field is called, without its unit.
fn without_unit(label: &str) -> &str {
    label.split(", ").next().unwrap_or(label)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::api::{CompareQuestion, PullQuestion, RankingQuestion};

    const FIELDS: Fields = &[
        ("tolerance_pct", "Tolerance, %"),
        ("to_m", "Pull to, m or ft"),
    ];

    fn form(pairs: &[(&str, &str)]) -> Form {
        Form::new(Params::of(pairs), FIELDS, &["axis"])
    }

    #[test]
    fn what_can_be_used_is_used_and_the_rest_keeps_its_words() {
        let mut form = form(&[
            ("tolerance_pct", "abc"),
            ("focal_mm", "0"),
            ("mount", "Harrow lock"),
            ("axis", "travel"),
        ]);
        let question = form.ask(RankingQuestion::read).expect("the rest is usable");
        assert_eq!(question.mount.as_deref(), Some("Harrow lock"));
        assert!((question.tolerance_pct - 2.0).abs() < 1e-12);
        assert_eq!(form.value("tolerance_pct"), "abc");
        assert!(
            form.error("tolerance_pct")
                .is_some_and(|words| words.contains("“abc”"))
        );
        let labels: Vec<_> = form
            .complaints()
            .iter()
            .map(|c| (c.field, c.label))
            .collect();
        assert!(
            labels.contains(&(Some("tolerance_pct"), "Tolerance")),
            "{labels:?}"
        );
        assert!(labels.contains(&(None, "focal_mm")), "{labels:?}");
        assert_eq!(form.unseen(), [("axis", "travel")]);
        assert_eq!(form.usable().with(&[]), "mount=Harrow%20lock&axis=travel");
    }

    #[test]
    fn a_complaint_about_what_was_not_sent_sets_aside_what_asks_for_it() {
        let mut form = form(&[("tolerance_pct", "3"), ("from_m", "2")]);
        let pull = form.ask(PullQuestion::read).expect("the rest is usable");
        assert_eq!(pull, None);
        assert!(form.error("to_m").is_some() && form.error("from_m").is_none());
        assert_eq!(form.value("from_m"), "2", "typed, not lost");
        // Not said twice: once wrong, then missing.
        let mut wrong = self::form(&[("from_m", "2"), ("to_m", "x")]);
        assert_eq!(wrong.ask(PullQuestion::read).expect("the rest"), None);
        assert_eq!(wrong.complaints().len(), 1);
        assert_eq!(form.usable().with(&[]), "tolerance_pct=3");
        let five: Vec<(&str, &str)> = ["a", "b", "c", "d", "e"]
            .map(|slug| ("lens", slug))
            .to_vec();
        let mut many = Form::new(Params::of(&five), FIELDS, &[]);
        assert!(
            many.ask(CompareQuestion::read)
                .is_ok_and(|question| question.lenses.is_empty())
        );
    }

    #[test]
    fn a_whole_question_has_all_its_complaints_at_once() {
        let read = |params: &Params| {
            params.number("a", 0.0..=1.0, "m")?;
            params.number("b", 0.0..=1.0, "m")?;
            params
                .number("c", 0.0..=1.0, "m")?
                .ok_or_else(|| WebError::field("c", "give c"))
        };
        let mut form = form(&[("a", "5"), ("b", "x")]);
        assert!(form.ask_whole(read).expect("complaints only").is_none());
        let fields: Vec<_> = form
            .errors
            .iter()
            .map(|error| error.field.as_str())
            .collect();
        assert_eq!(fields, ["a", "b", "c"]);
    }
}
