//! What people type to find a lens, taken apart as they mean it.

/// The words of a search: "24-105 f/4" is 24-105 and 4. A range of focal lengths stays whole; a dash between words parts
/// them.
pub(in crate::web) fn search_words(text: &str) -> Vec<String> {
    const MOST_WORDS: usize = 8;
    const DASHES: [char; 4] = ['-', '‐', '–', '—'];
    let is_number = |part: &str| {
        let part = part.strip_suffix("mm").unwrap_or(part);
        !part.is_empty() && part.chars().all(|c| c.is_ascii_digit() || c == '.')
    };
    let parts = |word: &str| -> Vec<String> {
        let parts: Vec<&str> = word.split(DASHES).collect();
        match parts[..] {
            [short, long] if is_number(short) && is_number(long) => {
                vec![format!("{short}-{long}").replace("mm", "")]
            }
            _ => parts.into_iter().map(str::to_owned).collect(),
        }
    };
    text.split(|c: char| c.is_whitespace() || ",;".contains(c))
        .flat_map(|word| parts(&word.to_lowercase()))
        .map(|word| {
            let word = word.strip_prefix("f/").unwrap_or(&word);
            match word.strip_suffix("mm") {
                Some(number) if is_number(number) => number.to_owned(),
                _ => word.to_owned(),
            }
        })
        .filter(|word| !word.is_empty() && word != "mm")
        .take(MOST_WORDS)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn searches_are_taken_apart_as_people_mean_them() {
        assert_eq!(search_words("50 1.8"), ["50", "1.8"]);
        assert_eq!(search_words("24-105 f/4"), ["24-105", "4"]);
        assert_eq!(search_words("24–105mm"), ["24-105"]);
        assert_eq!(search_words("24 - 105"), ["24", "105"]);
        assert_eq!(search_words("harrow-lock"), ["harrow", "lock"]);
        assert_eq!(search_words("24-"), ["24"]);
        assert_eq!(search_words(" Ostrel 50mm "), ["ostrel", "50"]);
        assert!(search_words(" - ").is_empty());
    }
}
