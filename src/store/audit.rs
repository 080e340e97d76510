//! Who did what and when; rows are only ever added. No page shows them: they are there to be asked by SQL when it matters.

use sqlx::SqliteConnection;

use super::{AccountId, Store, StoreError};

/// Something worth keeping: sign-in, publish, withdraw, account made.
#[derive(Debug, Clone)]
pub struct AuditEntry {
    /// When, ms since 1970 UTC.
    pub at_ms: i64,
    /// Who; `None` where nobody is signed in.
    pub account: Option<AccountId>,
    /// What was done, e.g. "publish".
    pub action: &'static str,
    /// To what, e.g. "sweep 12".
    pub subject: String,
    /// More about it; never a secret.
    pub detail: String,
    /// Request that it belongs to.
    pub request_id: Option<String>,
}

/// An audit row as it is read.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::FromRow)]
pub struct AuditRow {
    /// When, ms since 1970 UTC.
    pub at_ms: i64,
    /// Name of the account; `None` where nobody was signed in.
    pub account: Option<String>,
    /// What was done.
    pub action: String,
    /// To what.
    pub subject: String,
    /// More about it.
    pub detail: String,
    /// Request that it belongs to.
    pub request_id: Option<String>,
}

/// Who does something that leaves an audit row; an account's key alone will do.
#[derive(Debug, Clone)]
pub struct Actor {
    /// Whose doing it is.
    pub account: AccountId,
    /// Request that it comes with.
    pub request_id: Option<String>,
}

impl From<AccountId> for Actor {
    fn from(account: AccountId) -> Self {
        Self {
            account,
            request_id: None,
        }
    }
}

impl Store {
    /// Adds an audit row.
    pub async fn audit(&self, entry: &AuditEntry) -> Result<(), StoreError> {
        let mut writer = self.writer.acquire().await?;
        add_audit_row(&mut writer, entry).await
    }

    /// The newest audit rows, as tests and those who look into something read them.
    pub async fn audit_rows(&self, limit: u32) -> Result<Vec<AuditRow>, StoreError> {
        Ok(sqlx::query_as(
            "SELECT e.at_ms, a.name AS account, e.action, e.subject, e.detail, e.request_id
             FROM audit e LEFT JOIN accounts a ON a.id = e.account_id ORDER BY e.id DESC LIMIT ?1",
        )
        .bind(limit)
        .fetch_all(&self.readers)
        .await?)
    }
}

/// Adds an audit row to the transaction of what it tells of.
pub(super) async fn add_audit_row(
    write: &mut SqliteConnection,
    entry: &AuditEntry,
) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO audit (at_ms, account_id, action, subject, detail, request_id) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )
    .bind(entry.at_ms)
    .bind(entry.account)
    .bind(entry.action)
    .bind(&entry.subject)
    .bind(&entry.detail)
    .bind(&entry.request_id)
    .execute(write)
    .await?;
    Ok(())
}
