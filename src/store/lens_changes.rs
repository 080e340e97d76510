//! Lenses put right: corrected, or merged where one was made twice.

use sqlx::SqliteConnection;

use super::audit::add_audit_row;
use super::error::taken;
use super::jobs::queue_anew;
use super::lenses::{LensRow, lens_columns, tidied};
use super::read_model::remake;
use super::search::{search_text, sort_name};
use super::sweeps::change_said;
use super::{
    AccountId, Actor, AuditEntry, Lens, LensDraft, LensId, Said, Store, StoreError, SweepId,
};

/// A lens in the list of the desk.
#[derive(Debug, Clone)]
pub struct LensRowOfDesk {
    /// The lens.
    pub lens: Lens,
    /// Sweeps of it.
    pub sweeps: u32,
    /// Public ones among them.
    pub public: u32,
}

/// The lens that a former slug leads to.
pub(super) const AFTER_MERGE: &str =
    "SELECT l.slug FROM lens_former_slugs f JOIN lenses l ON l.id = f.lens_id WHERE f.slug = ?1";

impl Store {
    /// All lenses by maker and model, with how many sweeps each has.
    pub async fn lenses_of_desk(&self) -> Result<Vec<LensRowOfDesk>, StoreError> {
        #[derive(sqlx::FromRow)]
        struct Row {
            #[sqlx(flatten)]
            lens: LensRow,
            sweeps: u32,
            public: u32,
        }
        sqlx::query_as::<_, Row>(concat!(
            "SELECT ",
            lens_columns!(),
            ", count(s.id) AS sweeps, count(s.public_id) AS public
             FROM lenses l LEFT JOIN sweeps s ON s.lens_id = l.id GROUP BY l.id ORDER BY l.sort_name, l.id"
        ))
        .fetch_all(&self.readers)
        .await?
        .into_iter()
        .map(|row| {
            Ok(LensRowOfDesk {
                lens: row.lens.read()?,
                sweeps: row.sweeps,
                public: row.public,
            })
        })
        .collect()
    }

    /// Corrects a lens; its slug stays. # Errors: `Conflict` when maker and model are those of another, or a field can't be so.
    pub async fn correct_lens(
        &self,
        lens: &Lens,
        draft: &LensDraft,
        by: Actor,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let about = tidied(draft)?;
        let mut write = self.write().await?;
        sqlx::query(
            "UPDATE lenses SET maker = ?2, model = ?3, mount = ?4, kind = ?5, focal_min_mm = ?6, focal_max_mm = ?7,
               max_aperture = ?8, closest_focus_m = ?9, sort_name = ?10, search_text = ?11
             WHERE id = ?1",
        )
        .bind(lens.id)
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
        .execute(&mut *write)
        .await
        .map_err(|error| {
            taken(error, || {
                format!("there is another lens {}; merge the two instead", about.name())
            })
        })?;
        // The ranking has the name it sorts by.
        remake(&mut write, lens.id).await?;
        let detail = format!("was {}", lens.about.name());
        add_audit_row(
            &mut write,
            &entry(by, "lens corrected", lens, detail, now_ms),
        )
        .await?;
        write.commit().await?;
        Ok(())
    }

    /// Whether a lens is of this account alone: made by it, or shot by it, and shot by nobody else.
    pub async fn is_lens_of_one(
        &self,
        lens: LensId,
        account: AccountId,
    ) -> Result<bool, StoreError> {
        Ok(sqlx::query_scalar(
            "SELECT NOT EXISTS (SELECT 1 FROM sweeps WHERE lens_id = ?1 AND account_id <> ?2)
                AND NOT EXISTS (SELECT 1 FROM uploads WHERE lens_id = ?1 AND account_id <> ?2)
                AND (EXISTS (SELECT 1 FROM lenses WHERE id = ?1 AND created_by = ?2)
                  OR EXISTS (SELECT 1 FROM sweeps WHERE lens_id = ?1)
                  OR EXISTS (SELECT 1 FROM uploads WHERE lens_id = ?1))",
        )
        .bind(lens)
        .bind(account)
        .fetch_one(&self.readers)
        .await?)
    }

    /// Makes one lens of two: everything of `from` goes to `into`, whose read models are remade, and the slug of `from` leads on.
    /// # Errors: `Conflict` for a lens and itself.
    pub async fn merge_lenses(
        &self,
        from: &Lens,
        into: &Lens,
        by: Actor,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        if from.id == into.id {
            return Err(StoreError::Conflict(
                "a lens can't be merged with itself; choose another one".to_owned(),
            ));
        }
        let mut write = self.write().await?;
        for sql in [
            "UPDATE uploads SET lens_id = ?2 WHERE lens_id = ?1",
            "UPDATE sweeps SET lens_id = ?2 WHERE lens_id = ?1",
            "UPDATE publications SET lens_id = ?2 WHERE lens_id = ?1",
            "UPDATE lens_names SET lens_id = ?2 WHERE lens_id = ?1",
            "UPDATE lens_former_slugs SET lens_id = ?2 WHERE lens_id = ?1",
            "INSERT INTO lens_former_slugs (slug, lens_id) SELECT slug, ?2 FROM lenses WHERE id = ?1",
        ] {
            sqlx::query(sql)
                .bind(from.id)
                .bind(into.id)
                .execute(&mut *write)
                .await?;
        }
        sqlx::query("DELETE FROM lenses WHERE id = ?1")
            .bind(from.id)
            .execute(&mut *write)
            .await?;
        remake(&mut write, into.id).await?;
        let detail = format!("{} ({}) went into it", from.about.name(), from.slug);
        add_audit_row(
            &mut write,
            &entry(by, "lenses merged", into, detail, now_ms),
        )
        .await?;
        write.commit().await?;
        Ok(())
    }

    /// Files a sweep under another lens, changes what is said of it as [`Store::change_sweep`] does, and queues it, as closest
    /// focus and range of the lens go into its measurement; all of it or nothing.
    /// # Errors: `Conflict` while a version of it is public, when it is filed so already, or when there is no such sweep.
    pub async fn move_sweep(
        &self,
        sweep: SweepId,
        into: &Lens,
        change: impl FnOnce(&mut Said) + Send,
        by: Actor,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let conflict = |words: &str| Err(StoreError::Conflict(words.to_owned()));
        let mut write = self.write().await?;
        let held: Option<(LensId, Option<i64>)> =
            sqlx::query_as("SELECT lens_id, public_id FROM sweeps WHERE id = ?1")
                .bind(sweep)
                .fetch_optional(&mut *write)
                .await?;
        let Some((from, public)) = held else {
            return conflict("there is no such sweep");
        };
        if public.is_some() {
            return conflict(
                "this sweep is public under its lens; withdraw it first, with a reason that readers see",
            );
        }
        if from == into.id {
            return conflict("the sweep is filed under this lens already");
        }
        for sql in [
            "UPDATE sweeps SET lens_id = ?2 WHERE id = ?1",
            "UPDATE publications SET lens_id = ?2 WHERE sweep_id = ?1",
        ] {
            sqlx::query(sql)
                .bind(sweep)
                .bind(into.id)
                .execute(&mut *write)
                .await?;
        }
        change_said(&mut write, sweep, change).await?;
        remake(&mut write, from).await?;
        remake(&mut write, into.id).await?;
        queue_anew(&mut write, sweep, now_ms).await?;
        let detail = format!("sweep {sweep} was filed under another lens");
        add_audit_row(&mut write, &entry(by, "sweep moved", into, detail, now_ms)).await?;
        write.commit().await?;
        Ok(())
    }

    /// Slug of the lens that the one of this former slug was merged into.
    pub async fn slug_after_merge(&self, slug: &str) -> Result<Option<String>, StoreError> {
        Ok(sqlx::query_scalar(AFTER_MERGE)
            .bind(slug)
            .fetch_optional(&self.readers)
            .await?)
    }
}

fn entry(by: Actor, action: &'static str, lens: &Lens, detail: String, at_ms: i64) -> AuditEntry {
    AuditEntry {
        at_ms,
        account: Some(by.account),
        action,
        subject: lens.slug.clone(),
        detail,
        request_id: by.request_id,
    }
}

/// Whether a slug is or was the name of a lens.
pub(super) async fn is_slug_held(
    write: &mut SqliteConnection,
    slug: &str,
) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar(
        "SELECT EXISTS (SELECT 1 FROM lenses WHERE slug = ?1) OR EXISTS (SELECT 1 FROM lens_former_slugs WHERE slug = ?1)",
    )
    .bind(slug)
    .fetch_one(write)
    .await?)
}
