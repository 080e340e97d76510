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
    /// The database was made by a newer version of the program.
    #[error("the database is newer than this program: {0}")]
    NewerSchema(String),
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
