//! A list of focus distances by file, as CSV: for cameras that don't write them.

use std::collections::BTreeMap;

use super::{IntakeError, display_path};
use crate::units::{Dioptres, FocusDistance, METRES_PER_FOOT, Metres};

/// Most bytes of a list.
pub const LARGEST: u64 = 4 << 20;

/// How a list says where the lens was focused.
#[derive(Clone, Copy)]
enum Unit {
    Metres,
    Dioptres,
}

/// Reads a list with the columns `file` and `distance_m` (or `dioptres`), in any order, other columns ignored; commas,
/// semicolons or tabs between them. Infinity is `inf`, `infinity` or `∞`, or 0 dioptres. Files are named without folders.
/// An empty distance leaves the frame unknown.
///
/// # Errors
/// `Distances` with the line and what to do about it.
pub fn read(bytes: &[u8]) -> Result<BTreeMap<String, FocusDistance>, IntakeError> {
    if bytes.len() as u64 > LARGEST {
        return Err(wrong(
            1,
            "begins what has more than 4 MB; give a list with one short row a frame",
        ));
    }
    if bytes.iter().all(u8::is_ascii_whitespace) {
        return Err(wrong(
            1,
            "is empty; write `file,distance_m` there and one row a frame below it",
        ));
    }
    let text = std::str::from_utf8(bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes))
        .map_err(|_| wrong(1, "is not UTF-8 text; save the list as CSV in UTF-8"))?;
    let first = text
        .lines()
        .find(|line| !line.trim().is_empty())
        .unwrap_or_default();
    let delimiter = match first {
        first if first.contains(';') => b';',
        first if first.contains('\t') => b'\t',
        _ => b',',
    };
    let mut rows = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .trim(csv::Trim::All)
        .flexible(true)
        .from_reader(text.as_bytes());
    let headers = rows.headers().map_err(|error| unreadable(&error))?.clone();
    let heading = line_of(text, headers.position());
    let column = |name: &str| {
        headers
            .iter()
            .position(|header| header.eq_ignore_ascii_case(name))
    };
    let file_column = column("file").ok_or_else(|| {
        wrong(
            heading,
            "has no column `file`; the first line has to be `file,distance_m`",
        )
    })?;
    let (value_column, unit) = column("distance_m")
        .map(|at| (at, Unit::Metres))
        .or_else(|| column("dioptres").map(|at| (at, Unit::Dioptres)))
        .ok_or_else(|| {
            wrong(heading, "has no column `distance_m` or `dioptres`; the first line has to be `file,distance_m`")
        })?;
    let mut distances = BTreeMap::new();
    let mut names_none = true;
    for row in rows.records() {
        let row = row.map_err(|error| unreadable(&error))?;
        let line = line_of(text, row.position());
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
        // `a.jpg,1,45` with a decimal comma would be read as 1 m.
        if row.iter().skip(headers.len()).any(|more| !more.is_empty()) {
            return Err(wrong(
                line,
                "has more columns than the first line; write decimals with a point, or put semicolons between the columns",
            ));
        }
        let path = display_path(file)
            .map_err(|_| wrong(line, "names no file; give its name in column `file`"))?;
        let file = path.rsplit('/').next().unwrap_or(&path).to_owned();
        names_none = false;
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
    if names_none {
        return Err(wrong(
            heading,
            "has no row below it; write one for each frame, such as `DSC_0001.JPG` and `0.45`, or leave the list out",
        ));
    }
    Ok(distances)
}

fn distance(words: &str, unit: Unit) -> Result<FocusDistance, String> {
    if matches!(words.to_lowercase().as_str(), "inf" | "infinity" | "∞") {
        return Ok(FocusDistance::Infinity);
    }
    let is_unit = |c: char| !c.is_ascii_digit() && !matches!(c, '.' | ',');
    let (number, unit_given) = words.split_at(words.trim_end_matches(is_unit).len());
    let unit_given = unit_given.trim().to_lowercase();
    // A comma can only be a decimal comma here: in a list with commas between columns it would have to be quoted.
    let number: Option<f64> = number.replace(',', ".").parse().ok();
    let number = number.ok_or_else(|| {
        format!("has {words:?} where a number has to be; write 0.45 for 45 cm or inf for infinity")
    })?;
    match unit {
        Unit::Metres if matches!(&*unit_given, "" | "m") => {}
        Unit::Dioptres if matches!(&*unit_given, "" | "d" | "dpt" | "1/m") => {}
        Unit::Metres => {
            let unit_m = match &*unit_given {
                "cm" => Some(0.01),
                "mm" => Some(0.001),
                "ft" | "ft." | "feet" | "'" | "′" | "’" => Some(METRES_PER_FOOT),
                "in" | "in." | "\"" | "″" | "”" => Some(METRES_PER_FOOT / 12.0),
                _ => None,
            };
            return Err(match unit_m {
                Some(unit_m) => format!(
                    "has {words:?}, which is not in metres; write {:.3}",
                    number * unit_m
                ),
                None => format!("has {words:?}; write metres without a unit, 0.45 for 45 cm"),
            });
        }
        Unit::Dioptres => {
            return Err(format!(
                "has {words:?} in the column `dioptres`; write 2.22 for 45 cm, or name the column `distance_m`"
            ));
        }
    }
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

/// Line on which a row stands; where it was read from, blank lines may come first.
fn line_of(text: &str, position: Option<&csv::Position>) -> u64 {
    let Some(position) = position else {
        return 1;
    };
    let from = usize::try_from(position.byte()).unwrap_or(usize::MAX);
    let rest = text.as_bytes().get(from..).unwrap_or_default();
    let before = rest.iter().take_while(|byte| matches!(byte, b'\r' | b'\n'));
    position.line() + before.filter(|byte| **byte == b'\n').count() as u64
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
        for odd in [
            "\n\nfile;distance_m\n\na.jpg;0,5\n\n\nb.jpg;Inf\n",
            "file\tdistance_m\r\na.jpg\t0.50\r\nb.jpg\tINFINITY\r\n",
            "FILE,DISTANCE_M\n\"a.jpg\",\"0,5\"\nDCIM\\b.jpg,∞",
            "file,distance_m\na.jpg,0.5 m\nb.jpg,inf,\n",
            "no,file,distance_m,note\n1,a.jpg,5e-1,near\n2,b.jpg,inf,\n",
        ] {
            assert_eq!(metres(odd), expected, "{odd:?}");
        }
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
            // A decimal comma between commas must not be read as whole metres.
            ("file,distance_m\na.jpg,1,45\n", 2),
            ("\n\nfile,metres\na.jpg,1\n", 3),
            ("file,distance_m\n\n\na.jpg,far\n", 4),
            ("file,distance_m\na.jpg,-inf\n", 2),
            ("file,distance_m\na.jpg,1e400\n", 2),
            ("file,distance_m\na.jpg,1.234,5\n", 2),
            ("file,dioptres\na.jpg,2 m\n", 2),
            ("file,distance_m\na.jpg,.\n", 2),
            ("a.jpg,0.5\nb.jpg,inf\n", 1),
            // Nothing to be used is said as well.
            (" \n", 1),
            ("file,distance_m\n", 1),
            ("\nfile;distance_m\n;\n\n", 2),
            ("file\tdioptres", 1),
        ] {
            let (found, words) = problem(list);
            assert_eq!(found, line, "{list:?}");
            assert!(words.contains("; "), "says how to mend it: {words}");
        }
        for (given, metres) in [
            ("45 cm", "0.450"),
            ("450mm", "0.450"),
            ("3 ft", "0.914"),
            ("3'", "0.914"),
            ("18″", "0.457"),
            ("1.5 feet", "0.457"),
        ] {
            let (_, words) = problem(&format!("file,distance_m\na.jpg,{given}\n"));
            assert!(words.ends_with(&format!("write {metres}")), "{words}");
        }
        assert!(matches!(
            read(b"file,distance_m\n\xFF,1"),
            Err(IntakeError::Distances { .. })
        ));
    }
}
