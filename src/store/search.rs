//! How lenses are found by half a name: "50 1.8", "24-105", "ostrel har".
//!
//! A lens is stored with the words it may be found by, a space before and after each. A number in a question must be a
//! whole word there (50 does not find 150), or a focal length within the lens's range; anything else may be any part of one.

use super::LensDraft;

/// Words of one question that count; more are passed over.
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
    /// Words that it may have been run together from, all of which have to fit instead; empty where it is none.
    parts: Vec<Pattern>,
}

impl Pattern {
    /// Whether a lens answers it, by its slug, its search text and its range of focal lengths, mm.
    pub(super) fn fits(&self, slug: &str, search_text: &str, range_mm: (f64, f64)) -> bool {
        let (shortest_mm, longest_mm) = range_mm;
        let covers = |mm: f64| (shortest_mm..=longest_mm).contains(&mm);
        let fits = |part: &Self| part.fits(slug, search_text, range_mm);
        search_text.contains(&self.text)
            || self.focal_mm.is_some_and(covers)
            || self.ranges.iter().any(|range| search_text.contains(range))
            || self.text == slug
            || (!self.parts.is_empty() && self.parts.iter().all(fits))
    }

    fn new(word: &str) -> Self {
        let word: String = word.chars().take(LONGEST_WORD).collect();
        let number = bare_number(&word);
        let parts = words_run_together(&word);
        Self {
            focal_mm: number.as_ref().and_then(|number| number.parse().ok()),
            ranges: number.as_deref().map(run_together).unwrap_or_default(),
            text: match number {
                Some(number) => format!(" {number} "),
                None => plain(&word),
            },
            parts: parts.iter().map(|part| Self::new(part)).collect(),
        }
    }
}

/// What a lens must all fit to answer a question.
pub(super) fn patterns(words: &[String]) -> Vec<Pattern> {
    words
        .iter()
        .flat_map(|word| word.split_whitespace())
        .take(MOST_WORDS)
        .map(Pattern::new)
        .filter(|pattern| !pattern.text.is_empty())
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
        match (character, folded(character)) {
            ('a'..='z' | '0'..='9', _) => slug.push(character),
            (_, Some(letters)) => slug.push_str(letters),
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

/// The ASCII letters that a lower-case letter of Latin writing with a mark, or of two run together, is found by: "o" for "ø" and
/// "ö", "ss" for "ß"; nothing is left of a mark that stands alone after its letter. `None` for any other character.
fn folded(character: char) -> Option<&'static str> {
    Some(match character {
        'à'..='å' | 'ā' | 'ă' | 'ą' => "a",
        'æ' => "ae",
        'ç' | 'ć' | 'ĉ' | 'ċ' | 'č' => "c",
        'ď' | 'đ' | 'ð' => "d",
        'è'..='ë' | 'ē' | 'ĕ' | 'ė' | 'ę' | 'ě' => "e",
        'ĝ' | 'ğ' | 'ġ' | 'ģ' => "g",
        'ĥ' | 'ħ' => "h",
        'ì'..='ï' | 'ĩ' | 'ī' | 'ĭ' | 'į' | 'ı' => "i",
        'ĵ' => "j",
        'ķ' => "k",
        'ĺ' | 'ļ' | 'ľ' | 'ŀ' | 'ł' => "l",
        'ñ' | 'ń' | 'ņ' | 'ň' | 'ŋ' => "n",
        'ò'..='ö' | 'ø' | 'ō' | 'ŏ' | 'ő' => "o",
        'œ' => "oe",
        'ŕ' | 'ŗ' | 'ř' => "r",
        'ś' | 'ŝ' | 'ş' | 'š' | 'ș' => "s",
        'ß' => "ss",
        'ţ' | 'ť' | 'ŧ' | 'ț' => "t",
        'þ' => "th",
        'ù'..='ü' | 'ũ' | 'ū' | 'ŭ' | 'ů' | 'ű' | 'ų' => "u",
        'ŵ' => "w",
        'ý' | 'ÿ' | 'ŷ' => "y",
        'ź' | 'ż' | 'ž' => "z",
        '\u{300}'..='\u{36f}' => "",
        _ => return None,
    })
}

/// A text in lower case with its letters folded as in addresses, so that "oster" finds "Øster".
pub(super) fn plain_letters(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    for character in text.chars().flat_map(char::to_lowercase) {
        match folded(character) {
            Some(letters) => plain.push_str(letters),
            None => plain.push(character),
        }
    }
    plain
}

/// A word in plain lower-case letters, with a plain hyphen for every dash and without brackets, commas and quotes.
fn plain(word: &str) -> String {
    plain_letters(word)
        .chars()
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

/// Largest f-number that may follow a focal length after a dash: beyond it, figures there are a focal length, mm (common
/// practice, no source).
const MOST_APERTURE: f64 = 8.0;

/// The words that one may have been run together from; empty where it is a single one: the parts of a slug
/// ("ostrel-35-mm-f-1-4" is ostrel, 35 and 1.4), letters and figures ("ostrel24"), a focal length and an f-number ("50-1.8").
pub(crate) fn words_run_together(word: &str) -> Vec<String> {
    let word = plain(word);
    let letters = word.find(|c: char| c.is_ascii_digit()).unwrap_or(0);
    let (name, figures) = word.split_at(letters);
    let is_name = name.chars().count() >= 2 && name.chars().all(char::is_alphabetic);
    // "f4" and "t2.8" are figures by themselves.
    if is_name && bare_number(figures).is_some() {
        return vec![name.to_owned(), figures.to_owned()];
    }
    let parts: Vec<&str> = word.split('-').filter(|part| !part.is_empty()).collect();
    match parts[..] {
        [] | [_] => Vec::new(),
        [focal, stop] => {
            let figures = |part: &str| bare_number(part)?.parse::<f64>().ok();
            match (figures(focal), figures(stop)) {
                (Some(mm), Some(n)) if n < mm && n <= MOST_APERTURE => {
                    vec![focal.to_owned(), stop.to_owned()]
                }
                _ => Vec::new(),
            }
        }
        _ => parts_of_slug(&parts),
    }
}

/// The words of a slug: two figures after f or t are an f-number, two others a range of focal lengths; units and signs go.
fn parts_of_slug(parts: &[&str]) -> Vec<String> {
    let is_figures = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    let mut words: Vec<String> = Vec::new();
    let mut after_stop = false;
    let mut parts = parts.iter().peekable();
    while let Some(part) = parts.next() {
        let stop = part.strip_prefix(['f', 't']).unwrap_or(part);
        let is_stop = (after_stop || stop.len() < part.len()) && stop.len() == 1;
        after_stop = stop.is_empty();
        let mm = |part: &str| {
            let figures = part.strip_suffix("mm").unwrap_or(part);
            figures.parse::<u32>().ok().filter(|mm| *mm >= SHORTEST_MM)
        };
        let next = parts.peek().and_then(|next| mm(next));
        if let (Some(short), Some(long)) = (mm(part), next)
            && short < long
        {
            words.push(format!("{short}-{long}"));
            parts.next();
            continue;
        }
        match parts.peek() {
            Some(tenths) if is_stop && is_figures(stop) && is_figures(tenths) => {
                words.push(format!("{stop}.{tenths}"));
                parts.next();
            }
            _ if ["", "mm"].contains(&stop) => {}
            _ => words.push((*part).to_owned()),
        }
    }
    words
}

fn number(value: f64) -> String {
    format!("{value}")
}

#[cfg(test)]
mod tests;
