//! Lenses and cameras.

use super::{AccountId, Store, StoreError};

/// Key of a lens.
pub type LensId = i64;

/// What sort of lens it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// One focal length, for stills.
    Prime,
    /// Several focal lengths, for stills.
    Zoom,
    /// Made for close-ups.
    Macro,
    /// One focal length, for film.
    CinePrime,
    /// Several focal lengths, for film.
    CineZoom,
}

impl Kind {
    /// Every kind.
    pub const ALL: [Self; 5] = [
        Self::Prime,
        Self::Zoom,
        Self::Macro,
        Self::CinePrime,
        Self::CineZoom,
    ];
    /// The word for the kind in JSON, queries and storage.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Prime => "prime",
            Self::Zoom => "zoom",
            Self::Macro => "macro",
            Self::CinePrime => "cine_prime",
            Self::CineZoom => "cine_zoom",
        }
    }
    /// The kind in plain words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Prime => "prime",
            Self::Zoom => "zoom",
            Self::Macro => "macro",
            Self::CinePrime => "cine prime",
            Self::CineZoom => "cine zoom",
        }
    }
    /// The kind that a code stands for.
    #[must_use]
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.code() == code)
    }
}

/// A lens to be made; checked by `LensDraft::check`.
#[derive(Debug, Clone, PartialEq)]
pub struct LensDraft {
    /// Maker.
    pub maker: String,
    /// Model, without the maker.
    pub model: String,
    /// Mount.
    pub mount: String,
    /// Kind.
    pub kind: Kind,
    /// Shortest marked focal length, mm.
    pub focal_min_mm: f64,
    /// Longest marked focal length, mm; equal to the shortest for a prime.
    pub focal_max_mm: f64,
    /// Smallest f-number.
    pub max_aperture: f64,
    /// Marked closest focus from the sensor plane, m.
    pub closest_focus_m: Option<f64>,
}

/// A lens of the database.
#[derive(Debug, Clone, PartialEq)]
pub struct Lens {
    /// Key.
    pub id: LensId,
    /// Stable name in addresses.
    pub slug: String,
    /// What it is.
    pub about: LensDraft,
    /// When it was made, ms since 1970 UTC.
    pub created_ms: i64,
}

#[allow(unused_variables, clippy::unused_async)]
impl Store {
    /// Makes a lens with a slug from maker and model, made unique by a number. # Errors: `Conflict` when maker and model are there already.
    pub async fn add_lens(
        &self,
        draft: &LensDraft,
        by: Option<AccountId>,
        now_ms: i64,
    ) -> Result<Lens, StoreError> {
        unimplemented!()
    }
    /// The lens of this slug.
    pub async fn lens_by_slug(&self, slug: &str) -> Result<Option<Lens>, StoreError> {
        unimplemented!()
    }
    /// The lens of this key.
    pub async fn lens(&self, id: LensId) -> Result<Option<Lens>, StoreError> {
        unimplemented!()
    }
    /// All lenses by maker and model, published or not: for the upload form.
    pub async fn all_lenses(&self) -> Result<Vec<Lens>, StoreError> {
        unimplemented!()
    }
    /// The mounts that occur, in order: for the filter.
    pub async fn mounts(&self) -> Result<Vec<String>, StoreError> {
        unimplemented!()
    }
}
