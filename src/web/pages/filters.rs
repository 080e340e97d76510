//! Filters of the templates.

use std::fmt::Display;

/// Text with its numbers tied to their units and uncertainties, so that no line breaks between them.
#[askama::filter_fn]
pub(in crate::web) fn tied(text: impl Display, _: &dyn askama::Values) -> askama::Result<String> {
    Ok(tie(&text.to_string()))
}

/// The same for narrow cells: where there is no room, a line breaks before `±`, not within a number.
#[askama::filter_fn]
pub(super) fn tied_in_cells(text: impl Display, _: &dyn askama::Values) -> askama::Result<String> {
    Ok(tie(&text.to_string()).replace("\u{a0}±", " ±"))
}

/// A name as it stands in running words.
#[askama::filter_fn]
pub(super) fn isolated(name: impl Display, _: &dyn askama::Values) -> askama::Result<String> {
    Ok(crate::store::isolated(&name.to_string()).into_owned())
}

/// Text with the addresses of lens pages in it as links; everything else is escaped.
#[askama::filter_fn]
pub(super) fn linked(
    text: impl Display,
    _: &dyn askama::Values,
) -> askama::Result<askama::filters::Safe<String>> {
    Ok(askama::filters::Safe(link(&text.to_string())))
}

const LENS_PAGES: &str = "/lenses/";

fn link(text: &str) -> String {
    let escaped = |text: &str| {
        let mut safe = String::with_capacity(text.len());
        for character in text.chars() {
            match character {
                '&' => safe.push_str("&#38;"),
                '<' => safe.push_str("&#60;"),
                '>' => safe.push_str("&#62;"),
                '"' => safe.push_str("&#34;"),
                '\'' => safe.push_str("&#39;"),
                other => safe.push(other),
            }
        }
        safe
    };
    let mut linked = String::new();
    let mut rest = text;
    while let Some(at) = rest.find(LENS_PAGES) {
        let (before, address) = rest.split_at(at);
        linked.push_str(&escaped(before));
        let is_slug = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        let slug = &address[LENS_PAGES.len()..];
        let end = slug.find(|c| !is_slug(c)).unwrap_or(slug.len());
        let (address, after) = address.split_at(LENS_PAGES.len() + end);
        match end {
            0 => linked.push_str(address),
            _ => linked.push_str(&format!("<a href=\"{address}\">{address}</a>")),
        }
        rest = after;
    }
    linked + &escaped(rest)
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
    let word = word.rsplit('>').next().unwrap_or(word);
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
    fn addresses_of_lenses_lead_there_and_nothing_else_is_markup() {
        assert_eq!(
            link("it stands at /lenses/ostrel-50; leave lens=a out"),
            "it stands at <a href=\"/lenses/ostrel-50\">/lenses/ostrel-50</a>; leave lens=a out"
        );
        assert_eq!(
            link("“<b>\" /lenses/<i>'&”"),
            "“&#60;b&#62;&#34; /lenses/&#60;i&#62;&#39;&#38;”"
        );
    }

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
            ("<b class=\"x\">± 1 m</b>", "<b class=\"x\">±~1~m</b>"),
            ("", ""),
        ] {
            assert_eq!(tie(words), tied.replace('~', "\u{a0}"));
        }
    }
}
