//! What the parts of a sheet take that hold running words: rows of the table, what was noticed, how it was measured.

use super::{
    APART_LETTERS, COMPARED_LABEL_LETTERS, COMPARED_LETTERS, DISTANCE_LETTERS, GAP_MM, LETTERS,
    LINE_MM, MORE_ROW_MM, OUTCOME_LETTERS, PART_MM, ROW_MM, SMALL_LETTERS, SMALL_LINE_MM,
    TABLE_HEAD_MM, Type, letters,
};
use crate::web::api::FocalDocument;
use crate::web::pages::compare_rows::Row as ComparedRow;
use crate::web::pages::measured::{Measured, Row};

/// A row of the table by focal length, mm: what is long in its last column breaks into lines.
pub(super) fn row_mm(face: Type, focal: &FocalDocument) -> f64 {
    let (warnings, most) = (focal.warning_words(), focal.tolerance_most_words());
    if warnings.is_none() && most.is_none() {
        let distance = letters(&focal.tolerance_words()) + letters(&focal.tolerance_u_words());
        let is_long = distance as f64 * face.scale() > DISTANCE_LETTERS as f64;
        return ROW_MM + if is_long { MORE_ROW_MM } else { 0.0 };
    }
    let (warnings, most) = (warnings.unwrap_or_default(), most.unwrap_or_default());
    let outcome = letters(&focal.tolerance_words()) + letters(&focal.tolerance_u_words());
    let outcome = outcome + letters(&most) * 4 / 5 + letters(&warnings) + 6;
    ROW_MM + (face.lines(outcome, OUTCOME_LETTERS) - 1.0) * MORE_ROW_MM
}

/// The table of a comparison of lenses with these names, mm.
pub(super) fn compared_mm(names: &[String], rows: &[ComparedRow]) -> f64 {
    let column = COMPARED_LETTERS / names.len().max(1) - 2;
    // Lines break between words, and not between a number and its unit: a fifth of them stays empty.
    let lines = |words: &str, room: usize| (letters(words) * 6 / 5).div_ceil(room).max(1);
    let longest = |cells: &[String]| {
        let each = cells.iter().map(|words| lines(words, column));
        each.max().unwrap_or(1)
    };
    let row = |row: &ComparedRow| {
        let cells = match row.shared() {
            Some(words) => lines(words, COMPARED_LETTERS),
            None => longest(row.cells()),
        };
        cells.max(lines(&row.label, COMPARED_LABEL_LETTERS))
    };
    let more = |lines: usize| (lines - 1) as f64 * MORE_ROW_MM;
    let rows = rows.iter().map(|one| ROW_MM + more(row(one)));
    TABLE_HEAD_MM + more(longest(names)) + rows.sum::<f64>()
}

/// What was noticed, mm: one paragraph a focal length.
pub(super) fn noticed_mm(face: Type, results: &[FocalDocument]) -> f64 {
    let noticed = results.iter().filter(|focal| !focal.findings.is_empty());
    let each = noticed.map(|focal| {
        let found = focal.findings.iter();
        let letters = found.map(|f| letters(f.title()) + letters(&f.message) + 16);
        face.lines(letters.sum(), LETTERS - 12) * LINE_MM + 0.6
    });
    let sum: f64 = each.sum();
    if sum > 0.0 {
        PART_MM + sum + GAP_MM
    } else {
        0.0
    }
}

/// What the words on how it was measured take across the sheet, mm.
pub(super) fn how_mm(face: Type, results: &[FocalDocument], is_detailed: bool) -> f64 {
    let how = Measured::new(results);
    let pair = |(term, words): &(&str, String)| term.len() + letters(words) + 3;
    let shared: usize = how.shared.iter().map(pair).sum();
    if !is_detailed {
        return face.lines(25 + shared, LETTERS) * LINE_MM + 2.0 * GAP_MM;
    }
    let frames = |row: &Row| 12 + 12 * row.sweeps.len() + 60 * row.same_pictures.len();
    let running = 25 + shared + how.rows.iter().map(frames).sum::<usize>();
    let own = |row: &Row| row.at.len() + 8 + row.cells.iter().map(pair).sum::<usize>();
    let differing = match how.differing.is_empty() {
        true => 0.0,
        false => packed_lines(face, how.rows.iter().map(own)) as f64,
    };
    face.lines(running, LETTERS) * LINE_MM + differing * SMALL_LINE_MM + 2.0 * GAP_MM
}

/// How many lines pieces of so many letters take in small type: as many beside each other as fit, longer ones on lines of
/// their own.
fn packed_lines(face: Type, pieces: impl Iterator<Item = usize>) -> usize {
    let room = (SMALL_LETTERS as f64 / face.scale()).floor() as usize;
    let (mut lines, mut taken) = (0, room);
    for piece in pieces {
        let piece = piece + APART_LETTERS;
        if taken + piece <= room {
            taken += piece;
        } else {
            lines += piece.div_ceil(room);
            taken = piece.min(room);
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_fits_stands_beside_each_other() {
        let large = Type { is_dense: false };
        for (pieces, lines) in [
            (&[][..], 0),
            (&[20, 20, 20], 1),
            (&[61, 61], 1),
            (&[63, 63], 2),
            (&[20; 12], 3),
            (&[200, 20, 20], 3),
        ] {
            assert_eq!(
                packed_lines(large, pieces.iter().copied()),
                lines,
                "{pieces:?}"
            );
        }
    }
}
