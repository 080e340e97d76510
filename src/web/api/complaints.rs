//! Every complaint about a question at once, so that a program mends them all in one go.

use super::query::Params;
use crate::web::WebError;
use crate::web::errors::FieldError;

impl Params {
    /// What `read` makes of the question. Fields that it refuses are set aside one after another, and are complained of
    /// together.
    pub(in crate::web) fn asked<T>(
        &self,
        read: impl Fn(&Self) -> Result<T, WebError>,
    ) -> Result<T, WebError> {
        let mut usable = self.clone();
        let mut complaints: Vec<FieldError> = Vec::new();
        loop {
            let errors = match read(&usable) {
                Err(WebError::Fields(errors)) => errors,
                other if complaints.is_empty() => return other,
                _ => return Err(WebError::Fields(complaints)),
            };
            let mut goes_on = false;
            for error in errors {
                let given = usable.has(&error.field);
                if given {
                    usable = usable.without(&[&error.field]);
                    goes_on = true;
                }
                // What is missed may be what was set aside before.
                if given || FieldError::told(&complaints, &error.field).is_none() {
                    complaints.push(error);
                }
            }
            if !goes_on {
                return Err(WebError::Fields(complaints));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::api::{CompareQuestion, PullQuestion, RankingQuestion};

    /// The fields that are complained of.
    fn refused<T>(
        pairs: &[(&str, &str)],
        read: impl Fn(&Params) -> Result<T, WebError>,
    ) -> Vec<String> {
        match Params::of(pairs).asked(read) {
            Ok(_) => Vec::new(),
            Err(WebError::Fields(errors)) => errors.into_iter().map(|error| error.field).collect(),
            Err(other) => panic!("{other}"),
        }
    }

    #[test]
    fn every_field_that_cannot_be_used_is_named() {
        let ranking = |pairs| refused(pairs, RankingQuestion::read);
        assert_eq!(ranking(&[("mount", "Harrow lock"), ("limit", "")]), [""; 0]);
        assert_eq!(
            ranking(&[("limit", "0"), ("q", "50"), ("kind", "x"), ("sort", "up")]),
            ["kind", "sort", "limit"]
        );
        let pull = |pairs| refused(pairs, PullQuestion::read);
        assert_eq!(pull(&[("from_m", "2")]), ["to_m"]);
        assert_eq!(pull(&[("from_m", "x"), ("to_m", "y")]), ["from_m", "to_m"]);
        // Not said twice: once wrong, then missing.
        assert_eq!(pull(&[("from_m", "x"), ("to_m", "2")]), ["from_m"]);
        let five = ["a", "b", "c", "d", "e"].map(|slug| ("lens", slug));
        let compared = |pairs| refused(pairs, CompareQuestion::read_at_least_two);
        assert_eq!(compared(&five), ["lens"]);
        assert_eq!(
            compared(&[("lens", "a"), ("tolerance_pct", "101")]),
            ["tolerance_pct", "lens"]
        );
    }

    #[test]
    fn other_errors_come_as_they_are() {
        let read = |_: &Params| Err::<(), _>(WebError::NotFound("a lens".to_owned()));
        assert!(matches!(
            Params::default().asked(read),
            Err(WebError::NotFound(_))
        ));
    }
}
