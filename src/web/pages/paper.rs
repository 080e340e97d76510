//! How large the charts of printed sheets may be, so that a sheet stays on one page of A4.
//!
//! A browser can't give a drawing the height that the words leave, so it is counted here: the lines that each part of a
//! sheet takes, in the sizes of `static/print.css`. What is counted too high only makes a chart lower.

use super::bounds;
use super::measured::{Measured, Row};
use crate::store::ConditionsKey;
use crate::web::api::{FocalDocument, LensDocument, LensHead, PullQuestion, verdict};

/// Height of A4 between the margins of the sheet less a reserve of 8 mm for wider fonts than the one counted with, and what
/// the lens, its page and the citation take of it, mm.
const PAGE_MM: f64 = 297.0 - 2.0 * 10.0 - 8.0;
const HEAD_MM: f64 = 15.0;
const FOOT_MM: f64 = 18.0;
/// A line of text, of small text and of the verdict, and a row of a table, mm.
const LINE_MM: f64 = 4.5;
const SMALL_LINE_MM: f64 = 3.6;
const VERDICT_LINE_MM: f64 = 5.2;
const ROW_MM: f64 = 4.5;
/// Headings of a section, of a part of it, of a table with its caption; space below a block, mm.
const SECTION_MM: f64 = 7.5;
const PART_MM: f64 = 6.5;
const TABLE_HEAD_MM: f64 = 14.0;
const GAP_MM: f64 = 1.6;
/// Letters to a line of the verdict, of text and of small text; beside a chart there are half as many.
const VERDICT_LETTERS: usize = 92;
const LETTERS: usize = 105;
const SMALL_LETTERS: usize = 125;
/// What stands under a chart across the sheet, mm.
const CAPTION_MM: f64 = 8.5;
/// A row of the pull beside a chart, in smaller type, and what stands above the rows, mm.
const BESIDE_ROW_MM: f64 = 4.2;
const BESIDE_HEAD_MM: f64 = 14.0;
/// What the note on scale and angle below a table takes, letters.
const ANGLE_LETTERS: usize = 310;

/// What type takes where it is set smaller.
const DENSE: f64 = 8.0 / 9.0;

/// Width of a chart across the sheet and of one with figures beside it, px: type at 11 px is as large as the text.
const ACROSS_PX: u32 = 640;
const BESIDE_PX: u32 = 310;
/// Width of a px on paper, mm.
const PX_MM: f64 = 186.0 / 640.0;
/// Lowest and highest chart, mm.
const LOWEST_MM: f64 = 38.0;
const HIGHEST_MM: f64 = 96.0;
const HIGHEST_BESIDE_MM: f64 = 62.0;
const HIGHEST_COMPARED_MM: f64 = 112.0;
/// What a line of a chart takes at least, px, and what stands around the lines.
const LINE_PX: (u32, u32) = (13, 68);

fn lines(letters: usize, to_a_line: usize) -> f64 {
    letters.div_ceil(to_a_line) as f64
}

/// How a sheet is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Sheet {
    /// Sides of each chart, px.
    pub(super) chart: (u32, u32),
    /// Whether it holds so much that its type is set smaller.
    pub(super) is_dense: bool,
}

/// The sheet of a lens.
pub(super) fn of_lens(
    document: &LensDocument,
    groups: &[(ConditionsKey, Vec<FocalDocument>)],
    pull: Option<PullQuestion>,
) -> Sheet {
    let beside = groups.len() > 1;
    let says = document.verdict.as_deref().unwrap_or_default();
    let mut taken = HEAD_MM + FOOT_MM;
    taken += lines(says.chars().count(), VERDICT_LETTERS) * VERDICT_LINE_MM + GAP_MM;
    if beside {
        taken += 2.0 * SMALL_LINE_MM + GAP_MM;
    }
    for (index, (_, results)) in groups.iter().enumerate() {
        taken += section_mm(&document.lens, results, index, beside, pull.is_some());
    }
    let count = groups.len().max(1) as f64;
    let is_dense = PAGE_MM - taken < LOWEST_MM * count;
    let each = (PAGE_MM - taken * if is_dense { DENSE } else { 1.0 }) / count;
    let most_lines = groups.iter().map(|(_, results)| results.len()).max();
    let (width, highest) = if beside {
        (BESIDE_PX, HIGHEST_BESIDE_MM)
    } else {
        (ACROSS_PX, HIGHEST_MM)
    };
    Sheet {
        chart: (width, height_px(each, highest, most_lines.unwrap_or(0))),
        is_dense,
    }
}

/// Sides of the chart of a comparison of so many lenses, px.
pub(super) fn sides_of_comparison(lenses: usize, differences: &[String], pull: bool) -> (u32, u32) {
    // The longest cells of a row break into so many lines where there are more columns.
    let cell_lines = if lenses > 2 { 2.0 } else { 1.0 };
    let rows = 9.0 + if pull { 5.0 } else { 0.0 };
    let letters = differences
        .iter()
        .map(|said| lines(said.chars().count(), LETTERS));
    let taken = HEAD_MM + FOOT_MM + letters.sum::<f64>() * LINE_MM + 3.0 * LINE_MM;
    let table = TABLE_HEAD_MM + LINE_MM + rows * (ROW_MM + (cell_lines - 1.0) * 2.0);
    (
        ACROSS_PX,
        height_px(PAGE_MM - taken - table, HIGHEST_COMPARED_MM, lenses),
    )
}

/// The height between lowest and highest that has room for so many labels.
fn height_px(mm: f64, highest_mm: f64, labels: usize) -> u32 {
    let px = (mm.clamp(LOWEST_MM, highest_mm) / PX_MM).round() as u32;
    let (line, around) = LINE_PX;
    let labels = u32::try_from(labels).unwrap_or_default();
    px.max(labels.saturating_mul(line) + around)
}

/// What a section takes without its chart, mm.
fn section_mm(
    lens: &LensHead,
    results: &[FocalDocument],
    index: usize,
    beside: bool,
    pulled: bool,
) -> f64 {
    let rows = results.len() as f64 * ROW_MM;
    let warned = results
        .iter()
        .filter(|focal| focal.warning_words().is_some());
    let mut taken =
        SECTION_MM + TABLE_HEAD_MM + rows + 2.0 * GAP_MM + warned.count() as f64 * ROW_MM;
    if index > 0 {
        let says = verdict(results, Some(lens)).unwrap_or_default();
        taken += lines(says.chars().count(), LETTERS) * LINE_MM + GAP_MM;
    }
    if results.iter().any(|focal| focal.relative_to != "infinity") {
        taken += 2.0 * LINE_MM + 2.0 * GAP_MM;
    }
    let angles = if index == 0 { ANGLE_LETTERS } else { 0 };
    let perspective = bounds::perspective(results, index > 0).map(|note| note.chars().count());
    let shortfall = bounds::shortfall(results).map(|note| note.chars().count());
    for letters in [Some(angles), perspective, shortfall].into_iter().flatten() {
        taken += lines(letters + 20, SMALL_LETTERS) * SMALL_LINE_MM + GAP_MM;
    }
    let found = || results.iter().flat_map(|focal| &focal.findings);
    if found().next().is_some() {
        let letters = |words: &str| lines(words.chars().count() + 30, LETTERS - 10);
        taken += PART_MM + found().map(|f| letters(&f.message) * LINE_MM).sum::<f64>();
    }
    match (beside, pulled) {
        // What stands beside the chart costs nothing, as far as it is no higher.
        (true, true) => {
            let pull = BESIDE_HEAD_MM + results.len() as f64 * BESIDE_ROW_MM;
            taken + how_mm(results) + (pull - LOWEST_MM).max(0.0)
        }
        (true, false) => taken,
        (false, _) => {
            // With what perspective may hold of the changes.
            let pull = PART_MM + TABLE_HEAD_MM + rows + SMALL_LINE_MM + 2.0 * GAP_MM;
            let ends = CAPTION_MM + 2.0 * SMALL_LINE_MM + GAP_MM;
            taken + how_mm(results) + ends + if pulled { pull } else { 0.0 }
        }
    }
}

/// What the words on how it was measured take across the sheet, mm.
fn how_mm(results: &[FocalDocument]) -> f64 {
    let how = Measured::new(results);
    let letters = |(term, words): &(&str, String)| term.len() + words.chars().count() + 3;
    let shared: usize = how.shared.iter().map(letters).sum();
    let running = 25 + shared + 22 * how.rows.len();
    let own = |row: &Row| row.at.len() + 4 + row.cells.iter().map(letters).sum::<usize>();
    let differing = if how.differing.is_empty() {
        0
    } else {
        how.rows.iter().map(own).sum()
    };
    lines(running, LETTERS) * LINE_MM
        + lines(differing, SMALL_LETTERS) * SMALL_LINE_MM
        + 2.0 * GAP_MM
}
