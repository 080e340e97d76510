//! How printed sheets are set, so that each stays on one page of A4 or Letter: how large charts may be, and what has to stand
//! at the address alone.
//!
//! A browser can't give a drawing the height that the words leave, nor say what it has no room for, so both are counted here:
//! the lines that each part of a sheet takes, in the sizes of `static/print.css`. What is counted too high only makes a chart
//! lower.

mod parts;

use parts::{compared_mm, how_mm, noticed_mm, row_mm};

use super::bounds;
use super::compare_rows::Row as ComparedRow;
use crate::store::ConditionsKey;
use crate::web::api::{
    CompareDocument, FocalDocument, LensDocument, LensHead, PullQuestion, verdict,
};

/// Height of A4 between the margins of the sheet, less a reserve for wider fonts than the one counted with, mm. On Letter, which
/// is lower, all of it is set smaller by the style sheet.
const PAGE_MM: f64 = 297.0 - 2.0 * 10.0 - 4.0;
/// What the name of the lens with the line below it, and what the conditions with the citation take where each is as short as
/// can be, mm.
const HEAD_MM: f64 = 15.0;
const FOOT_MM: f64 = 18.0;
/// A line of the name, of text, of small text and of the verdict, and a row of a table, mm.
const NAME_LINE_MM: f64 = 7.2;
const LINE_MM: f64 = 4.5;
const SMALL_LINE_MM: f64 = 3.6;
const VERDICT_LINE_MM: f64 = 5.5;
const ROW_MM: f64 = 4.8;
/// What a second line adds to a row of a table, mm.
const MORE_ROW_MM: f64 = 3.9;
/// Headings of a section, of a part of it, of a table with its caption and of that of the pull; space below a block, mm.
const SECTION_MM: f64 = 7.5;
const PART_MM: f64 = 6.5;
const TABLE_HEAD_MM: f64 = 9.5;
const PULL_HEAD_MM: f64 = 6.5;
const GAP_MM: f64 = 1.6;
/// Letters to a line of the name, of the verdict, of text and of small text, and of the last column of the table.
const NAME_LETTERS: usize = 40;
const VERDICT_LETTERS: usize = 92;
const LETTERS: usize = 105;
const SMALL_LETTERS: usize = 130;
const OUTCOME_LETTERS: usize = 40;
/// Letters of a distance with its uncertainty there beside which nothing else stands; what is longer breaks between them.
const DISTANCE_LETTERS: usize = 28;
/// What keeps two of the differing facts apart that stand beside each other, letters.
const APART_LETTERS: usize = 4;
/// Letters to a line of what a comparison calls its rows, and of all its columns together.
const COMPARED_LABEL_LETTERS: usize = 20;
const COMPARED_LETTERS: usize = 99;
/// What stands under a chart across the sheet, mm.
const CAPTION_MM: f64 = 8.5;
/// A row of the pull beside a chart, in smaller type, and what stands above the rows, mm.
const BESIDE_ROW_MM: f64 = 4.2;
const BESIDE_HEAD_MM: f64 = 14.0;
/// What the note on scale and angle below a table takes, letters.
const ANGLE_LETTERS: usize = 350;

/// What type takes where it is set smaller.
const DENSE: f64 = 8.0 / 9.0;

/// Width of a chart across the sheet and of one with figures beside it, px: type at 11 px is as large as the text.
const ACROSS_PX: u32 = 640;
const BESIDE_PX: u32 = 310;
/// Width of a px on paper, mm.
const PX_MM: f64 = 186.0 / 640.0;
/// Lowest and highest chart, mm.
const LOWEST_MM: f64 = 38.0;
/// The lowest chart for which type stays large: below it, smaller type gives the chart more than it takes from the words, mm.
const COMFORTABLE_MM: f64 = 48.0;
const HIGHEST_MM: f64 = 96.0;
const HIGHEST_BESIDE_MM: f64 = 62.0;
const HIGHEST_COMPARED_MM: f64 = 112.0;
/// What a line of a chart takes at least, px, and what stands around the lines.
const LINE_PX: (u32, u32) = (13, 68);

/// The type of a sheet.
#[derive(Debug, Clone, Copy)]
struct Type {
    is_dense: bool,
}

impl Type {
    /// How many lines so many letters take, of which so many go on one in the larger type.
    fn lines(self, letters: usize, to_a_line: usize) -> f64 {
        let to_a_line = to_a_line as f64 / self.scale();
        (letters as f64 / to_a_line.floor()).ceil()
    }

    /// How large it is beside the larger one.
    fn scale(self) -> f64 {
        if self.is_dense { DENSE } else { 1.0 }
    }
}

fn letters(words: &str) -> usize {
    words.chars().count()
}

/// What a sheet has no room for, from nothing to most; each leaves out what those before it do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum LeftOut {
    /// Nothing.
    Nothing,
    /// What was noticed of the sweeps; how many warnings there are stays in the table.
    Noticed,
    /// How the focal lengths were measured, as far as they differ.
    Details,
    /// The chart.
    Chart,
    /// The notes on angle, perspective and infinity below the table.
    Notes,
}

/// How a sheet is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Sheet {
    /// Sides of each chart, px.
    pub(super) chart: (u32, u32),
    /// Whether it holds so much that its type is set smaller.
    pub(super) is_dense: bool,
    /// How many sets of conditions it holds, those that come first.
    pub(super) sets: usize,
    /// What it has no room for.
    pub(super) left_out: LeftOut,
}

impl Sheet {
    /// What it has no room for, in words, of a lens of whose sweeps something was noticed or not; `None` where that is nothing.
    pub(super) fn left_out_words(&self, is_noticed: &bool) -> Option<String> {
        let parts = [
            (LeftOut::Chart, "the chart"),
            (
                LeftOut::Notes,
                "how much perspective may hold of each number and what it lacks short of infinity",
            ),
            (LeftOut::Noticed, "what was noticed of the sweeps"),
            (LeftOut::Details, "how each was measured"),
        ];
        let missing =
            |part: &LeftOut| *part <= self.left_out && (*is_noticed || *part != LeftOut::Noticed);
        let missing: Vec<&str> = parts
            .iter()
            .filter(|(part, _)| missing(part))
            .map(|(_, words)| *words)
            .collect();
        let (last, rest) = missing.split_last()?;
        Some(match rest {
            [] => format!("This sheet has no room for {last}; it stands"),
            _ => format!(
                "This sheet has no room for {}, and {last}; they stand",
                rest.join(", ")
            ),
        })
    }
}

/// The sheet of a lens: all of it where it has room in type of either size; else fewer sets of conditions, down to the first;
/// else less of that.
pub(super) fn of_lens(
    document: &LensDocument,
    groups: &[(ConditionsKey, Vec<FocalDocument>)],
    pull: Option<PullQuestion>,
) -> Sheet {
    let all = groups.len().max(1);
    let whole = (1..=all).rev().map(|sets| (sets, LeftOut::Nothing));
    let less = [
        LeftOut::Noticed,
        LeftOut::Details,
        LeftOut::Chart,
        LeftOut::Notes,
    ]
    .map(|left_out| (1, left_out));
    let mut settings = whole
        .chain(less)
        .flat_map(|setting| [(setting, false), (setting, true)]);
    let set = |((sets, left_out), is_dense)| {
        setting(document, groups, pull.is_some(), sets, left_out, is_dense)
    };
    let (sheet, _) = settings
        .clone()
        .map(set)
        .find(|(_, has_room)| *has_room)
        .unwrap_or_else(|| set(settings.next_back().unwrap_or(((1, LeftOut::Notes), true))));
    sheet
}

/// A sheet set so, and whether it has room for that.
fn setting(
    document: &LensDocument,
    groups: &[(ConditionsKey, Vec<FocalDocument>)],
    pulled: bool,
    sets: usize,
    left_out: LeftOut,
    is_dense: bool,
) -> (Sheet, bool) {
    let face = Type { is_dense };
    let beside = sets > 1;
    let shown = &groups[..sets.min(groups.len())];
    let says = document.verdict.as_deref().unwrap_or_default();
    let name = letters(&document.lens.name());
    let mut taken = HEAD_MM + (face.lines(name, NAME_LETTERS) - 1.0) * NAME_LINE_MM + FOOT_MM;
    taken += (face.lines(name + letters(&document.lens.url) + 80, LETTERS) - 1.0) * LINE_MM;
    taken += face.lines(letters(says), VERDICT_LETTERS) * VERDICT_LINE_MM + GAP_MM;
    if groups.len() > 1 {
        // Which sets there are, and where the others stand.
        taken += face.lines(130 + 55 * groups.len(), SMALL_LETTERS) * SMALL_LINE_MM + GAP_MM;
    }
    if left_out > LeftOut::Nothing {
        taken +=
            face.lines(100 + letters(&document.lens.url), SMALL_LETTERS) * SMALL_LINE_MM + GAP_MM;
    }
    let section = Section {
        face,
        beside,
        pulled,
        left_out,
    };
    for (index, (_, results)) in shown.iter().enumerate() {
        taken += section.mm(&document.lens, results, index);
    }
    let room = PAGE_MM - taken * face.scale();
    let labels = shown.iter().map(|(_, results)| results.len()).max();
    let labels = labels.unwrap_or(0);
    let (width, highest) = match beside {
        true => (BESIDE_PX, HIGHEST_BESIDE_MM),
        false => (ACROSS_PX, HIGHEST_MM),
    };
    let each = room / sets as f64;
    let lowest = match left_out {
        LeftOut::Chart | LeftOut::Notes => 0.0,
        _ if is_dense => f64::from(height_px(LOWEST_MM, highest, labels)) * PX_MM,
        _ => f64::from(height_px(COMFORTABLE_MM, highest, labels)) * PX_MM,
    };
    let sheet = Sheet {
        chart: (width, height_px(each, highest, labels)),
        is_dense,
        sets,
        left_out,
    };
    (sheet, each >= lowest)
}

/// The larger type.
const LARGE: Type = Type { is_dense: false };

/// Sides of the chart of a comparison with this table, px.
pub(super) fn sides_of_comparison(document: &CompareDocument, rows: &[ComparedRow]) -> (u32, u32) {
    let names: Vec<String> = document.lenses.iter().map(|one| one.lens.name()).collect();
    let mut said = document.differences.iter().chain(&document.matched);
    let before: f64 = said
        .by_ref()
        .map(|said| LARGE.lines(letters(said), LETTERS))
        .sum();
    let taken = HEAD_MM + FOOT_MM + (before + 3.0) * LINE_MM;
    let room = PAGE_MM - taken - compared_mm(&names, rows);
    (ACROSS_PX, height_px(room, HIGHEST_COMPARED_MM, names.len()))
}

/// The height between lowest and highest that has room for so many labels.
fn height_px(mm: f64, highest_mm: f64, labels: usize) -> u32 {
    let px = (mm.clamp(LOWEST_MM, highest_mm) / PX_MM).round() as u32;
    let (line, around) = LINE_PX;
    let labels = u32::try_from(labels).unwrap_or_default();
    px.max(labels.saturating_mul(line) + around)
}

/// What the sections of a sheet hold.
#[derive(Debug, Clone, Copy)]
struct Section {
    face: Type,
    /// Whether figures stand beside the charts.
    beside: bool,
    /// Whether there is a focus pull.
    pulled: bool,
    left_out: LeftOut,
}

impl Section {
    /// What one of them takes without its chart, mm.
    fn mm(self, lens: &LensHead, results: &[FocalDocument], index: usize) -> f64 {
        let mut taken = SECTION_MM + TABLE_HEAD_MM + 2.0 * GAP_MM;
        taken += results
            .iter()
            .map(|focal| row_mm(self.face, focal))
            .sum::<f64>();
        if index > 0 {
            let says = verdict(results, Some(lens)).unwrap_or_default();
            taken += self.face.lines(letters(&says), LETTERS) * LINE_MM + GAP_MM;
        }
        if results.iter().any(|focal| focal.relative_to != "infinity") {
            taken += 2.0 * LINE_MM + 4.0 * GAP_MM;
        }
        if self.left_out < LeftOut::Notes {
            let angles = if index == 0 { ANGLE_LETTERS } else { 0 };
            let perspective = bounds::perspective(results, index > 0);
            let shortfall = bounds::shortfall(results);
            let infinity = bounds::assumed_infinity(results);
            let open = bounds::left_open(results);
            let notes = [perspective, shortfall, infinity, open]
                .into_iter()
                .flatten();
            for letters in notes.map(|note| letters(&note)).chain([angles]) {
                taken += self.face.lines(letters + 20, SMALL_LETTERS) * SMALL_LINE_MM + GAP_MM;
            }
        }
        if self.left_out < LeftOut::Noticed {
            taken += noticed_mm(self.face, results);
        }
        let is_detailed = self.left_out < LeftOut::Details;
        let pull_rows = results.len() as f64;
        taken += match (self.beside, self.pulled) {
            // What stands beside the chart costs nothing, as far as it is no higher.
            (true, true) => {
                let notes = 2.0 * SMALL_LINE_MM;
                let pull = BESIDE_HEAD_MM + pull_rows * BESIDE_ROW_MM + notes;
                how_mm(self.face, results, is_detailed) + (pull - LOWEST_MM).max(0.0)
            }
            (true, false) => (how_mm(self.face, results, is_detailed) * 2.0 - LOWEST_MM).max(0.0),
            (false, _) => how_mm(self.face, results, is_detailed) + CAPTION_MM,
        };
        if self.pulled && !self.beside {
            // With what perspective may hold of the changes.
            let perspective =
                self.face.lines(90 + 16 * results.len(), SMALL_LETTERS) * SMALL_LINE_MM;
            taken += PART_MM + PULL_HEAD_MM + pull_rows * ROW_MM + perspective + 3.0 * GAP_MM;
        }
        taken
    }
}
