//! Lenses.

use std::ops::RangeInclusive;

use sqlx::SqliteConnection;

use super::document::known;
use super::error::taken;
use super::lens_changes::is_slug_held;
use super::lens_page::LENS;
use super::names::isolated;
use super::search::{search_text, slug, sort_name};
use super::{AccountId, Store, StoreError};
use crate::units::{F_NUMBERS, FOCAL_LENGTHS_MM, FOCUS_DISTANCES_M, choice};

/// Key of a lens.
pub type LensId = i64;

choice! {
    /// What sort of lens it is.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub enum Kind {
        /// One focal length, for stills.
        Prime = "prime",
        /// Several focal lengths, for stills.
        Zoom = "zoom",
        /// Made for close-ups.
        Macro = "macro",
        /// One focal length, for film.
        CinePrime = "cine_prime",
        /// Several focal lengths, for film.
        CineZoom = "cine_zoom",
    }
}

impl Kind {
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
}

/// Every mount, along the index of them.
pub(super) const MOUNTS: &str = "SELECT DISTINCT mount FROM lenses ORDER BY mount";

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

impl LensDraft {
    /// Whether the aperture ring counts T-stops: where the model says so, as in "35 mm T1.5".
    #[must_use]
    pub fn is_marked_in_t_stops(&self) -> bool {
        self.model
            .split_whitespace()
            .filter_map(|word| word.strip_prefix(['T', 't']))
            .filter_map(|number| number.trim_start_matches('/').parse::<f64>().ok())
            .any(|stop| (stop - self.max_aperture).abs() < 0.01)
    }
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

/// A field that a lens can't have.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{field}: {detail}")]
pub struct InvalidField {
    /// Name of the field, as in `LensDraft`.
    pub field: &'static str,
    /// What is wrong and what is allowed.
    pub detail: String,
}

impl LensDraft {
    /// Whether a lens can be like this.
    ///
    /// # Errors
    /// The first field that it can't: a name empty, longer than 120 characters or with control characters; a focal length, an
    /// aperture or a closest focus outside what [`units`](crate::units) takes for one; the longest shorter than the shortest.
    pub fn check(&self) -> Result<(), InvalidField> {
        let invalid = |field, detail: &str| {
            Err(InvalidField {
                field,
                detail: detail.to_owned(),
            })
        };
        for (field, text) in [
            ("maker", &self.maker),
            ("model", &self.model),
            ("mount", &self.mount),
        ] {
            if text.trim().is_empty() {
                return invalid(field, "must not be empty");
            }
            if text.chars().count() > 120 || text.chars().any(char::is_control) {
                return invalid(field, "at most 120 characters, all on one line");
            }
        }
        for (field, mm) in [
            ("focal_min_mm", self.focal_min_mm),
            ("focal_max_mm", self.focal_max_mm),
        ] {
            if !FOCAL_LENGTHS_MM.contains(&mm) {
                return invalid(field, &range(&FOCAL_LENGTHS_MM, "mm"));
            }
        }
        if self.focal_max_mm < self.focal_min_mm {
            return invalid("focal_max_mm", "not shorter than the shortest focal length");
        }
        if !F_NUMBERS.contains(&self.max_aperture) {
            return invalid("max_aperture", &range(&F_NUMBERS, "as an f-number"));
        }
        if self
            .closest_focus_m
            .is_some_and(|metres| !FOCUS_DISTANCES_M.contains(&metres))
        {
            return invalid("closest_focus_m", &range(&FOCUS_DISTANCES_M, "m"));
        }
        Ok(())
    }

    /// Maker and model, as a lens is called in running words.
    #[must_use]
    pub fn name(&self) -> String {
        isolated(&format!("{} {}", self.maker, self.model)).into_owned()
    }
}

/// A range in words, with its unit.
fn range(allowed: &RangeInclusive<f64>, unit: &str) -> String {
    format!("from {} to {} {unit}", allowed.start(), allowed.end())
}

/// The columns of a lens; every query that gives lenses selects them by these names.
#[derive(Debug, sqlx::FromRow)]
pub(super) struct LensRow {
    lens_id: i64,
    slug: String,
    maker: String,
    model: String,
    mount: String,
    kind: String,
    focal_min_mm: f64,
    focal_max_mm: f64,
    max_aperture: f64,
    lens_closest_focus_m: Option<f64>,
    lens_created_ms: i64,
}

impl LensRow {
    pub(super) fn read(self) -> Result<Lens, StoreError> {
        Ok(Lens {
            id: self.lens_id,
            slug: self.slug,
            about: LensDraft {
                maker: self.maker,
                model: self.model,
                mount: self.mount,
                kind: known("kind", &self.kind, Kind::from_code)?,
                focal_min_mm: self.focal_min_mm,
                focal_max_mm: self.focal_max_mm,
                max_aperture: self.max_aperture,
                closest_focus_m: self.lens_closest_focus_m,
            },
            created_ms: self.lens_created_ms,
        })
    }
}

/// The columns of `LensRow` from a table of lenses that is called `l`.
macro_rules! lens_columns {
    () => {
        "l.id AS lens_id, l.slug, l.maker, l.model, l.mount, l.kind, l.focal_min_mm, l.focal_max_mm, l.max_aperture, \
         l.closest_focus_m AS lens_closest_focus_m, l.created_ms AS lens_created_ms"
    };
}
pub(super) use lens_columns;

impl Store {
    /// Makes a lens with a slug from maker and model, made unique by a number. # Errors: `Conflict` when maker and model are there already,
    /// or a field can't be so.
    pub async fn add_lens(
        &self,
        draft: &LensDraft,
        by: Option<AccountId>,
        now_ms: i64,
    ) -> Result<Lens, StoreError> {
        let about = tidied(draft)?;
        let mut write = self.write().await?;
        let slug = free_slug(&mut write, &slug(&about.name())).await?;
        let id = sqlx::query_scalar(
            "INSERT INTO lenses (slug, maker, model, mount, kind, focal_min_mm, focal_max_mm, max_aperture, closest_focus_m,
                                 sort_name, search_text, created_by, created_ms)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13) RETURNING id",
        )
        .bind(&slug)
        .bind(&about.maker)
        .bind(&about.model)
        .bind(&about.mount)
        .bind(about.kind.code())
        .bind(about.focal_min_mm)
        .bind(about.focal_max_mm)
        .bind(about.max_aperture)
        .bind(about.closest_focus_m)
        .bind(sort_name(&about.maker, &about.model))
        .bind(search_text(&about))
        .bind(by)
        .bind(now_ms)
        .fetch_one(&mut *write)
        .await
        .map_err(|error| taken(error, || format!("the lens {} is there already", about.name())))?;
        write.commit().await?;
        Ok(Lens {
            id,
            slug,
            about,
            created_ms: now_ms,
        })
    }

    /// The lens of this slug.
    pub async fn lens_by_slug(&self, slug: &str) -> Result<Option<Lens>, StoreError> {
        sqlx::query_as::<_, LensRow>(LENS)
            .bind(slug)
            .fetch_optional(&self.readers)
            .await?
            .map(LensRow::read)
            .transpose()
    }

    /// The lens of this key.
    pub async fn lens(&self, id: LensId) -> Result<Option<Lens>, StoreError> {
        sqlx::query_as::<_, LensRow>(concat!(
            "SELECT ",
            lens_columns!(),
            " FROM lenses l WHERE l.id = ?1"
        ))
        .bind(id)
        .fetch_optional(&self.readers)
        .await?
        .map(LensRow::read)
        .transpose()
    }

    /// All lenses by maker and model, published or not: for the upload form.
    pub async fn all_lenses(&self) -> Result<Vec<Lens>, StoreError> {
        sqlx::query_as::<_, LensRow>(concat!(
            "SELECT ",
            lens_columns!(),
            " FROM lenses l ORDER BY l.sort_name, l.id"
        ))
        .fetch_all(&self.readers)
        .await?
        .into_iter()
        .map(LensRow::read)
        .collect()
    }

    /// The mounts that occur, in order: for the filter.
    pub async fn mounts(&self) -> Result<Vec<String>, StoreError> {
        Ok(sqlx::query_scalar(MOUNTS).fetch_all(&self.readers).await?)
    }
}

/// The draft as it is stored. # Errors: `Conflict` when a field can't be so.
pub(super) fn tidied(draft: &LensDraft) -> Result<LensDraft, StoreError> {
    draft
        .check()
        .map_err(|invalid| StoreError::Conflict(invalid.to_string()))?;
    Ok(LensDraft {
        maker: tidy(&draft.maker),
        model: tidy(&draft.model),
        mount: tidy(&draft.mount),
        ..draft.clone()
    })
}

/// Text without space around it and with single spaces inside.
fn tidy(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The slug, or the slug with the smallest number from 2 on that makes it unique.
async fn free_slug(write: &mut SqliteConnection, wanted: &str) -> Result<String, StoreError> {
    let mut slug = wanted.to_owned();
    let mut number = 1;
    while is_slug_held(write, &slug).await? {
        number += 1;
        slug = format!("{wanted}-{number}");
    }
    Ok(slug)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn absurd_lenses_are_refused_by_field() {
        let good = LensDraft {
            maker: "Tindra".to_owned(),
            model: "Sound 85 f/1.8".to_owned(),
            mount: "Harrow lock".to_owned(),
            kind: Kind::Prime,
            focal_min_mm: 85.0,
            focal_max_mm: 85.0,
            max_aperture: 1.8,
            closest_focus_m: None,
        };
        assert_eq!(good.check(), Ok(()));
        let refused = |change: fn(&mut LensDraft)| {
            let mut lens = good.clone();
            change(&mut lens);
            lens.check().expect_err("an absurd lens").field
        };
        assert_eq!(refused(|lens| lens.maker = "  ".to_owned()), "maker");
        assert_eq!(refused(|lens| lens.model = "x".repeat(121)), "model");
        assert_eq!(refused(|lens| lens.mount = "a\nb".to_owned()), "mount");
        assert_eq!(refused(|lens| lens.focal_min_mm = f64::NAN), "focal_min_mm");
        assert_eq!(refused(|lens| lens.focal_max_mm = 84.0), "focal_max_mm");
        assert_eq!(refused(|lens| lens.max_aperture = -1.0), "max_aperture");
        assert_eq!(
            refused(|lens| lens.closest_focus_m = Some(0.0)),
            "closest_focus_m"
        );
    }
}
