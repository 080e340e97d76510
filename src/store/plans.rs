//! How SQLite goes about the statements that every reader's page, every reviewer's desk and every claim run.
//!
//! Refused are: reading a table from end to end (`SCAN` without an index), and sorting the whole of it
//! (`USE TEMP B-TREE FOR ORDER BY`). Allowed are: a search by index; walking an index that is in the order asked for, where the
//! limit ends the walk; walking an index that holds all columns needed, to count; and the list of a parameter (`json_each`).

use sqlx::{Row, SqlSafeStr};

use super::{
    Store, content, desk, events, jobs, lens_changes, lens_page, lenses, published, results,
    sessions, shelf, sweeps, tokens,
};

/// What is wrong with a plan, line by line.
fn refused(plan: &[String]) -> Vec<&String> {
    plan.iter()
        .filter(|line| {
            let whole_table = line.starts_with("SCAN ")
                && !line.contains(" USING INDEX ")
                && !line.contains(" USING COVERING INDEX ")
                && !line.contains(" VIRTUAL TABLE INDEX ")
                && *line != "SCAN CONSTANT ROW";
            whole_table || line.contains("USE TEMP B-TREE FOR ORDER BY")
        })
        .collect()
}

async fn plan(store: &Store, statement: &'static str) -> Vec<String> {
    // Made of a constant of this crate.
    let explain = sqlx::AssertSqlSafe(format!("EXPLAIN QUERY PLAN {statement}"));
    sqlx::query(explain.into_sql_str())
        .fetch_all(&store.readers)
        .await
        .expect("a valid statement")
        .iter()
        .map(|row| row.get::<String, _>("detail"))
        .collect()
}

#[tokio::test]
async fn no_page_reads_or_sorts_a_whole_table() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let store = Store::open(&folder.path().join("breathmark.sqlite"))
        .await
        .expect("a new database");
    let statements = [
        content::CONTENT,
        shelf::CHANGED,
        shelf::LENSES,
        shelf::RESULTS,
        lens_page::LENS,
        lens_page::RESULTS,
        lens_page::HISTORY,
        lenses::MOUNTS,
        published::PUBLIC,
        published::VERSION,
        published::WITHDRAWAL,
        published::PUBLICATIONS,
        lens_changes::AFTER_MERGE,
        sweeps::SWEEP,
        sweeps::FRAMES,
        sweeps::FRAME,
        sweeps::WHOSE,
        results::RESULT,
        sessions::SESSION,
        tokens::TOKEN,
        events::MEASURED,
        jobs::COUNTS,
        jobs::NEWEST,
        desk::DESK_OF_ONE,
        desk::DESK_OF_UPLOAD,
        events::NEWEST,
        events::NEWEST_WITHDRAWN,
        jobs::CLAIM,
        jobs::SET_ASIDE_VANISHED,
    ];
    for statement in statements {
        let plan = plan(&store, statement).await;
        assert!(!plan.is_empty(), "{statement}");
        assert!(
            refused(&plan).is_empty(),
            "{statement}\n{}",
            plan.join("\n")
        );
    }
}

#[tokio::test]
async fn a_plan_that_reads_or_sorts_a_whole_table_is_told_apart() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let store = Store::open(&folder.path().join("breathmark.sqlite"))
        .await
        .expect("a new database");
    for statement in [
        "SELECT * FROM lenses WHERE max_aperture < 2",
        "SELECT * FROM focal_results ORDER BY published_ms",
    ] {
        assert!(
            !refused(&plan(&store, statement).await).is_empty(),
            "{statement}"
        );
    }
}
