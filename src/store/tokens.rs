//! Tokens of scripts. Only the hash of a token is kept; it is shown once, when it is made.

use super::accounts::AccountRow;
use super::document::known;
use super::{Account, AccountId, Store, StoreError};
use crate::units::choice;

choice! {
    /// What a token may do on behalf of its account.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub enum TokenScope {
        /// Uploads, and changes of drafts.
        Drafts = "drafts",
        /// Also publishes and withdraws.
        Publish = "publish",
    }
}

/// A token to be made.
#[derive(Debug, Clone)]
pub struct TokenDraft {
    /// Whose it is.
    pub account: AccountId,
    /// What its owner calls it.
    pub name: String,
    /// What it may do.
    pub scope: TokenScope,
    /// When it ends, ms since 1970 UTC.
    pub expires_ms: i64,
}

/// A token that may be used now.
#[derive(Debug, Clone)]
pub struct LiveToken {
    /// Key of the token.
    pub id: i64,
    /// Whose it is.
    pub account: Account,
    /// What it may do.
    pub scope: TokenScope,
    /// When it was last used, ms since 1970 UTC.
    pub used_ms: Option<i64>,
}

/// A token as its owner sees it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TokenRow {
    /// Key of the token.
    pub id: i64,
    /// What its owner calls it.
    pub name: String,
    /// What it may do.
    pub scope: TokenScope,
    /// When it was made, ms since 1970 UTC.
    pub created_ms: i64,
    /// When it ends, ms since 1970 UTC.
    pub expires_ms: i64,
    /// When it was last used, ms since 1970 UTC.
    pub used_ms: Option<i64>,
    /// When it was revoked, ms since 1970 UTC.
    pub revoked_ms: Option<i64>,
}

impl TokenDraft {
    /// A token that lasts so many days from `now_ms`.
    #[must_use]
    pub fn lasting(
        account: AccountId,
        name: String,
        scope: TokenScope,
        days: f64,
        now_ms: i64,
    ) -> Self {
        // Days of a year at most: far from the ends of both number types.
        #[allow(clippy::cast_possible_truncation, reason = "at most some 1e11 ms")]
        let lasts_ms = (days * 86_400_000.0) as i64;
        Self {
            account,
            name,
            scope,
            expires_ms: now_ms.saturating_add(lasts_ms),
        }
    }
}

/// The token of a hash, unless it is revoked or over.
pub(super) const TOKEN: &str =
    "SELECT t.id AS token_id, t.scope, t.used_ms, a.id, a.name, a.role, a.password_hash
    FROM tokens t JOIN accounts a ON a.id = t.account_id
    WHERE t.token_sha256 = ?1 AND t.expires_ms > ?2 AND t.revoked_ms IS NULL";

impl Store {
    /// Makes a token; `token_sha256` is the hash of the secret that its owner keeps.
    pub async fn add_token(
        &self,
        draft: &TokenDraft,
        token_sha256: &[u8; 32],
        now_ms: i64,
    ) -> Result<i64, StoreError> {
        if !(1..=64).contains(&draft.name.chars().count()) {
            return Err(StoreError::Conflict(
                "a token name has 1 to 64 characters".to_owned(),
            ));
        }
        Ok(sqlx::query_scalar(
            "INSERT INTO tokens (token_sha256, account_id, name, scope, created_ms, expires_ms)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6) RETURNING id",
        )
        .bind(token_sha256.as_slice())
        .bind(draft.account)
        .bind(&draft.name)
        .bind(draft.scope.code())
        .bind(now_ms)
        .bind(draft.expires_ms)
        .fetch_one(&self.writer)
        .await?)
    }

    /// The token of this hash, unless it is revoked or over.
    pub async fn live_token(
        &self,
        token_sha256: &[u8; 32],
        now_ms: i64,
    ) -> Result<Option<LiveToken>, StoreError> {
        #[derive(sqlx::FromRow)]
        struct Row {
            token_id: i64,
            scope: String,
            used_ms: Option<i64>,
            #[sqlx(flatten)]
            account: AccountRow,
        }
        let row = sqlx::query_as::<_, Row>(TOKEN)
            .bind(token_sha256.as_slice())
            .bind(now_ms)
            .fetch_optional(&self.readers)
            .await?;
        row.map(|row| {
            Ok(LiveToken {
                id: row.token_id,
                account: row.account.read()?,
                scope: known("token scope", &row.scope, TokenScope::from_code)?,
                used_ms: row.used_ms,
            })
        })
        .transpose()
    }

    /// The tokens of an account, newest first, revoked ones too.
    pub async fn tokens(&self, account: AccountId) -> Result<Vec<TokenRow>, StoreError> {
        #[derive(sqlx::FromRow)]
        struct Row {
            id: i64,
            name: String,
            scope: String,
            created_ms: i64,
            expires_ms: i64,
            used_ms: Option<i64>,
            revoked_ms: Option<i64>,
        }
        sqlx::query_as::<_, Row>(
            "SELECT id, name, scope, created_ms, expires_ms, used_ms, revoked_ms
             FROM tokens WHERE account_id = ?1 ORDER BY id DESC",
        )
        .bind(account)
        .fetch_all(&self.readers)
        .await?
        .into_iter()
        .map(|row| {
            Ok(TokenRow {
                id: row.id,
                name: row.name,
                scope: known("token scope", &row.scope, TokenScope::from_code)?,
                created_ms: row.created_ms,
                expires_ms: row.expires_ms,
                used_ms: row.used_ms,
                revoked_ms: row.revoked_ms,
            })
        })
        .collect()
    }

    /// Revokes a token of an account for good. False when the account has no such token, or it is revoked already.
    pub async fn revoke_token(
        &self,
        account: AccountId,
        id: i64,
        now_ms: i64,
    ) -> Result<bool, StoreError> {
        let revoked = sqlx::query(
            "UPDATE tokens SET revoked_ms = ?3 WHERE id = ?2 AND account_id = ?1 AND revoked_ms IS NULL",
        )
        .bind(account)
        .bind(id)
        .bind(now_ms)
        .execute(&self.writer)
        .await?
        .rows_affected();
        Ok(revoked == 1)
    }

    /// Notes that a token was used.
    pub async fn touch_token(&self, id: i64, now_ms: i64) -> Result<(), StoreError> {
        sqlx::query("UPDATE tokens SET used_ms = ?2 WHERE id = ?1")
            .bind(id)
            .bind(now_ms)
            .execute(&self.writer)
            .await?;
        Ok(())
    }
}
