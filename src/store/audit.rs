//! Who did what and when; rows are only ever added.

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

#[allow(unused_variables, clippy::unused_async)]
impl Store {
    /// Adds an audit row.
    pub async fn audit(&self, entry: &AuditEntry) -> Result<(), StoreError> {
        unimplemented!()
    }
    /// The newest audit rows.
    pub async fn audit_rows(&self, limit: u32) -> Result<Vec<AuditEntry>, StoreError> {
        unimplemented!()
    }
}
