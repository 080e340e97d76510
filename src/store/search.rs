//! How lenses are found by half a name: "50 1.8", "24-105", "ostrel har".
//!
//! A lens is stored with the words it may be found by, a space before and after each. A number in a question must be a
//! whole word there (50 does not find 150), or a focal length within the lens's range; anything else may be any part of one.

use super::LensDraft;

/// Words of one question that count, as many as the ranking has parameters for; more are passed over.
pub(super) const MOST_WORDS: usize = 8;

/// Characters of one word that count.
const LONGEST_WORD: usize = 64;

/// The words a lens may be found by, e.g. " ostrel deep 24-105 24 105 4 skerry bayonet zoom ".
pub(super) fn search_text(lens: &LensDraft) -> String {
    let mut words: Vec<String> = Vec::new();
    let names = [&lens.maker, &lens.model, &lens.mount];
    for word in names.iter().flat_map(|name| name.split_whitespace()) {
        words.push(plain(word));
        words.extend(bare_number(word));
    }
    let (short, long) = (number(lens.focal_min_mm), number(lens.focal_max_mm));
    if short != long {
        words.push(format!("{short}-{long}"));
        words.push(long);
    }
    words.push(short);
    words.push(number(lens.max_aperture));
    words.push(lens.kind.words().to_owned());
    words.retain(|word| !word.is_empty());
    let mut seen = std::collections::BTreeSet::new();
    words.retain(|word| seen.insert(word.clone()));
    format!(" {} ", words.join(" "))
}

/// A word of a question, as it is looked for.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Pattern {
    /// What has to occur in the search text.
    text: String,
    /// A bare number may also be a focal length within the range of the lens, mm.
    focal_mm: Option<f64>,
    /// What may occur instead: the range that a run of figures may be, "70-200" for "70200".
    ranges: Vec<String>,
}

impl Pattern {
    /// Whether a lens answers it, by its search text and its range of focal lengths, mm.
    pub(super) fn fits(&self, search_text: &str, (shortest_mm, longest_mm): (f64, f64)) -> bool {
        let covers = |mm: f64| (shortest_mm..=longest_mm).contains(&mm);
        search_text.contains(&self.text)
            || self.focal_mm.is_some_and(covers)
            || self.ranges.iter().any(|range| search_text.contains(range))
    }
}

/// What a lens must all fit to answer a question.
pub(super) fn patterns(words: &[String]) -> Vec<Pattern> {
    words
        .iter()
        .flat_map(|word| word.split_whitespace())
        .take(MOST_WORDS)
        .filter_map(|word| {
            let word: String = word.chars().take(LONGEST_WORD).collect();
            let number = bare_number(&word);
            let pattern = Pattern {
                focal_mm: number.as_ref().and_then(|number| number.parse().ok()),
                ranges: number.as_deref().map(run_together).unwrap_or_default(),
                text: match number {
                    Some(number) => format!(" {number} "),
                    None => plain(&word),
                },
            };
            (!pattern.text.is_empty()).then_some(pattern)
        })
        .collect()
}

/// Maker and model in lower case with every number padded to six digits: its text order is natural order.
pub(super) fn sort_name(maker: &str, model: &str) -> String {
    let mut key = String::new();
    let mut digits = String::new();
    for character in format!("{maker} {model} ")
        .chars()
        .flat_map(char::to_lowercase)
    {
        if character.is_ascii_digit() {
            digits.push(character);
            continue;
        }
        if !digits.is_empty() {
            key.push_str(&format!("{digits:0>6}"));
            digits.clear();
        }
        key.push(character);
    }
    key.truncate(key.trim_end().len());
    key
}

/// A stable name for addresses: ASCII letters and digits of the text with single dashes between; "lens" where none are left.
pub(super) fn slug(text: &str) -> String {
    let mut slug = String::new();
    for character in text.chars().flat_map(char::to_lowercase) {
        match character {
            'a'..='z' | '0'..='9' => slug.push(character),
            'à'..='å' => slug.push('a'),
            'è'..='ë' => slug.push('e'),
            'ì'..='ï' => slug.push('i'),
            'ò'..='ö' | 'ø' => slug.push('o'),
            'ù'..='ü' => slug.push('u'),
            'ç' => slug.push('c'),
            'ñ' => slug.push('n'),
            'ß' => slug.push_str("ss"),
            _ if !slug.is_empty() && !slug.ends_with('-') => slug.push('-'),
            _ => {}
        }
        if slug.len() >= 80 {
            break;
        }
    }
    let slug = slug.trim_matches('-');
    if slug.is_empty() {
        "lens".to_owned()
    } else {
        slug.to_owned()
    }
}

/// A word in lower case, with a plain hyphen for every dash and without brackets, commas and quotes.
fn plain(word: &str) -> String {
    word.chars()
        .flat_map(char::to_lowercase)
        .map(|character| match character {
            '\u{2010}'..='\u{2015}' | '\u{2212}' => '-',
            other => other,
        })
        .filter(|character| !matches!(character, '(' | ')' | ',' | ';' | '"' | '\'' | '%'))
        .collect()
}

/// The number or range that a word is: "f/1.8", "F1.8" and "1.8" are "1.8", "50mm" is "50", "24–105mm" is "24-105", "2.0" is "2".
fn bare_number(word: &str) -> Option<String> {
    let word = plain(word);
    let bare = word.strip_suffix("mm").unwrap_or(&word);
    let bare = bare
        .strip_prefix("f/")
        .or_else(|| bare.strip_prefix("t/"))
        .or_else(|| bare.strip_prefix(['f', 't']))
        .unwrap_or(bare);
    let parts: Option<Vec<String>> = bare
        .split('-')
        .map(|part| part.trim_end_matches("mm"))
        .map(|part| {
            let digits = part.starts_with(|c: char| c.is_ascii_digit())
                && part.chars().all(|c| c.is_ascii_digit() || c == '.');
            digits.then(|| part.parse::<f64>().ok().map(number))?
        })
        .collect();
    parts
        .filter(|parts| parts.len() <= 2)
        .map(|parts| parts.join("-"))
}

/// What no zoom begins below, mm: fisheyes begin at 8 mm, small sensors halve that (common practice, no source).
const SHORTEST_MM: u32 = 4;

/// The ranges of focal lengths that a run of figures may be, each as a whole word: "24105" is " 24-105 ". Only a longer
/// focal length follows a shorter one, and none begins with a zero, so that 50, 150 and 105 are no range.
fn run_together(figures: &str) -> Vec<String> {
    if !figures.bytes().all(|byte| byte.is_ascii_digit()) {
        return Vec::new();
    }
    let parts = (1..figures.len()).filter_map(|at| {
        let (short, long) = figures.split_at(at);
        let (least, most) = (short.parse::<u32>().ok()?, long.parse::<u32>().ok()?);
        let is_range = least >= SHORTEST_MM && least < most && !long.starts_with('0');
        is_range.then(|| format!(" {short}-{long} "))
    });
    parts.collect()
}

fn number(value: f64) -> String {
    format!("{value}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::Kind;

    fn zoom() -> LensDraft {
        LensDraft {
            maker: "Ostrel".to_owned(),
            model: "Deep 24–105mm f/4 (II)".to_owned(),
            mount: "Skerry bayonet".to_owned(),
            kind: Kind::Zoom,
            focal_min_mm: 24.0,
            focal_max_mm: 105.0,
            max_aperture: 4.0,
            closest_focus_m: Some(0.45),
        }
    }

    fn finds(lens: &LensDraft, question: &str) -> bool {
        let text = search_text(lens);
        let words: Vec<String> = question.split(' ').map(str::to_owned).collect();
        patterns(&words)
            .iter()
            .all(|pattern| pattern.fits(&text, (lens.focal_min_mm, lens.focal_max_mm)))
    }

    #[test]
    fn a_zoom_is_found_by_what_people_type() {
        for question in [
            "24-105",
            "24–105",
            "24-105mm",
            "24",
            "105 mm",
            "105mm",
            "ostrel",
            "Ostr",
            "strel f/4",
            "deep 4",
            "F4",
            "4.0",
            "skerry",
            "zoom ii",
            "24-105 f4",
            // Within its range.
            "60",
            "ostrel 50",
            "85mm 4",
            // With what parts the two left out.
            "24105",
            "24105mm f4",
            "",
        ] {
            assert!(finds(&zoom(), question), "{question}");
        }
        for question in [
            "10",
            "5",
            "ostrel 150",
            "24-70",
            "105-24",
            "macro",
            "1.4",
            "60 2.8",
            "2410",
            "4105",
            "241050",
            "10524",
            "2470",
        ] {
            assert!(!finds(&zoom(), question), "{question}");
        }
    }

    #[test]
    fn a_number_is_a_whole_number() {
        let prime = LensDraft {
            model: "Keel 150 f/1.8".to_owned(),
            focal_min_mm: 150.0,
            focal_max_mm: 150.0,
            max_aperture: 1.8,
            kind: Kind::Prime,
            ..zoom()
        };
        assert!(finds(&prime, "150 1.8"));
        assert!(!finds(&prime, "50 1.8"));
    }

    #[test]
    fn a_run_of_figures_is_a_range_only_where_it_can_be_one() {
        for (figures, ranges) in [
            ("70200", vec![" 70-200 "]),
            ("816", vec![" 8-16 "]),
            ("100400", vec![" 100-400 "]),
            ("50", vec![]),
            ("150", vec![]),
            ("105", vec![]),
            ("1.8", vec![]),
            ("24-105", vec![]),
        ] {
            let found = run_together(figures);

            assert_eq!(found, ranges, "{figures}");
        }
        // A lens of 50 to 150 mm is not every 50 and 150, nor found by parts of its figures.
        let wide = LensDraft {
            model: "Keel 50-150 f/2.8".to_owned(),
            focal_min_mm: 50.0,
            focal_max_mm: 150.0,
            max_aperture: 2.8,
            ..zoom()
        };
        assert!(finds(&wide, "50150") && finds(&wide, "50150 2.8"));
        assert!(!finds(&wide, "5015") && !finds(&wide, "15050") && !finds(&wide, "50150 4"));
    }

    #[test]
    fn names_sort_as_people_count() {
        let mut keys = [
            sort_name("Tindra", "100 f/2"),
            sort_name("tindra", "24-70"),
            sort_name("Tindra", "24"),
            sort_name("Brackwell", "300"),
        ];
        keys.sort();
        assert_eq!(
            keys.map(|key| key.replace("0000", "").replace("000", "")),
            [
                "brackwell 300",
                "tindra 24",
                "tindra 24-70",
                "tindra 100 f/02"
            ]
        );
    }

    #[test]
    fn slugs_are_plain() {
        assert_eq!(slug("Ostrel Deep 24–105mm f/4"), "ostrel-deep-24-105mm-f-4");
        assert_eq!(slug("Tïndra  Ö. "), "tindra-o");
        assert_eq!(slug("漢字"), "lens");
        assert!(slug(&"x".repeat(5000)).len() <= 81);
    }
}
