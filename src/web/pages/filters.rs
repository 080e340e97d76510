//! Filters of the templates.

use std::fmt::Display;

/// Text with its numbers tied to their units and uncertainties, so that no line breaks between them.
#[askama::filter_fn]
pub(super) fn tied(text: impl Display, _: &dyn askama::Values) -> askama::Result<String> {
    Ok(tie(&text.to_string()))
}

/// Puts no-break spaces between number and unit, and around `±` and `=`.
fn tie(text: &str) -> String {
    const TIE: char = '\u{a0}';
    let mut tied = String::with_capacity(text.len());
    let mut words = text.split(' ').peekable();
    while let Some(word) = words.next() {
        tied.push_str(word);
        if let Some(next) = words.peek() {
            tied.push(if belong(word, next) { TIE } else { ' ' });
        }
    }
    tied
}

/// Whether two words are one quantity.
fn belong(word: &str, next: &str) -> bool {
    let next = next.split(['<', '\n']).next().unwrap_or(next);
    let is_unit = matches!(
        next.trim_end_matches(['.', ',', ';', ')', ':']),
        "%" | "mm" | "m" | "ft" | "in" | "px"
    );
    let is_number = word.ends_with(|last: char| last.is_ascii_digit());
    let has_inches = word == "ft";
    let is_figure = next.starts_with(|first: char| first.is_ascii_digit());
    (is_number && is_unit)
        || (has_inches && is_figure)
        || matches!(word, "±" | "=")
        || matches!(next, "±" | "=")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_keep_their_units() {
        for (words, tied) in [
            (
                "by 2 %, beyond 0.5 m (1 ft 7.7 in) it holds.",
                "by 2~%, beyond 0.5~m (1~ft~7.7~in) it holds.",
            ),
            ("Brackwell 40 mm f/2.8 Slim", "Brackwell 40~mm f/2.8 Slim"),
            ("+2.05 % ± 0.02, tighter", "+2.05~%~±~0.02, tighter"),
            ("expanded (k = 2)", "expanded (k~=~2)"),
            ("<td>4000 px</td><td>", "<td>4000~px</td><td>"),
            ("", ""),
        ] {
            assert_eq!(tie(words), tied.replace('~', "\u{a0}"));
        }
    }
}
