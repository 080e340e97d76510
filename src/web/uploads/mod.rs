//! The reviewer API: lenses, uploads, repairs, publishing; with a session or a token.

mod document;
pub(super) mod files;
pub(super) mod lenses;
pub(super) mod sweeps;

pub(in crate::web) use document::Document;
