//! Sessions of browsers. Only the hash of the secret is kept.

use super::accounts::AccountRow;
use super::{Account, AccountId, Store, StoreError};

/// A session that is alive, with its account.
#[derive(Debug, Clone)]
pub struct SessionRow {
    /// Key of the session.
    pub id: i64,
    /// Whose it is.
    pub account: Account,
    /// Browser and address that it was made from.
    pub client: String,
    /// When it was made, ms since 1970 UTC.
    pub created_ms: i64,
    /// When it was last used, ms since 1970 UTC.
    pub seen_ms: i64,
}

#[derive(sqlx::FromRow)]
struct Row {
    session_id: i64,
    client: String,
    created_ms: i64,
    seen_ms: i64,
    #[sqlx(flatten)]
    account: AccountRow,
}

impl Row {
    fn read(self) -> Result<SessionRow, StoreError> {
        Ok(SessionRow {
            id: self.session_id,
            account: self.account.read()?,
            client: self.client,
            created_ms: self.created_ms,
            seen_ms: self.seen_ms,
        })
    }
}

/// Sessions with their accounts, for a query that says which.
macro_rules! sessions {
    () => {
        "SELECT s.id AS session_id, s.client, s.created_ms, s.seen_ms, a.id, a.name, a.role, a.password_hash
         FROM sessions s JOIN accounts a ON a.id = s.account_id "
    };
}

/// The session of a token.
pub(super) const SESSION: &str = concat!(
    sessions!(),
    "WHERE s.token_sha256 = ?1 AND s.created_ms > ?2 AND s.seen_ms > ?3"
);

impl Store {
    /// Starts a session; `token_sha256` is the hash of the secret that the browser keeps.
    pub async fn add_session(
        &self,
        account: AccountId,
        token_sha256: &[u8; 32],
        client: &str,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        sqlx::query(
            "INSERT INTO sessions (token_sha256, account_id, client, created_ms, seen_ms) VALUES (?1, ?2, ?3, ?4, ?4)",
        )
        .bind(token_sha256.as_slice())
        .bind(account)
        .bind(client)
        .bind(now_ms)
        .execute(&self.writer)
        .await?;
        Ok(())
    }

    /// The session of this token, if it was made after `created_after_ms` and seen after `seen_after_ms`.
    pub async fn session(
        &self,
        token_sha256: &[u8; 32],
        created_after_ms: i64,
        seen_after_ms: i64,
    ) -> Result<Option<SessionRow>, StoreError> {
        sqlx::query_as::<_, Row>(SESSION)
            .bind(token_sha256.as_slice())
            .bind(created_after_ms)
            .bind(seen_after_ms)
            .fetch_optional(&self.readers)
            .await?
            .map(Row::read)
            .transpose()
    }

    /// The sessions of an account, last used first.
    pub async fn sessions(&self, account: AccountId) -> Result<Vec<SessionRow>, StoreError> {
        sqlx::query_as::<_, Row>(concat!(
            sessions!(),
            "WHERE s.account_id = ?1 ORDER BY s.seen_ms DESC, s.id DESC"
        ))
        .bind(account)
        .fetch_all(&self.readers)
        .await?
        .into_iter()
        .map(Row::read)
        .collect()
    }

    /// Notes that a session was used.
    pub async fn touch_session(&self, id: i64, now_ms: i64) -> Result<(), StoreError> {
        sqlx::query("UPDATE sessions SET seen_ms = max(seen_ms, ?2) WHERE id = ?1")
            .bind(id)
            .bind(now_ms)
            .execute(&self.writer)
            .await?;
        Ok(())
    }

    /// Ends a session for good.
    pub async fn end_session(&self, token_sha256: &[u8; 32]) -> Result<(), StoreError> {
        sqlx::query("DELETE FROM sessions WHERE token_sha256 = ?1")
            .bind(token_sha256.as_slice())
            .execute(&self.writer)
            .await?;
        Ok(())
    }

    /// Ends one session of an account by its key. False when the account has no such session.
    pub async fn end_session_of(&self, account: AccountId, id: i64) -> Result<bool, StoreError> {
        let ended = sqlx::query("DELETE FROM sessions WHERE id = ?2 AND account_id = ?1")
            .bind(account)
            .bind(id)
            .execute(&self.writer)
            .await?
            .rows_affected();
        Ok(ended == 1)
    }

    /// Ends all sessions of an account but the one with the key `keep`; how many were ended.
    pub async fn end_other_sessions(
        &self,
        account: AccountId,
        keep: i64,
    ) -> Result<u64, StoreError> {
        Ok(
            sqlx::query("DELETE FROM sessions WHERE account_id = ?1 AND id <> ?2")
                .bind(account)
                .bind(keep)
                .execute(&self.writer)
                .await?
                .rows_affected(),
        )
    }

    /// Removes the sessions that ended by age: made at or before `created_ms`, or last seen at or before `seen_ms`.
    pub async fn sweep_sessions(&self, created_ms: i64, seen_ms: i64) -> Result<u64, StoreError> {
        Ok(
            sqlx::query("DELETE FROM sessions WHERE created_ms <= ?1 OR seen_ms <= ?2")
                .bind(created_ms)
                .bind(seen_ms)
                .execute(&self.writer)
                .await?
                .rows_affected(),
        )
    }
}
