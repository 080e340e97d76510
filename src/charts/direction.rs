//! Lines of text in which some letters run from right to left.

use std::borrow::Cow;

use unicode_bidi::{BidiInfo, Level};

/// The letters of a line in the order in which they are drawn, from left to right (Unicode Standard Annex 9), without the
/// marks that keep a name's direction to itself. What draws letter by letter draws these; a browser orders a line itself.
///
/// Letters of scripts that join them are drawn unjoined.
pub(super) fn drawn(words: &str) -> Cow<'_, str> {
    // No letter below runs leftwards; most lines have none.
    if words.chars().all(|letter| letter < '\u{590}') {
        return Cow::Borrowed(words);
    }
    let order = BidiInfo::new(words, Some(Level::ltr()));
    let lines = order.paragraphs.iter();
    let ordered = lines.map(|line| order.reorder_line(line, line.range.clone()));
    let is_mark = |letter: &char| matches!(letter, '\u{2066}'..='\u{2069}');
    Cow::Owned(
        ordered
            .flat_map(|line| line.chars().filter(|c| !is_mark(c)).collect::<Vec<_>>())
            .collect(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_beside_a_name_that_runs_leftwards_keep_their_side() {
        for (said, shown) in [
            ("Ostrel 50 mm", "Ostrel 50 mm"),
            ("Ostrel − 0.5 m …", "Ostrel − 0.5 m …"),
            ("\u{2068}Ostrel אבג\u{2069} at 85 mm", "Ostrel גבא at 85 mm"),
            (
                "\u{2068}Ostrel 50 אבג\u{2069}: 85 mm",
                "Ostrel 50 גבא: 85 mm",
            ),
        ] {
            assert_eq!(drawn(said), shown);
        }
    }
}
