//! What people type to find a lens, taken apart as they mean it.

use crate::store::words_run_together;

/// The words of a search: "24-105 f/4" is 24-105 and 4, "50/1,8" is 50 and 1.8. A range of focal lengths stays whole, and so
/// does what stands for a lens in addresses; another dash between words parts them, and so does a slash. Of an address of a
/// lens, its name in there is the word.
pub(in crate::web) fn search_words(text: &str) -> Vec<String> {
    const MOST_WORDS: usize = 8;
    const DASHES: [char; 4] = ['-', '‐', '–', '—'];
    let parts = |word: &str| -> Vec<String> {
        let parts: Vec<&str> = word.split(DASHES).collect();
        match parts[..] {
            [short, long] if is_number(short) && is_number(long) => {
                vec![format!("{short}-{long}").replace("mm", "")]
            }
            [_, _, _, ..] if is_slug(word) => vec![word.to_owned()],
            _ => parts.into_iter().map(str::to_owned).collect(),
        }
    };
    text.to_lowercase()
        .split(|c: char| c.is_whitespace() || c == ';')
        .map(|word| slug_in_address(word).unwrap_or(word))
        .flat_map(with_points)
        .flat_map(|word| {
            let word = word.strip_prefix("1:").unwrap_or(&word).to_owned();
            word.split('/').map(str::to_owned).collect::<Vec<_>>()
        })
        .flat_map(|word| before_stop(&word))
        .flat_map(|word| parts(&word))
        .map(|word| bare(&word).to_owned())
        .filter(|word| !["", "mm", "f", "t", "mmf"].contains(&word.as_str()))
        .take(MOST_WORDS)
        .collect()
}

/// What stands for the lens in an address of this site: `https://lens.example/lenses/ostrel-35-mm-f-1-4?from_m=3`.
fn slug_in_address(word: &str) -> Option<&str> {
    let places = ["lenses/", "lens/"];
    let at = |place: &&str| {
        word.find(&format!("/{place}"))
            .map(|at| at + 1 + place.len())
    };
    let (at, _) = places.iter().find_map(|place| Some((at(place)?, place)))?;
    let slug = word[at..].split(['/', '?', '#', '.']).next()?;
    (!slug.is_empty()).then_some(slug)
}

/// Whether it may stand for a lens in an address: plain words and figures with dashes between.
fn is_slug(word: &str) -> bool {
    let is_plain = |part: &str| {
        !part.is_empty()
            && part
                .bytes()
                .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit())
    };
    word.split('-').all(is_plain) && words_run_together(word).len() > 1
}

/// A word parted between its focal length and its aperture, where an f or t joins them: "50f1.8", "70-200mmf2.8".
fn before_stop(word: &str) -> Vec<String> {
    let is_joint = |&(at, letter): &(usize, char)| {
        let (before, after) = (&word[..at], &word[at + letter.len_utf8()..]);
        let before = before.strip_suffix("mm").unwrap_or(before);
        matches!(letter, 'f' | 't')
            && before.ends_with(|c: char| c.is_ascii_digit())
            && after.starts_with(|c: char| c.is_ascii_digit())
    };
    match word.char_indices().find(is_joint) {
        Some((at, letter)) => {
            let (before, after) = (&word[..at], &word[at + letter.len_utf8()..]);
            vec![before.to_owned(), after.to_owned()]
        }
        None => vec![word.to_owned()],
    }
}

/// Whether it is a number, with or without "mm".
fn is_number(part: &str) -> bool {
    let part = part.strip_suffix("mm").unwrap_or(part);
    part.starts_with(|c: char| c.is_ascii_digit())
        && part.chars().all(|c| c.is_ascii_digit() || c == '.')
}

/// A number without its unit: "50mm" and, before a slash, "50f" and "50mmf" are 50.
fn bare(word: &str) -> &str {
    let plain = word.strip_suffix('f').unwrap_or(word);
    match plain.strip_suffix("mm").unwrap_or(plain) {
        number if is_number(number) => number,
        _ => word,
    }
}

/// A word with its decimal commas as points, parted at its other commas. A comma is a decimal one after a number below 10, as
/// apertures have it, and before a single digit: "1,8", "0,95", "10,5", but not "24,70".
fn with_points(word: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    for part in word.split(',') {
        let joined = words.last().and_then(|before| {
            let digits = before.rsplit(|c: char| !c.is_ascii_digit()).next()?;
            let follows = part.chars().take_while(char::is_ascii_digit).count();
            let is_whole = !before[..before.len() - digits.len()].ends_with('.');
            let decimal = is_whole && follows > 0 && !digits.is_empty();
            (decimal && (digits.len() == 1 || follows == 1)).then(|| format!("{before}.{part}"))
        });
        match joined {
            Some(joined) => {
                words.pop();
                words.push(joined);
            }
            None => words.push(part.to_owned()),
        }
    }
    words
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
        for words in [
            "50/1.8",
            "50 f/1,8",
            "50 1,8",
            "50mm f1,8",
            "50f/1.8",
            "50mmf/1.8",
            "50 1:1.8",
            "50f1.8",
            "50mmf1,8",
            "50t1.8",
        ] {
            let found = search_words(words);
            assert_eq!(found[0], "50", "{words}");
            // "f1.8" is a figure of its own to those who look it up.
            assert_eq!(found[1].trim_start_matches('f'), "1.8", "{words}");
            assert_eq!(found.len(), 2, "{words}: {found:?}");
        }
        assert_eq!(search_words("35 1,4"), ["35", "1.4"]);
        assert_eq!(search_words("1,8"), ["1.8"]);
        assert_eq!(search_words("0,95"), ["0.95"]);
        assert_eq!(search_words("10,5"), ["10.5"]);
        assert_eq!(search_words("24,70"), ["24", "70"]);
        assert_eq!(search_words("ostrel,tindra,"), ["ostrel", "tindra"]);
        assert_eq!(search_words("24-70/2.8"), ["24-70", "2.8"]);
        assert_eq!(search_words("70-200mmf2.8"), ["70-200", "2.8"]);
        assert_eq!(search_words("70200f4"), ["70200", "4"]);
        assert!(search_words(" - ").is_empty());
    }

    #[test]
    fn what_stands_for_a_lens_in_addresses_stays_whole() {
        for typed in [
            "ostrel-35-mm-f-1-4",
            " Ostrel-35-mm-f-1-4 ",
            "https://lens.example/lenses/ostrel-35-mm-f-1-4",
            "/lenses/ostrel-35-mm-f-1-4.json?from_m=3,5&to_m=1/2",
            "lens.example/lenses/ostrel-35-mm-f-1-4/counter-scale#how",
            "https://lens.example/embed/lens/ostrel-35-mm-f-1-4?focal_mm=35",
        ] {
            assert_eq!(search_words(typed), ["ostrel-35-mm-f-1-4"], "{typed}");
        }
        assert_eq!(
            search_words("https://lens.example/lenses/"),
            ["https:", "lens.example", "lenses"]
        );
        assert_eq!(search_words("/lenses/keel"), ["keel"]);
        assert_eq!(search_words("24-70-f2,8"), ["24", "70", "f2.8"]);
    }
}
