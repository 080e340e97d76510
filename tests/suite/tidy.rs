//! The rules of the house that one crate can't enforce by itself: who may know whom, where words may stand, sizes.

use std::fs;
use std::path::{Path, PathBuf};

/// The rooms, ground floor first: a room may use those before it, never one after it.
const HOUSE: [&str; 15] = [
    "units", "optics", "measure", "sweep", "simulate", "intake", "store", "charts", "report",
    "config", "worker", "backup", "app", "web", "cli",
];

/// Rooms that are pure: bytes in, values out.
const PURE: [&str; 4] = ["units", "optics", "measure", "sweep"];

/// What a pure room must not know.
const IMPURE: [&str; 9] = [
    "tokio",
    "axum",
    "sqlx",
    "askama",
    "std::fs",
    "std::net",
    "std::env",
    "SystemTime",
    "Instant::now",
];

/// A file longer than this is looked at again; none may be longer.
const MOST_LINES: usize = 400;

/// What lies at the top of the repository, beside dot-files.
const TOP: [&str; 11] = [
    "Cargo.toml",
    "Cargo.lock",
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "migrations",
    "src",
    "templates",
    "static",
    "tests",
    "seed-data",
];

struct Source {
    /// Path from the repository's top, with `/`.
    path: String,
    /// Text without comments and without the inline tests at its end.
    code: String,
    lines: usize,
}

impl Source {
    /// The room a file of `src/` belongs to.
    fn room(&self) -> &str {
        let inside = self.path.trim_start_matches("src/");
        inside
            .split('/')
            .next()
            .unwrap_or(inside)
            .trim_end_matches(".rs")
    }
}

fn top() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn sources(folder: &str) -> Vec<Source> {
    let mut found = Vec::new();
    walk(&top().join(folder), &mut found);
    found.sort();
    found
        .into_iter()
        .filter(|path| path.extension().is_some_and(|extension| extension == "rs"))
        .map(|path| {
            let text = fs::read_to_string(&path).expect("a source file is text");
            let before_tests = text.split("#[cfg(test)]\nmod ").next().unwrap_or(&text);
            let code: Vec<&str> = before_tests
                .lines()
                .filter(|line| !line.trim_start().starts_with("//"))
                .collect();
            Source {
                path: path
                    .strip_prefix(top())
                    .expect("it lies in the repository")
                    .to_string_lossy()
                    .into_owned(),
                code: code.join("\n"),
                lines: text.lines().count(),
            }
        })
        .collect()
}

fn walk(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("the folder can be listed") {
        let path = entry.expect("an entry can be read").path();
        if path.is_dir() {
            if path.file_name().is_some_and(|name| name != "target") {
                walk(&path, found);
            }
        } else {
            found.push(path);
        }
    }
}

/// Every `crate::room` that a file names.
fn rooms_used(code: &str) -> impl Iterator<Item = &str> {
    code.split("crate::").skip(1).filter_map(|rest| {
        rest.split(|c: char| !c.is_alphanumeric() && c != '_')
            .next()
            .filter(|word| HOUSE.contains(word))
    })
}

#[test]
fn a_room_uses_only_the_rooms_below_it() {
    let floor = |room: &str| HOUSE.iter().position(|known| *known == room);
    for source in sources("src") {
        let Some(own) = floor(source.room()) else {
            continue;
        };
        for used in rooms_used(&source.code) {
            assert!(
                floor(used) <= Some(own),
                "{} is in the room `{}` and must not use the room `{used}` above it",
                source.path,
                source.room(),
            );
        }
    }
}

#[test]
fn every_file_of_the_house_is_in_a_room() {
    let loose = ["lib", "main", "build"];
    for source in sources("src") {
        let room = source.room();
        assert!(
            HOUSE.contains(&room) || loose.contains(&room),
            "{} is in no room",
            source.path
        );
        for word in ["utils", "helpers", "common", "manager", "service"] {
            assert!(
                !source.path.contains(word),
                "{}: `{word}` says nothing",
                source.path
            );
        }
    }
}

#[test]
fn the_core_is_pure() {
    for source in sources("src")
        .iter()
        .filter(|source| PURE.contains(&source.room()))
    {
        for word in IMPURE {
            assert!(
                !source.code.contains(word),
                "{} must not know {word}",
                source.path
            );
        }
        assert!(
            !source.code.contains("Serialize"),
            "{}: core types are not serialised",
            source.path
        );
    }
}

#[test]
fn sql_is_in_the_store_and_status_codes_are_in_the_web() {
    for source in sources("src") {
        if source.room() != "store" {
            assert!(
                !source.code.contains("sqlx"),
                "{}: SQL belongs into store/",
                source.path
            );
        }
        if source.room() != "web" {
            for word in ["StatusCode", "IntoResponse"] {
                assert!(
                    !source.code.contains(word),
                    "{}: {word} belongs into web/",
                    source.path
                );
            }
        }
    }
}

#[test]
fn files_are_short_enough_to_read() {
    for source in sources("src").iter().chain(&sources("tests")) {
        assert!(
            source.lines <= MOST_LINES,
            "{} has {} lines: look whether it holds two rooms",
            source.path,
            source.lines
        );
    }
}

#[test]
fn the_top_of_the_repository_holds_what_was_agreed() {
    for entry in fs::read_dir(top()).expect("the top can be listed") {
        let name = entry
            .expect("an entry can be read")
            .file_name()
            .to_string_lossy()
            .into_owned();
        let built = name == "target" || name == "data";
        assert!(
            built || name.starts_with('.') || TOP.contains(&name.as_str()),
            "{name} does not belong there"
        );
    }
    for name in TOP {
        assert!(top().join(name).exists(), "{name} is missing");
    }
}

#[test]
fn every_finding_of_the_program_is_explained() {
    for code in breathmark::sweep::Code::ALL {
        assert!(code.title().len() > 10, "{code} has no title");
        assert!(code.advice().len() > 20, "{code} says not what to do");
        assert_eq!(breathmark::sweep::Code::from_code(code.code()), Some(*code));
    }
}

/// A line that was broken in the source without a word to the compiler shows as a row of blanks to readers.
#[test]
fn no_text_of_the_program_has_a_hole() {
    use breathmark::sweep::{Code, Part};
    let findings = Code::ALL
        .iter()
        .flat_map(|code| [code.title(), code.advice()]);
    let parts = Part::ALL.iter().map(|part| part.description());
    for text in findings.chain(parts) {
        assert!(!text.contains("  "), "{text}");
    }
}

/// The fuzz targets build the readers with the dependencies that the program has, and with the rooms that readers may use.
#[test]
fn the_fuzz_package_has_the_readers_and_their_dependencies() {
    let read = |path: &str| fs::read_to_string(top().join(path)).expect("a text file");
    let own = read("Cargo.toml");
    let fuzz = read("tests/fuzz/Cargo.toml");
    let (_, dependencies) = fuzz.split_once("[dependencies]\n").expect("dependencies");
    let lines = dependencies.lines().take_while(|line| !line.is_empty());
    let shared: Vec<&str> = lines
        .filter(|line| !line.starts_with("libfuzzer-sys"))
        .collect();
    assert!(!shared.is_empty());
    for line in shared {
        assert!(own.lines().any(|known| known == line), "{line}");
    }
    let rooms = read("tests/fuzz/readers.rs");
    for room in &HOUSE[..=5] {
        // Nothing that reads from outside is in the simulator.
        let wanted = *room != "simulate";
        assert_eq!(
            rooms.contains(&format!("pub mod {room};")),
            wanted,
            "{room}"
        );
    }
}
