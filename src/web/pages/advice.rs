//! What may help where no lens fits: which condition to drop, which word nobody knows, and what was meant.

use strsim::osa_distance;

use super::lenses::chips;
use crate::app::App;
use crate::store::{Lens, RankingQuery, words_run_together};
use crate::web::WebError;
use crate::web::api::{Params, RankingQuestion, rank, search_words};

/// Most lenses whose names are looked through for what was meant.
const MOST_NAMES: u32 = 20_000;

/// Most withdrawn lenses that are named.
const MOST_WITHDRAWN: usize = 5;

/// What may help.
pub(super) struct Advice {
    /// Conditions without which some lenses fit.
    pub(super) drop: Vec<Offer>,
    /// Words that occur in no name.
    pub(super) unknown: Vec<String>,
    /// Lenses of that name that are in no list, since all that was published of them was taken back.
    pub(super) withdrawn: Vec<Lens>,
    /// Figures that find something, and that were not typed just now.
    pub(super) examples: Vec<String>,
    /// What may have been meant: near words for those that nobody knows, the others left out.
    pub(super) meant: Option<Offer>,
}

/// Something to try.
pub(super) struct Offer {
    pub(super) words: String,
    pub(super) href: String,
    /// How many lenses it finds.
    pub(super) count: u64,
}

impl Advice {
    /// What may help with a question that no lens fits.
    pub(super) async fn on(app: &App, params: &Params) -> Result<Self, WebError> {
        let mut advice = Self {
            drop: Vec::new(),
            unknown: Vec::new(),
            withdrawn: Vec::new(),
            examples: Vec::new(),
            meant: None,
        };
        let chips = chips(params);
        if chips.len() > 1 {
            for chip in chips {
                let fewer = params.without(&[chip.name, "cursor"]);
                let count = found(app, &fewer).await?;
                if count > 0 {
                    advice.drop.push(Offer {
                        words: chip.words,
                        href: chip.href,
                        count,
                    });
                }
            }
        }
        // Word by word, also where they are run together.
        let typed = params.text("q").map(search_words).unwrap_or_default();
        let apart = |word: String| match words_run_together(&word) {
            parts if parts.is_empty() => vec![word],
            parts => parts,
        };
        let asked: Vec<String> = typed.into_iter().flat_map(apart).collect();
        let withdrawn = async |words: &[String]| {
            let store = &app.store;
            store.withdrawn_lenses(words, MOST_WITHDRAWN).await
        };
        if !asked.is_empty() {
            advice.withdrawn = withdrawn(&asked).await?;
        }
        for word in &asked {
            let is_known = found(app, &Params::of_one("q", word)).await? > 0
                || !withdrawn(std::slice::from_ref(word)).await?.is_empty();
            if !is_known {
                advice.unknown.push(word.clone());
            }
        }
        let mut names = Names::of(app, asked.clone()).await?;
        advice.examples = std::mem::take(&mut names.examples);
        if advice.unknown.is_empty() {
            // Every word is known, but no lens has them all: without one of them some do.
            for at in (0..asked.len()).rev().filter(|_| asked.len() > 1) {
                let mut words = asked.clone();
                words.remove(at);
                advice.meant = fitting(app, params, &words).await?;
                if advice.meant.is_some() {
                    break;
                }
            }
            return Ok(advice);
        }
        let mended: Vec<String> = asked
            .iter()
            .filter_map(
                |word| match advice.unknown.iter().find(|unknown| *unknown == word) {
                    Some(_) => names.nearest(word),
                    None => Some(word.clone()),
                },
            )
            .collect();
        let known = asked.iter().filter(|word| !advice.unknown.contains(word));
        let known: Vec<String> = known.cloned().collect();
        // The words as they were meant, else those that are known alone.
        for words in [mended, known].iter().filter(|words| !words.is_empty()) {
            advice.meant = fitting(app, params, words).await?;
            if advice.meant.is_some() {
                break;
            }
        }
        Ok(advice)
    }
}

/// The same question with these words, if some lens fits it.
async fn fitting(app: &App, params: &Params, words: &[String]) -> Result<Option<Offer>, WebError> {
    let words = words.join(" ");
    let question = params.and("q", &words).without(&["cursor"]);
    let count = found(app, &question).await?;
    Ok((count > 0).then(|| Offer {
        href: question.with(&[]),
        words,
        count,
    }))
}

/// How many lenses a question finds.
async fn found(app: &App, params: &Params) -> Result<u64, WebError> {
    let mut question = RankingQuestion::read(params)?;
    question.limit = 1;
    Ok(rank(app, &question).await?.total)
}

/// What lenses are called and which focal lengths they have.
#[derive(Default)]
struct Names {
    /// Every word of a maker, model or mount, lower case.
    words: Vec<String>,
    /// Shortest and longest focal lengths, mm.
    ranges: Vec<(f64, f64)>,
    /// A focal length with its aperture and a range that find something, and that nobody typed just now.
    examples: Vec<String>,
}

impl Names {
    /// Those of all lenses; off the async threads, for there may be thousands.
    async fn of(app: &App, asked: Vec<String>) -> Result<Self, WebError> {
        let all = RankingQuery {
            limit: MOST_NAMES,
            ..RankingQuery::default()
        };
        let lenses = app.store.ranking(all).await?.rows;
        let gather = move || {
            let mut names = Self::default();
            let (mut prime, mut zoom) = (None, None);
            for about in lenses.iter().map(|row| &row.lens.about) {
                for name in [&about.maker, &about.model, &about.mount] {
                    names
                        .words
                        .extend(name.split_whitespace().map(str::to_lowercase));
                }
                let range = (about.focal_min_mm, about.focal_max_mm);
                names.ranges.push(range);
                let figures = range_word(range);
                if asked.contains(&figures) {
                    continue;
                }
                if range.0 < range.1 {
                    zoom.get_or_insert(figures);
                } else {
                    prime.get_or_insert(format!("{figures} {}", about.max_aperture));
                }
            }
            names.words.sort();
            names.words.dedup();
            names.examples.extend(prime.into_iter().chain(zoom));
            names
        };
        Ok(tokio::task::spawn_blocking(gather).await?)
    }

    /// What is nearest to a word that nobody knows.
    fn nearest(&self, word: &str) -> Option<String> {
        if word.chars().any(|c| c.is_ascii_digit()) {
            return nearest_range(word, &self.ranges);
        }
        nearest(word, &self.words).map(str::to_owned)
    }
}

/// Focal lengths as they are searched for: "70-200", "50".
fn range_word((short, long): (f64, f64)) -> String {
    if short < long {
        format!("{short}-{long}")
    } else {
        format!("{short}")
    }
}

/// Largest ratio between focal lengths that one may have been meant for the other; over a range, that of both ends
/// multiplied. A factor of two is the step between kinds of lenses: normal, portrait, tele (common practice, no source).
const MEANT_RATIO: f64 = 2.0;

/// The focal lengths that were probably meant: the same figures without what parts them ("70200"), else the nearest ones
/// of the same kind, a range or a single one.
fn nearest_range(word: &str, ranges: &[(f64, f64)]) -> Option<String> {
    let figures = |text: &str| -> String { text.chars().filter(char::is_ascii_digit).collect() };
    let typed = figures(word);
    let same = |range: &&(f64, f64)| range.0 < range.1 && figures(&range_word(**range)) == typed;
    if let Some(range) = ranges.iter().find(same) {
        return Some(range_word(*range)).filter(|found| found != word);
    }
    let ends: Option<Vec<f64>> = word.split('-').map(|end| end.parse().ok()).collect();
    let (short, long) = match ends?[..] {
        [one] => (one, one),
        [short, long] => (short, long),
        _ => return None,
    };
    let apart = |range: &(f64, f64)| (range.0 / short).ln().abs() + (range.1 / long).ln().abs();
    let is_meant = |range: &&(f64, f64)| {
        let alike = (range.0 < range.1) == (short < long);
        alike && short > 0.0 && long > 0.0 && apart(range) <= MEANT_RATIO.ln()
    };
    let near = ranges.iter().filter(is_meant);
    let near = near.min_by(|a, b| apart(a).total_cmp(&apart(b)))?;
    Some(range_word(*near)).filter(|found| found != word)
}

/// The word that is nearest to one that nobody knows: one slip of the keyboard away, two in longer words. `None` where none
/// is near.
fn nearest<'a>(word: &str, vocabulary: &'a [String]) -> Option<&'a str> {
    let letters = word.chars().count();
    if letters < 3 {
        return None;
    }
    let most = if letters < 6 { 1 } else { 2 };
    let slip = |known: &str| {
        // Half a name is typed, too.
        let begin: String = known.chars().take(letters).collect();
        osa_distance(word, known).min(osa_distance(word, &begin))
    };
    vocabulary
        .iter()
        .map(|known| (slip(known), known.as_str()))
        .filter(|(slips, _)| *slips <= most)
        .min()
        .map(|(_, known)| known)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slips_are_counted() {
        for (a, b, count) in [
            ("ostrel", "ostrel", 0),
            ("ostrell", "ostrel", 1),
            ("osterl", "ostrel", 1),
            ("tundra", "tindra", 1),
            ("", "abc", 3),
            ("kitten", "sitting", 3),
        ] {
            assert_eq!(osa_distance(a, b), count, "{a} {b}");
        }
    }

    #[test]
    fn only_near_words_are_offered() {
        let vocabulary = ["brackwell", "ostrel", "tindra", "f/2"].map(str::to_owned);
        assert_eq!(nearest("brakwel", &vocabulary), Some("brackwell"));
        assert_eq!(nearest("osterl", &vocabulary), Some("ostrel"));
        assert_eq!(nearest("brcak", &vocabulary), Some("brackwell"));
        assert_eq!(nearest("toaster", &vocabulary), None);
        assert_eq!(nearest("f/", &vocabulary), None);
    }

    #[test]
    fn the_focal_lengths_that_were_meant_are_offered() {
        let ranges = [(24.0, 70.0), (70.0, 200.0), (50.0, 50.0), (85.0, 85.0)];
        for (typed, meant) in [
            ("70200", Some("70-200")),
            ("2470", Some("24-70")),
            ("24-105", Some("24-70")),
            ("70-210", Some("70-200")),
            ("55", Some("50")),
            // Found by itself, so there is nothing to mend; beyond a factor of two; no figures at all.
            ("70-200", None),
            ("500", None),
            ("0", None),
            ("1-2-3", None),
            ("f2", None),
        ] {
            assert_eq!(nearest_range(typed, &ranges).as_deref(), meant, "{typed}");
        }
    }
}
