//! Opening the database: connections, pragmas, migrations.

use std::path::Path;
use std::time::Duration;

use sqlx::migrate::{MigrateError, Migrator};
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous};
use sqlx::{Sqlite, Transaction};

use super::{Store, StoreError};

/// The migrations, embedded in the program.
static MIGRATIONS: Migrator = sqlx::migrate!("./migrations");

/// How long a writer waits for another one before it is told that the database is busy.
const BUSY_TIMEOUT: Duration = Duration::from_secs(5);

/// Connections that read; each has a thread of its own that mostly sleeps.
const READERS: u32 = 8;

/// Bytes that the write-ahead log keeps after a checkpoint.
const JOURNAL_SIZE_LIMIT: &str = "67108864";

/// Oldest SQLite whose write-ahead log is safe with two connections: versions 3.7.0 to 3.51.2 could lose a commit
/// (sqlite.org/wal.html, "the WAL-reset bug").
const OLDEST_SQLITE: (u32, u32, u32) = (3, 51, 3);

impl Store {
    /// Opens `path`, making and migrating it where needed.
    ///
    /// # Errors
    /// `NewerSchema` when the database was made by a newer program; `Unwritable` when the file can't be made;
    /// `Damaged` when the file is no database; `Busy` when another program is writing to it.
    pub async fn open(path: &Path) -> Result<Self, StoreError> {
        let options = options(path).create_if_missing(true);
        let writer = writer(&options).await?;
        migrate(&writer).await?;
        let store = Self::with(writer, options).await?;
        store.remake_if_older().await?;
        Ok(store)
    }

    /// Opens `path` for those who only look at it or copy it, perhaps beside an older program that serves it: its schema stays
    /// what it is, which may be an older one.
    ///
    /// # Errors
    /// As [`Self::open`]; `Damaged` also when it has no schema at all.
    pub async fn open_as_it_is(path: &Path) -> Result<Self, StoreError> {
        let options = options(path);
        let writer = writer(&options).await?;
        match schema(&writer).await? {
            None => Err(StoreError::Damaged("the database is empty".to_owned())),
            Some(_) => Self::with(writer, options).await,
        }
    }

    /// Opens `path` for a command that changes something, perhaps beside an older program that serves it: where there is a
    /// schema, only the server brings it up to date.
    ///
    /// # Errors
    /// As [`Self::open`]; `OlderSchema` when the database was made by an older program.
    pub async fn open_beside(path: &Path) -> Result<Self, StoreError> {
        if path.exists() {
            let options = options(path);
            let writer = writer(&options).await?;
            let version = schema(&writer).await?;
            writer.close().await;
            if let Some(version) = version.filter(|version| *version < newest_migration()) {
                return Err(StoreError::OlderSchema(format!(
                    "it has schema {version}; start `breathmark serve` of this version, which makes it {}",
                    newest_migration()
                )));
            }
        }
        Self::open(path).await
    }

    async fn with(
        writer: sqlx::SqlitePool,
        options: SqliteConnectOptions,
    ) -> Result<Self, StoreError> {
        let readers = pool()
            .max_connections(READERS)
            .connect_with(options.pragma("query_only", "ON"))
            .await?;
        Ok(Self {
            writer,
            readers,
            shelf: super::shelf::NewestShelf::default(),
        })
    }

    /// A transaction of the only writer, with the write lock already held.
    pub(super) async fn write(&self) -> Result<Transaction<'static, Sqlite>, StoreError> {
        Ok(self.writer.begin_with("BEGIN IMMEDIATE").await?)
    }

    /// A transaction that sees one state of the database in all its queries and blocks nobody.
    pub(super) async fn read(&self) -> Result<Transaction<'static, Sqlite>, StoreError> {
        Ok(self.readers.begin().await?)
    }

    /// Writes one state of the database into a new file, without its write-ahead log. Writers go on meanwhile.
    pub async fn copy_to(&self, path: &Path) -> Result<(), StoreError> {
        sqlx::query("VACUUM INTO ?1")
            .bind(path.to_string_lossy().into_owned())
            .execute(&self.writer)
            .await?;
        Ok(())
    }

    /// Closes all connections; the write-ahead log is folded into the database.
    pub async fn close(&self) {
        self.readers.close().await;
        self.writer.close().await;
    }

    /// Version of the newest migration that the database has.
    pub async fn schema_version(&self) -> Result<i64, StoreError> {
        let version: Option<i64> =
            sqlx::query_scalar("SELECT max(version) FROM _sqlx_migrations WHERE success")
                .fetch_one(&self.readers)
                .await?;
        Ok(version.unwrap_or(0))
    }
}

/// How every connection is set up.
fn options(path: &Path) -> SqliteConnectOptions {
    SqliteConnectOptions::new()
        .filename(path)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        .foreign_keys(true)
        .busy_timeout(BUSY_TIMEOUT)
        .pragma("journal_size_limit", JOURNAL_SIZE_LIMIT)
        .pragma("trusted_schema", "OFF")
}

fn pool() -> SqlitePoolOptions {
    SqlitePoolOptions::new()
        .acquire_timeout(BUSY_TIMEOUT)
        .idle_timeout(None)
        .max_lifetime(None)
        // A connection inside this process does not go stale; asking it first doubles the cost of a query.
        .test_before_acquire(false)
}

/// The only connection that writes.
async fn writer(options: &SqliteConnectOptions) -> Result<sqlx::SqlitePool, StoreError> {
    let writer = pool()
        .max_connections(1)
        .connect_with(options.clone())
        .await?;
    assert_sqlite_version(&writer).await?;
    Ok(writer)
}

async fn assert_sqlite_version(pool: &sqlx::SqlitePool) -> Result<(), StoreError> {
    let text: String = sqlx::query_scalar("SELECT sqlite_version()")
        .fetch_one(pool)
        .await?;
    if parse_version(&text).is_some_and(|version| version >= OLDEST_SQLITE) {
        return Ok(());
    }
    let (major, minor, patch) = OLDEST_SQLITE;
    let words = format!(
        "SQLite {text} can lose what was written; build with {major}.{minor}.{patch} or newer"
    );
    Err(StoreError::Sqlite(sqlx::Error::Configuration(words.into())))
}

fn parse_version(text: &str) -> Option<(u32, u32, u32)> {
    let mut parts = text.split('.').map(|part| part.parse::<u32>().ok());
    Some((parts.next()??, parts.next()??, parts.next()??))
}

async fn migrate(writer: &sqlx::SqlitePool) -> Result<(), StoreError> {
    MIGRATIONS.run(writer).await.map_err(|error| match error {
        MigrateError::VersionMissing(version) => newer(version),
        MigrateError::VersionMismatch(version) => StoreError::NewerSchema(format!(
            "its schema {version} is not the one of this program; use the program that made it"
        )),
        MigrateError::Execute(cause) | MigrateError::ExecuteMigration(cause, _) => cause.into(),
        other => StoreError::Sqlite(sqlx::Error::Migrate(Box::new(other))),
    })
}

/// Version of the newest migration; `None` in a database without a schema. # Errors: `NewerSchema` for one that a newer program
/// made.
async fn schema(writer: &sqlx::SqlitePool) -> Result<Option<i64>, StoreError> {
    let has_schema: bool = sqlx::query_scalar(
        "SELECT EXISTS (SELECT 1 FROM sqlite_schema WHERE name = '_sqlx_migrations')",
    )
    .fetch_one(writer)
    .await?;
    if !has_schema {
        return Ok(None);
    }
    let newest: Option<i64> = sqlx::query_scalar("SELECT max(version) FROM _sqlx_migrations")
        .fetch_one(writer)
        .await?;
    match newest {
        Some(version) if version > newest_migration() => Err(newer(version)),
        newest => Ok(newest),
    }
}

fn newer(version: i64) -> StoreError {
    StoreError::NewerSchema(format!(
        "it has schema {version}, this program knows up to {}; use the program that made it, or a newer one",
        newest_migration()
    ))
}

fn newest_migration() -> i64 {
    MIGRATIONS
        .iter()
        .map(|migration| migration.version)
        .max()
        .unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `migrate!` reads the folder when the crate is built; a file it did not notice would never reach a database.
    #[test]
    fn every_migration_file_is_embedded() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
        let files = std::fs::read_dir(folder)
            .expect("the migrations folder is in the checkout")
            .filter(|entry| {
                let path = entry.as_ref().expect("readable folder").path();
                path.extension().is_some_and(|extension| extension == "sql")
            })
            .count();
        assert_eq!(MIGRATIONS.iter().count(), files);
        assert!(files >= 1);
    }

    #[test]
    fn versions_compare_by_number() {
        assert_eq!(parse_version("3.51.3"), Some(OLDEST_SQLITE));
        assert!(parse_version("3.9.12") < parse_version("3.51.3"));
        assert!(parse_version("3.100.0") > parse_version("3.51.3"));
        assert_eq!(parse_version("new"), None);
    }
}
