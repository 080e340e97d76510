//! Accounts. Passwords arrive here already hashed.

use super::document::known;
use super::error::taken;
use super::{Store, StoreError};
use crate::units::choice;

/// Key of an account.
pub type AccountId = i64;

choice! {
    /// What an account may do.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub enum Role {
        /// Own uploads and sweeps.
        Reviewer = "reviewer",
        /// All sweeps and accounts.
        Operator = "operator",
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

/// The columns of an account, to be flattened into rows of others.
#[derive(sqlx::FromRow)]
pub(super) struct AccountRow {
    id: i64,
    name: String,
    role: String,
    password_hash: String,
}

impl AccountRow {
    pub(super) fn read(self) -> Result<Account, StoreError> {
        Ok(Account {
            id: self.id,
            name: self.name,
            role: known("role", &self.role, Role::from_code)?,
            password_hash: self.password_hash,
        })
    }
}

impl Store {
    /// Makes an account. # Errors: `Conflict` when the name is taken or is not 1 to 64 characters long.
    pub async fn add_account(
        &self,
        name: &str,
        role: Role,
        password_hash: &str,
        now_ms: i64,
    ) -> Result<AccountId, StoreError> {
        if !(1..=64).contains(&name.chars().count()) {
            return Err(StoreError::Conflict(
                "an account name has 1 to 64 characters".to_owned(),
            ));
        }
        sqlx::query_scalar(
            "INSERT INTO accounts (name, role, password_hash, created_ms) VALUES (?1, ?2, ?3, ?4) RETURNING id",
        )
        .bind(name)
        .bind(role.code())
        .bind(password_hash)
        .bind(now_ms)
        .fetch_one(&self.writer)
        .await
        .map_err(|error| taken(error, || format!("there is an account \"{name}\" already")))
    }

    /// The account of this name, whatever its case.
    pub async fn account_by_name(&self, name: &str) -> Result<Option<Account>, StoreError> {
        sqlx::query_as::<_, AccountRow>(
            "SELECT id, name, role, password_hash FROM accounts WHERE name = ?1",
        )
        .bind(name)
        .fetch_optional(&self.readers)
        .await?
        .map(AccountRow::read)
        .transpose()
    }

    /// The account of this key.
    pub async fn account(&self, id: AccountId) -> Result<Option<Account>, StoreError> {
        sqlx::query_as::<_, AccountRow>(
            "SELECT id, name, role, password_hash FROM accounts WHERE id = ?1",
        )
        .bind(id)
        .fetch_optional(&self.readers)
        .await?
        .map(AccountRow::read)
        .transpose()
    }

    /// All accounts by name.
    pub async fn accounts(&self) -> Result<Vec<Account>, StoreError> {
        sqlx::query_as::<_, AccountRow>(
            "SELECT id, name, role, password_hash FROM accounts ORDER BY name",
        )
        .fetch_all(&self.readers)
        .await?
        .into_iter()
        .map(AccountRow::read)
        .collect()
    }

    /// Gives an account a new password and, in the same transaction, ends all its sessions but `keep`.
    /// False when there is no such account.
    pub async fn set_password(
        &self,
        account: AccountId,
        password_hash: &str,
        keep: Option<i64>,
    ) -> Result<bool, StoreError> {
        let mut write = self.write().await?;
        let changed = sqlx::query("UPDATE accounts SET password_hash = ?2 WHERE id = ?1")
            .bind(account)
            .bind(password_hash)
            .execute(&mut *write)
            .await?
            .rows_affected();
        sqlx::query("DELETE FROM sessions WHERE account_id = ?1 AND id IS NOT ?2")
            .bind(account)
            .bind(keep)
            .execute(&mut *write)
            .await?;
        write.commit().await?;
        Ok(changed == 1)
    }

    /// Changes what an account may do. False when there is no such account.
    ///
    /// # Errors
    /// `Conflict` when no operator would be left.
    pub async fn set_role(&self, account: AccountId, role: Role) -> Result<bool, StoreError> {
        let mut write = self.write().await?;
        let others: i64 = sqlx::query_scalar(
            "SELECT count(*) FROM accounts WHERE role = 'operator' AND id <> ?1",
        )
        .bind(account)
        .fetch_one(&mut *write)
        .await?;
        let changed = sqlx::query("UPDATE accounts SET role = ?2 WHERE id = ?1 AND role <> ?2")
            .bind(account)
            .bind(role.code())
            .execute(&mut *write)
            .await?
            .rows_affected();
        if changed == 1 && role != Role::Operator && others == 0 {
            return Err(StoreError::Conflict(
                "this is the only operator; make another one first".to_owned(),
            ));
        }
        let there: Option<i64> = sqlx::query_scalar("SELECT id FROM accounts WHERE id = ?1")
            .bind(account)
            .fetch_optional(&mut *write)
            .await?;
        write.commit().await?;
        Ok(there.is_some())
    }
}
