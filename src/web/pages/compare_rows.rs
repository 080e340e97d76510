//! The table of a comparison: one row for each thing to compare, a cell a lens; what is the same for all is said once.

use super::bounds::left_open_pct;
use crate::web::api::{
    CompareDocument, ComparedDocument, FocalDocument, PullDocument, shared_picture_width,
};

/// One row of the table.
pub(super) struct Row {
    /// What is compared.
    pub(super) label: String,
    /// What the lenses have, in their order; empty where nothing is published.
    cells: Vec<String>,
    /// Whether what is said warns, unless it is "none".
    warns: bool,
}

impl Row {
    /// What all lenses have, where it is the same.
    pub(super) fn shared(&self) -> Option<&str> {
        let (first, rest) = self.cells.split_first()?;
        let same = !rest.is_empty() && !first.is_empty() && rest.iter().all(|cell| cell == first);
        same.then_some(first.as_str())
    }

    /// What each lens has.
    pub(super) fn cells(&self) -> &[String] {
        &self.cells
    }

    /// Whether this cell warns.
    pub(super) fn is_warning(&self, words: &str) -> bool {
        self.warns && !words.is_empty() && words != NO_WARNINGS
    }
}

const NO_WARNINGS: &str = "none";

/// Where what else is left open of the worst shift stands, beneath what perspective may do.
const AFTER_PERSPECTIVE: usize = 3;

/// The rows of a comparison.
pub(super) fn rows(document: &CompareDocument, pull_asked: bool) -> Vec<Row> {
    let row = |label: &str, words: &dyn Fn(&ComparedDocument) -> String| Row {
        label: label.to_owned(),
        cells: document.lenses.iter().map(words).collect(),
        warns: false,
    };
    let of_result = |label: &str, words: &dyn Fn(&FocalDocument) -> String| {
        row(label, &|compared| {
            compared.result.as_ref().map(words).unwrap_or_default()
        })
    };
    let mut rows = vec![
        row("Focal length", &|compared| {
            let at = document.at_words(compared);
            at.unwrap_or_else(|| "not measured".to_owned())
        }),
        of_result("Worst shift", &|focal| {
            format!("{}, {}", focal.worst_words(), focal.direction_words())
        }),
        of_result(
            "Perspective may change it by",
            &FocalDocument::perspective_words,
        ),
        of_result("Frames like", &FocalDocument::like_words),
        of_result(
            &format!("Beyond {} % nearer than", document.tolerance_pct),
            &|focal| {
                let plain = format!("{} {}", focal.tolerance_words(), focal.tolerance_u_words());
                match focal.tolerance_most_words() {
                    Some(most) => format!("{}, {most}", plain.trim_end()),
                    None => plain.trim_end().to_owned(),
                }
            },
        ),
        of_result("Measured with", &FocalDocument::conditions_words),
        of_result("Measured against", &|focal| focal.reference_words()),
        of_result("Closest focus measured", &FocalDocument::closest_words),
    ];
    let results = || document.lenses.iter().flat_map(|lens| &lens.result);
    if results().any(|focal| left_open_pct(focal).is_some()) {
        let open = of_result("Left open besides", &|focal| {
            let known = left_open_pct(focal).map(|pct| format!("up to {pct:.2} points"));
            known.unwrap_or_else(|| "less than 0.05 points".to_owned())
        });
        rows.insert(AFTER_PERSPECTIVE, open);
    }
    if pull_asked {
        rows.extend(pull_rows(document));
    }
    rows.push(Row {
        warns: true,
        ..of_result("Warnings", &|focal| {
            let warnings = focal.warnings_named();
            warnings.unwrap_or_else(|| NO_WARNINGS.to_owned())
        })
    });
    rows
}

/// The rows of the focus pull.
fn pull_rows(document: &CompareDocument) -> [Row; 4] {
    let pulls = || document.lenses.iter().map(|lens| lens.pull.as_ref());
    let row = |label: String, words: &dyn Fn(&PullDocument) -> String| Row {
        label,
        cells: pulls()
            .map(|pull| pull.map(words).unwrap_or_default())
            .collect(),
        warns: false,
    };
    let way = pulls().flatten().next().map(PullDocument::way);
    let way = way.map_or_else(String::new, |way| format!(" from {way}"));
    let answered = pulls().flatten().filter(|pull| pull.outside.is_none());
    let width = shared_picture_width(answered);
    let of_width = width.map_or_else(String::new, |px| format!(", of {px} px"));
    [
        row(
            format!("Pull{way}: framing change"),
            &PullDocument::change_words,
        ),
        row(
            "Perspective may change it by".to_owned(),
            &PullDocument::perspective_words,
        ),
        row(format!("Edges move{of_width}"), &|pull| {
            pull.edge_words(width.is_some())
        }),
        row(
            "Crop that hides it, of width and height".to_owned(),
            &PullDocument::crop_words,
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(cells: &[&str]) -> Row {
        Row {
            label: "Measured against".to_owned(),
            cells: cells.iter().map(|cell| (*cell).to_owned()).collect(),
            warns: true,
        }
    }

    #[test]
    fn only_what_every_lens_has_is_said_once() {
        for (cells, shared) in [
            (&["infinity", "infinity"][..], Some("infinity")),
            (&["infinity", "its farthest frame"], None),
            (&["infinity", ""], None),
            (&["", ""], None),
            (&["infinity"], None),
        ] {
            assert_eq!(row(cells).shared(), shared, "{cells:?}");
        }
    }

    #[test]
    fn no_warnings_do_not_warn() {
        let row = row(&["none", "1 warning", ""]);
        let warned: Vec<bool> = row
            .cells()
            .iter()
            .map(|cell| row.is_warning(cell))
            .collect();
        assert_eq!(warned, [false, true, false]);
    }
}
