//! Accounts, their sessions and tokens. Passwords arrive here already hashed.

use super::{Store, StoreError};

/// Key of an account.
pub type AccountId = i64;

/// What an account may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// Own uploads and sweeps.
    Reviewer,
    /// All sweeps and accounts.
    Operator,
}

impl Role {
    /// The word for the role in options and storage.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Reviewer => "reviewer",
            Self::Operator => "operator",
        }
    }
}

/// Somebody who can sign in.
#[derive(Debug, Clone)]
pub struct Account {
    /// Key.
    pub id: AccountId,
    /// Name to sign in with and to be named as reviewer.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// argon2id hash in PHC form.
    pub password_hash: String,
}

/// A session that is alive, with its account.
#[derive(Debug, Clone)]
pub struct SessionRow {
    /// Key of the session.
    pub id: i64,
    /// Whose it is.
    pub account: Account,
    /// When it was made, ms since 1970 UTC.
    pub created_ms: i64,
    /// When it was last used, ms since 1970 UTC.
    pub seen_ms: i64,
}

#[allow(unused_variables, clippy::unused_async)]
impl Store {
    /// Makes an account. # Errors: `Conflict` when the name is taken.
    pub async fn add_account(
        &self,
        name: &str,
        role: Role,
        password_hash: &str,
        now_ms: i64,
    ) -> Result<AccountId, StoreError> {
        unimplemented!()
    }
    /// The account of this name, whatever its case.
    pub async fn account_by_name(&self, name: &str) -> Result<Option<Account>, StoreError> {
        unimplemented!()
    }
    /// Starts a session; `token_sha256` is the hash of the secret that the browser keeps.
    pub async fn add_session(
        &self,
        account: AccountId,
        token_sha256: &[u8; 32],
        client: &str,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        unimplemented!()
    }
    /// The session of this token, if it was made after `created_after_ms` and seen after `seen_after_ms`.
    pub async fn session(
        &self,
        token_sha256: &[u8; 32],
        created_after_ms: i64,
        seen_after_ms: i64,
    ) -> Result<Option<SessionRow>, StoreError> {
        unimplemented!()
    }
    /// Notes that a session was used.
    pub async fn touch_session(&self, id: i64, now_ms: i64) -> Result<(), StoreError> {
        unimplemented!()
    }
    /// Ends a session for good.
    pub async fn end_session(&self, token_sha256: &[u8; 32]) -> Result<(), StoreError> {
        unimplemented!()
    }
}
