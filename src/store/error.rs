//! Why the store could not do what was asked, and how SQLite's own codes are read.

/// Why the store could not do what was asked.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// Another writer held the database for longer than the busy timeout.
    #[error("the database is busy; try again in a moment")]
    Busy,
    /// The disk is full or may not be written.
    #[error("the data folder can't be written: {0}")]
    Unwritable(String),
    /// It contradicts what is there already; the text says what and how to mend it.
    #[error("{0}")]
    Conflict(String),
    /// Another file of this name is there already.
    #[error("there is another file \"{0}\" in this upload already; give it another name")]
    OtherBytes(String),
    /// What is to be published is public already, word for word.
    #[error("the newest result is public already")]
    AlreadyPublic,
    /// The database was made by a newer version of the program.
    #[error("the database is newer than this program: {0}")]
    NewerSchema(String),
    /// The database was made by an older version of the program.
    #[error("the database is older than this program: {0}")]
    OlderSchema(String),
    /// The database file, or a document in it, does not read back.
    #[error("what is stored is damaged: {0}")]
    Damaged(String),
    /// Anything else that SQLite reports.
    #[error("database: {0}")]
    Sqlite(#[source] sqlx::Error),
}

// SQLite result codes, sqlite.org/rescode.html; an extended code has the primary one in its low byte.
const SQLITE_BUSY: i32 = 5;
const SQLITE_LOCKED: i32 = 6;
const SQLITE_READONLY: i32 = 8;
const SQLITE_IOERR: i32 = 10;
const SQLITE_CORRUPT: i32 = 11;
const SQLITE_FULL: i32 = 13;
const SQLITE_CANTOPEN: i32 = 14;
const SQLITE_NOTADB: i32 = 26;

impl From<sqlx::Error> for StoreError {
    fn from(error: sqlx::Error) -> Self {
        let database = match &error {
            // All connections were taken for as long as the busy timeout.
            sqlx::Error::PoolTimedOut => return Self::Busy,
            sqlx::Error::Io(io) => return Self::Unwritable(io.to_string()),
            sqlx::Error::Database(database) => database,
            _ => return Self::Sqlite(error),
        };
        if database.is_foreign_key_violation() {
            return Self::Conflict("something that this belongs to is not there".to_owned());
        }
        let primary = database
            .code()
            .and_then(|code| code.parse::<i32>().ok())
            .map(|code| code & 0xff);
        match primary {
            Some(SQLITE_BUSY | SQLITE_LOCKED) => Self::Busy,
            Some(SQLITE_FULL | SQLITE_READONLY | SQLITE_IOERR | SQLITE_CANTOPEN) => {
                Self::Unwritable(database.message().to_owned())
            }
            Some(SQLITE_CORRUPT | SQLITE_NOTADB) => Self::Damaged(database.message().to_owned()),
            _ => Self::Sqlite(error),
        }
    }
}

/// The error of an insert where a taken unique key means a conflict that is told in these words.
pub(super) fn taken(error: sqlx::Error, words: impl FnOnce() -> String) -> StoreError {
    match &error {
        sqlx::Error::Database(database) if database.is_unique_violation() => {
            StoreError::Conflict(words())
        }
        _ => error.into(),
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use sqlx::sqlite::SqliteConnectOptions;
    use sqlx::{ConnectOptions, SqliteConnection};

    use super::*;

    async fn connect(folder: &tempfile::TempDir) -> SqliteConnection {
        SqliteConnectOptions::new()
            .filename(folder.path().join("small.sqlite"))
            .create_if_missing(true)
            .busy_timeout(Duration::ZERO)
            .connect()
            .await
            .expect("a new database")
    }

    async fn error_of(connection: &mut SqliteConnection, statement: &'static str) -> StoreError {
        let outcome = sqlx::query(statement).execute(connection).await;
        outcome.expect_err("SQLite refuses this").into()
    }

    #[tokio::test]
    async fn what_sqlite_reports_is_told_apart() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let mut one = connect(&folder).await;
        let mut two = connect(&folder).await;
        for statement in ["CREATE TABLE t (v)", "BEGIN IMMEDIATE"] {
            sqlx::query(statement)
                .execute(&mut one)
                .await
                .expect("nobody else writes");
        }
        assert!(matches!(
            error_of(&mut two, "INSERT INTO t VALUES (1)").await,
            StoreError::Busy
        ));
        for statement in ["COMMIT", "PRAGMA max_page_count = 2"] {
            sqlx::query(statement)
                .execute(&mut one)
                .await
                .expect("nobody else writes");
        }
        let full = error_of(&mut one, "INSERT INTO t VALUES (zeroblob(100000))").await;
        assert!(matches!(full, StoreError::Unwritable(_)), "{full:?}");
        sqlx::query("PRAGMA query_only = ON")
            .execute(&mut two)
            .await
            .expect("a pragma");
        let readonly = error_of(&mut two, "INSERT INTO t VALUES (1)").await;
        assert!(
            matches!(readonly, StoreError::Unwritable(_)),
            "{readonly:?}"
        );
        let wrong = error_of(&mut two, "SELECT nothing").await;
        assert!(matches!(wrong, StoreError::Sqlite(_)), "{wrong:?}");
        assert!(matches!(
            StoreError::from(sqlx::Error::PoolTimedOut),
            StoreError::Busy
        ));
    }
}
