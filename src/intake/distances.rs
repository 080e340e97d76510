//! A list of focus distances by file, as CSV: for cameras that don't write them.

use std::collections::BTreeMap;

use super::{IntakeError, display_path};
use crate::units::{Dioptres, FocusDistance, Metres};

/// Most bytes of a list.
const LARGEST: u64 = 4 << 20;

/// How a list says where the lens was focused.
#[derive(Clone, Copy)]
enum Unit {
    Metres,
    Dioptres,
}

/// Reads a list with the columns `file` and `distance_m` (or `dioptres`), in any order, other columns ignored; commas or
/// semicolons between them. Infinity is `inf`, `infinity` or `∞`, or 0 dioptres. Files are named without folders.
/// An empty distance leaves the frame unknown.
///
/// # Errors
/// `Empty`, `TooManyBytes`, or `Distances` with the line and what to do about it.
pub fn read(bytes: &[u8]) -> Result<BTreeMap<String, FocusDistance>, IntakeError> {
    if bytes.iter().all(u8::is_ascii_whitespace) {
        return Err(IntakeError::Empty);
    }
    if bytes.len() as u64 > LARGEST {
        return Err(IntakeError::TooManyBytes { max_bytes: LARGEST });
    }
    let text = std::str::from_utf8(bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes))
        .map_err(|_| wrong(1, "is not UTF-8 text; save the list as CSV in UTF-8"))?;
    let first = text.lines().next().unwrap_or_default();
    let delimiter = if first.contains(';') { b';' } else { b',' };
    let mut rows = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .trim(csv::Trim::All)
        .flexible(true)
        .from_reader(text.as_bytes());
    let headers = rows.headers().map_err(|error| unreadable(&error))?;
    let column = |name: &str| {
        headers
            .iter()
            .position(|header| header.eq_ignore_ascii_case(name))
    };
    let file_column = column("file").ok_or_else(|| {
        wrong(
            1,
            "has no column `file`; the first line has to be `file,distance_m`",
        )
    })?;
    let (value_column, unit) = column("distance_m")
        .map(|at| (at, Unit::Metres))
        .or_else(|| column("dioptres").map(|at| (at, Unit::Dioptres)))
        .ok_or_else(|| {
            wrong(1, "has no column `distance_m` or `dioptres`; the first line has to be `file,distance_m`")
        })?;
    let mut distances = BTreeMap::new();
    for row in rows.records() {
        let row = row.map_err(|error| unreadable(&error))?;
        let line = row.position().map_or(0, csv::Position::line);
        let (Some(file), Some(value)) = (row.get(file_column), row.get(value_column)) else {
            if row.iter().all(str::is_empty) {
                continue;
            }
            return Err(wrong(
                line,
                "has too few columns; give a file and a distance",
            ));
        };
        if file.is_empty() && value.is_empty() {
            continue;
        }
        let path = display_path(file)
            .map_err(|_| wrong(line, "names no file; give its name in column `file`"))?;
        let file = path.rsplit('/').next().unwrap_or(&path).to_owned();
        if value.is_empty() {
            continue;
        }
        let distance = distance(value, unit).map_err(|problem| wrong(line, &problem))?;
        if distances
            .insert(file, distance)
            .is_some_and(|before| before != distance)
        {
            return Err(wrong(
                line,
                "gives a second distance for the same file; keep one of them",
            ));
        }
    }
    Ok(distances)
}

fn distance(words: &str, unit: Unit) -> Result<FocusDistance, String> {
    if matches!(words.to_lowercase().as_str(), "inf" | "infinity" | "∞") {
        return Ok(FocusDistance::Infinity);
    }
    // A comma can only be a decimal comma here: in a list with commas between columns it would have to be quoted.
    let number: f64 = words
        .replace(',', ".")
        .parse()
        .map_err(|_| format!("has {words:?} where a number has to be; write 0.45 or inf"))?;
    let mend = "; write 0.45 for 45 cm or inf for infinity";
    match unit {
        Unit::Metres => Metres::new(number)
            .map(FocusDistance::At)
            .map_err(|error| format!("{error}{mend}")),
        Unit::Dioptres => Dioptres::new(number)
            .map(FocusDistance::from_dioptres)
            .map_err(|error| format!("{error}; write 2.22 for 45 cm or 0 for infinity")),
    }
}

fn wrong(line: u64, problem: &str) -> IntakeError {
    IntakeError::Distances {
        line,
        problem: problem.to_owned(),
    }
}

fn unreadable(error: &csv::Error) -> IntakeError {
    let line = error.position().map_or(1, csv::Position::line);
    wrong(
        line,
        &format!("can't be read ({error}); save the list as CSV in UTF-8"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn metres(list: &str) -> Vec<(String, Option<f64>)> {
        let read = read(list.as_bytes()).expect("readable");
        read.into_iter()
            .map(|(file, d)| (file, d.metres().map(Metres::m)))
            .collect()
    }

    fn problem(list: &str) -> (u64, String) {
        match read(list.as_bytes()) {
            Err(IntakeError::Distances { line, problem }) => (line, problem),
            other => panic!("{list:?} gave {other:?}"),
        }
    }

    #[test]
    fn distances_and_dioptres() {
        let expected = vec![("a.jpg".to_owned(), Some(0.5)), ("b.jpg".to_owned(), None)];
        assert_eq!(metres("file,distance_m\na.jpg,0.5\nb.jpg,inf\n"), expected);
        assert_eq!(
            metres("\u{feff}Distance_m;File\r\n0,5;DCIM/a.jpg\r\n∞;b.jpg\r\n\r\n;\r\n"),
            expected
        );
        assert_eq!(metres("file,note,dioptres\na.jpg,x,2\nb.jpg,,0"), expected);
        assert_eq!(metres("file,distance_m\na.jpg,\n"), vec![]);
    }

    #[test]
    fn every_error_names_line_and_remedy() {
        assert_eq!(problem("name,distance_m\n").0, 1);
        assert_eq!(problem("file,metres\n").0, 1);
        for (list, line) in [
            ("file,distance_m\na.jpg,0.5\nb.jpg,far\n", 3),
            ("file,distance_m\na.jpg,-1\n", 2),
            ("file,distance_m\na.jpg,0\n", 2),
            ("file,distance_m\na.jpg,nan\n", 2),
            ("file,dioptres\na.jpg,-2\n", 2),
            ("file,distance_m\na.jpg\n", 2),
            ("file,distance_m\n..,1\n", 2),
            ("file,distance_m\na.jpg,1\na.jpg,2\n", 3),
        ] {
            let (found, words) = problem(list);
            assert_eq!(found, line, "{list:?}");
            assert!(words.contains("; "), "says how to mend it: {words}");
        }
        assert!(matches!(read(b" \n"), Err(IntakeError::Empty)));
        assert!(matches!(
            read(b"file,distance_m\n\xFF,1"),
            Err(IntakeError::Distances { .. })
        ));
    }
}
