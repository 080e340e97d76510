//! What camera files call lenses: noted when a sweep is published, used to propose the lens of an upload.

use sqlx::SqliteConnection;

use super::lenses::{LensRow, lens_columns};
use super::{Lens, LensId, Store, StoreError};

/// Most characters of a name, as the table allows.
const NAME_CHARACTERS: usize = 255;

impl Store {
    /// The lens that files with this name were published under.
    pub async fn lens_called(&self, name: &str) -> Result<Option<Lens>, StoreError> {
        sqlx::query_as::<_, LensRow>(concat!(
            "SELECT ",
            lens_columns!(),
            " FROM lens_names n JOIN lenses l ON l.id = n.lens_id WHERE n.name = ?1"
        ))
        .bind(noted(name))
        .fetch_optional(&self.readers)
        .await?
        .map(LensRow::read)
        .transpose()
    }

    /// Every noted name with the slug of its lens, by name.
    pub async fn lens_names(&self) -> Result<Vec<(String, String)>, StoreError> {
        Ok(sqlx::query_as(
            "SELECT n.name, l.slug FROM lens_names n JOIN lenses l ON l.id = n.lens_id ORDER BY n.name",
        )
        .fetch_all(&self.readers)
        .await?)
    }

    /// Forgets a name of a lens.
    pub async fn forget_lens_name(&self, lens: LensId, name: &str) -> Result<(), StoreError> {
        sqlx::query("DELETE FROM lens_names WHERE lens_id = ?1 AND name = ?2")
            .bind(lens)
            .bind(noted(name))
            .execute(&self.writer)
            .await?;
        Ok(())
    }
}

/// A name as it is noted: without space around it and not longer than the table allows.
fn noted(name: &str) -> String {
    name.trim().chars().take(NAME_CHARACTERS).collect()
}

/// Notes what files call a lens. A name that is noted already stays with its lens.
pub(super) async fn note_lens_name(
    write: &mut SqliteConnection,
    name: &str,
    lens: LensId,
    now_ms: i64,
) -> Result<(), StoreError> {
    let name = noted(name);
    if name.is_empty() {
        return Ok(());
    }
    sqlx::query(
        "INSERT INTO lens_names (name, lens_id, noted_ms) VALUES (?1, ?2, ?3) ON CONFLICT (name) DO NOTHING",
    )
    .bind(name)
    .bind(lens)
    .bind(now_ms)
    .execute(write)
    .await?;
    Ok(())
}
