//! Opening a database: new, again, newer, damaged, unwritable, and with writers that wait for each other.

use std::time::{Duration, Instant};

use breathmark::store::{Store, StoreError};
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, Connection, SqliteConnection};

use super::fixture::{Fresh, NOW};
use crate::support::program::{run, run_with_input, stderr, stdout};

pub(super) async fn connect(fresh: &Fresh) -> SqliteConnection {
    SqliteConnectOptions::new()
        .filename(fresh.folder.path().join("breathmark.sqlite"))
        .connect()
        .await
        .expect("the database is there")
}

/// The number of the last file in `migrations/`.
fn newest_migration() -> i64 {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
    std::fs::read_dir(folder)
        .expect("the migrations folder is in the checkout")
        .filter_map(|entry| {
            let name = entry.expect("readable folder").file_name();
            name.to_str()?.split('_').next()?.parse().ok()
        })
        .max()
        .expect("at least one migration")
}

#[tokio::test]
async fn what_is_stored_is_there_when_it_is_opened_again() {
    let fresh = Fresh::new().await;
    fresh.lens("Tindra", "Sound 85 f/1.8", (85.0, 85.0)).await;
    let schema = fresh.store.schema_version().await;
    assert_eq!(schema.expect("a working store"), newest_migration());
    fresh.store.close().await;

    let path = fresh.folder.path().join("breathmark.sqlite");
    let store = Store::open(&path).await.expect("the same database");
    let lenses = store.all_lenses().await.expect("a working store");
    assert_eq!(lenses[0].about.model, "Sound 85 f/1.8");
    assert!(
        store
            .integrity_check()
            .await
            .expect("a working store")
            .is_empty()
    );
}

#[tokio::test]
async fn the_promises_of_durability_are_switched_on() {
    let fresh = Fresh::new().await;
    let mut other = connect(&fresh).await;
    let mode: String = sqlx::query_scalar("PRAGMA journal_mode")
        .fetch_one(&mut other)
        .await
        .expect("a pragma");
    assert_eq!(mode, "wal");
    let strict: Vec<(String, i64)> = sqlx::query_as(
        "SELECT name, strict FROM pragma_table_list WHERE schema = 'main' AND type = 'table'",
    )
    .fetch_all(&mut other)
    .await
    .expect("a list of tables");
    for (table, strict) in strict {
        assert!(
            strict == 1 || table.starts_with("sqlite_") || table == "_sqlx_migrations",
            "{table} is not STRICT"
        );
    }
}

#[tokio::test]
async fn a_newer_database_is_refused_in_plain_words() {
    let fresh = Fresh::new().await;
    fresh.store.close().await;
    let mut other = connect(&fresh).await;
    sqlx::query("INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time) VALUES (1000, 'later', 1, x'00', 0)")
        .execute(&mut other).await.expect("a later migration");
    other.close().await.expect("closed");
    let path = fresh.folder.path().join("breathmark.sqlite");
    for refused in [Store::open(&path).await, Store::open_as_it_is(&path).await] {
        let Err(StoreError::NewerSchema(words)) = refused else {
            panic!("{refused:?}");
        };
        let known = format!("up to {}", newest_migration());
        assert!(
            words.contains("schema 1000") && words.contains(&known),
            "{words}"
        );
    }
}

/// Makes a database as the program made it before its newest migration.
async fn older(path: &std::path::Path) -> i64 {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
    let known = tempfile::tempdir().expect("a temporary folder");
    let newest = format!("{:04}_", newest_migration());
    for file in std::fs::read_dir(folder).expect("the migrations folder is in the checkout") {
        let file = file.expect("readable folder");
        let name = file.file_name();
        if !name.to_string_lossy().starts_with(&newest) {
            std::fs::copy(file.path(), known.path().join(name)).expect("copied");
        }
    }
    let migrator = sqlx::migrate::Migrator::new(known.path()).await;
    let mut database = SqliteConnectOptions::new()
        .filename(path)
        .create_if_missing(true)
        .connect()
        .await
        .expect("a new database");
    let migrated = migrator.expect("older migrations").run(&mut database).await;
    migrated.expect("an empty database");
    let version = schema_of(&mut database).await;
    database.close().await.expect("closed");
    version
}

async fn schema_of(database: &mut SqliteConnection) -> i64 {
    sqlx::query_scalar("SELECT max(version) FROM _sqlx_migrations")
        .fetch_one(database)
        .await
        .expect("a schema")
}

#[tokio::test]
async fn who_only_looks_leaves_an_older_database_as_it_is() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("breathmark.sqlite");
    let version = older(&path).await;
    assert!(version < newest_migration());
    let data = folder.path().to_str().expect("UTF-8");
    let backup = folder.path().join("backup.zip");
    let backup = backup.to_str().expect("UTF-8");
    for command in [
        &["doctor", "--data", data][..],
        &["backup", "--data", data, backup],
    ] {
        let ran = run(command);
        assert!(ran.status.success(), "{}{}", stdout(&ran), stderr(&ran));
    }
    let doctor = stdout(&run(&["doctor", "--data", data]));
    assert!(
        doctor.contains(&format!("schema        {version}")),
        "{doctor}"
    );
    // What would change something leaves that to the server.
    let add = [
        "account", "add", "Mara", "--role", "reviewer", "--data", data,
    ];
    for refused in [
        run(&["remeasure", "--data", data]),
        run(&["token", "add", "x", "--account", "Mara", "--data", data]),
        run(&["account", "password", "Mara", "--data", data]),
        run_with_input(&add, "tape on black cloth\n"),
    ] {
        assert_eq!(refused.status.code(), Some(2));
        let said = stderr(&refused);
        assert!(said.contains("breathmark serve"), "{said}");
    }
    let mut database = SqliteConnectOptions::new()
        .filename(&path)
        .connect()
        .await
        .expect("it is there");
    assert_eq!(schema_of(&mut database).await, version);

    let mut packed = zip::ZipArchive::new(std::fs::File::open(backup).expect("a backup"))
        .expect("a zip archive");
    let mut copy = packed.by_name("breathmark.sqlite").expect("the database");
    let copied = folder.path().join("copied.sqlite");
    let mut file = std::fs::File::create(&copied).expect("a writable folder");
    std::io::copy(&mut copy, &mut file).expect("copied");
    let mut copy = SqliteConnectOptions::new()
        .filename(&copied)
        .connect()
        .await
        .expect("a database");
    assert_eq!(schema_of(&mut copy).await, version, "of the form it had");
}

#[tokio::test]
async fn what_is_no_database_is_told_apart_from_what_cannot_be_made() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("breathmark.sqlite");
    std::fs::write(
        &path,
        "this is a shopping list, not a database\n".repeat(100),
    )
    .expect("a writable folder");
    assert!(matches!(
        Store::open(&path).await,
        Err(StoreError::Damaged(_))
    ));
    assert!(matches!(
        Store::open_as_it_is(&path).await,
        Err(StoreError::Damaged(_))
    ));
    let nowhere = Store::open(&folder.path().join("no/such/folder/breathmark.sqlite")).await;
    assert!(
        matches!(nowhere, Err(StoreError::Unwritable(_))),
        "{nowhere:?}"
    );
}

#[tokio::test]
async fn readers_go_on_beside_a_writer_and_a_writer_waits_for_its_turn() {
    let fresh = Fresh::new().await;
    let mut other = connect(&fresh).await;
    sqlx::query("BEGIN IMMEDIATE")
        .execute(&mut other)
        .await
        .expect("the write lock is free");
    sqlx::query("DELETE FROM lenses")
        .execute(&mut other)
        .await
        .expect("it holds the lock");

    let before = Instant::now();
    fresh
        .store
        .all_lenses()
        .await
        .expect("readers are not blocked");
    assert!(
        before.elapsed() < Duration::from_secs(1),
        "far less than the busy timeout"
    );

    let store = fresh.store.clone();
    let waiting = tokio::spawn(async move {
        store
            .add_account("Bo", breathmark::store::Role::Reviewer, "x", NOW)
            .await
    });
    tokio::time::sleep(Duration::from_millis(200)).await;
    assert!(!waiting.is_finished(), "it waits for the lock");
    sqlx::query("COMMIT")
        .execute(&mut other)
        .await
        .expect("a commit");
    waiting.await.expect("no panic").expect("its turn has come");
}

#[tokio::test]
async fn a_damaged_row_is_named() {
    let fresh = Fresh::new().await;
    let mut other = connect(&fresh).await;
    sqlx::query("PRAGMA foreign_keys = OFF")
        .execute(&mut other)
        .await
        .expect("a pragma");
    sqlx::query("INSERT INTO uploads (account_id, lens_id, state, conditions, created_ms) VALUES (1, 99, 'open', '{}', 0)")
        .execute(&mut other).await.expect("an orphan");
    let harm = fresh
        .store
        .integrity_check()
        .await
        .expect("a working store");
    assert_eq!(
        harm,
        ["uploads 1 refers to a row of lenses that is not there"]
    );
    assert!(matches!(
        fresh.store.upload(1).await,
        Err(StoreError::Damaged(_))
    ));
}
