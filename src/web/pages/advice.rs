//! What may help where no lens fits: which condition to drop, which word nobody knows, and what was meant.

use super::lenses::chips;
use crate::app::App;
use crate::store::RankingQuery;
use crate::web::WebError;
use crate::web::api::{Params, RankingQuestion, rank, search_words};

/// Most lenses whose names are looked through for what was meant.
const MOST_NAMES: u32 = 20_000;

/// What may help.
pub(super) struct Advice {
    /// Conditions without which some lenses fit.
    pub(super) drop: Vec<Offer>,
    /// Words that occur in no name.
    pub(super) unknown: Vec<String>,
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
        let asked = params.text("q").map(search_words).unwrap_or_default();
        for word in &asked {
            if found(app, &Params::of_one("q", word)).await? == 0 {
                advice.unknown.push(word.clone());
            }
        }
        if advice.unknown.is_empty() {
            return Ok(advice);
        }
        let near = near(app, advice.unknown.clone()).await?;
        let mended: Vec<&str> = asked
            .iter()
            .filter_map(|word| match advice.unknown.iter().position(|w| w == word) {
                Some(at) => near[at].as_deref(),
                None => Some(word.as_str()),
            })
            .collect();
        if !mended.is_empty() {
            let words = mended.join(" ");
            let question = params.and("q", &words).without(&["cursor"]);
            let count = found(app, &question).await?;
            if count > 0 {
                advice.meant = Some(Offer {
                    href: question.with(&[]),
                    words,
                    count,
                });
            }
        }
        Ok(advice)
    }
}

/// How many lenses a question finds.
async fn found(app: &App, params: &Params) -> Result<u64, WebError> {
    let mut question = RankingQuestion::read(params)?;
    question.limit = 1;
    Ok(rank(app, &question).await?.total)
}

/// For each word the nearest one in the names of all lenses; off the async threads, for there may be thousands.
async fn near(app: &App, unknown: Vec<String>) -> Result<Vec<Option<String>>, WebError> {
    let all = RankingQuery {
        limit: MOST_NAMES,
        ..RankingQuery::default()
    };
    let lenses = app.store.ranking(all).await?.rows;
    let near = tokio::task::spawn_blocking(move || {
        let mut names: Vec<String> = lenses
            .iter()
            .map(|row| &row.lens.about)
            .flat_map(|about| [&about.maker, &about.model, &about.mount])
            .flat_map(|name| name.split_whitespace())
            .map(str::to_lowercase)
            .collect();
        names.sort();
        names.dedup();
        let of = |word: &String| nearest(word, &names).map(str::to_owned);
        unknown.iter().map(of).collect()
    });
    Ok(near.await?)
}

/// The word that is nearest to one that nobody knows: one slip of the keyboard away, two in longer words. `None` for
/// figures, and where none is near.
fn nearest<'a>(word: &str, vocabulary: &'a [String]) -> Option<&'a str> {
    let letters = word.chars().count();
    if letters < 3 || word.chars().any(|c| c.is_ascii_digit()) {
        return None;
    }
    let most = if letters < 6 { 1 } else { 2 };
    vocabulary
        .iter()
        .map(|known| (slips(word, known), known.as_str()))
        .filter(|(slips, _)| *slips <= most)
        .min()
        .map(|(_, known)| known)
}

/// How many slips make one word of another: a letter more, less, wrong, or changed with its neighbour (optimal string
/// alignment distance).
fn slips(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let mut rows: Vec<Vec<usize>> = vec![(0..=b.len()).collect()];
    for (i, left) in a.iter().enumerate() {
        let mut row = vec![i + 1];
        for (j, right) in b.iter().enumerate() {
            let above = &rows[i];
            let mut least = (above[j] + usize::from(left != right))
                .min(above[j + 1] + 1)
                .min(row[j] + 1);
            if i > 0 && j > 0 && *left == b[j - 1] && a[i - 1] == *right {
                least = least.min(rows[i - 1][j - 1] + 1);
            }
            row.push(least);
        }
        rows.push(row);
    }
    rows[a.len()][b.len()]
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
            assert_eq!(slips(a, b), count, "{a} {b}");
        }
    }

    #[test]
    fn only_near_words_are_offered() {
        let vocabulary = ["brackwell", "ostrel", "tindra", "f/2"].map(str::to_owned);
        assert_eq!(nearest("brakwel", &vocabulary), Some("brackwell"));
        assert_eq!(nearest("osterl", &vocabulary), Some("ostrel"));
        assert_eq!(nearest("toaster", &vocabulary), None);
        assert_eq!(nearest("f/3", &vocabulary), None);
    }
}
