//! The kinds of problems: status code, stable type, title. Written once; the guide for programs lists them from here.

use axum::http::StatusCode;

/// A kind of problem (RFC 9457: what `type` stands for).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::web) struct ProblemKind {
    /// Status code that it comes with.
    pub(in crate::web) status: StatusCode,
    /// Stable word for it.
    pub(in crate::web) slug: &'static str,
    /// What it is, in a few words.
    pub(in crate::web) title: &'static str,
}

macro_rules! kinds {
    ($($name:ident = $status:ident, $slug:literal, $title:literal;)*) => {
        $(pub(super) const $name: ProblemKind = ProblemKind {
            status: StatusCode::$status,
            slug: $slug,
            title: $title,
        };)*
        /// Every kind, by status code.
        pub(in crate::web) const PROBLEM_KINDS: &[ProblemKind] = &[$($name),*];
    };
}

kinds! {
    MOVED = MOVED_PERMANENTLY, "moved", "This has another address";
    UNREADABLE = BAD_REQUEST, "unreadable", "The request can't be read";
    NOT_SIGNED_IN = UNAUTHORIZED, "not-signed-in", "Nobody is signed in";
    NOT_ALLOWED = FORBIDDEN, "not-allowed", "This is not allowed";
    NOT_FOUND = NOT_FOUND, "not-found", "There is no such page";
    METHOD_NOT_ALLOWED = METHOD_NOT_ALLOWED, "method-not-allowed", "This can't be done here";
    CONFLICT = CONFLICT, "conflict", "It contradicts what is there";
    GONE = GONE, "gone", "This was withdrawn";
    TOO_LARGE = PAYLOAD_TOO_LARGE, "too-large", "This is too large";
    UNSUPPORTED_MEDIA_TYPE = UNSUPPORTED_MEDIA_TYPE, "unsupported-media-type", "The content type can't be used";
    INVALID_FIELDS = UNPROCESSABLE_ENTITY, "invalid-fields", "A field can't be used";
    UNUSABLE_FILE = UNPROCESSABLE_ENTITY, "unusable-file", "The file can't be used";
    TOO_FAST = TOO_MANY_REQUESTS, "too-fast", "Too many tries";
    INSIDE = INTERNAL_SERVER_ERROR, "inside", "Something went wrong";
    NOT_OFFERED = NOT_IMPLEMENTED, "not-offered", "This is not offered";
    BUSY = SERVICE_UNAVAILABLE, "busy", "Busy for a moment";
    UNWRITABLE = INSUFFICIENT_STORAGE, "unwritable", "Nothing can be stored";
}

impl ProblemKind {
    /// The value of `type`: where the guide for programs says what it is.
    pub(in crate::web) fn address(&self) -> String {
        format!("/api#problem-{}", self.slug)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_has_a_word_of_its_own() {
        let mut slugs: Vec<&str> = PROBLEM_KINDS.iter().map(|kind| kind.slug).collect();
        slugs.sort_unstable();
        slugs.dedup();
        assert_eq!(slugs.len(), PROBLEM_KINDS.len());
        assert!(PROBLEM_KINDS.is_sorted_by_key(|kind| kind.status));
    }
}
