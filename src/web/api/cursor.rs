//! Cursors: where in a list an answer ended, as a word that only this program reads.
//!
//! A cursor holds the place of the last row and not a count, so rows that come or go before it change nothing after it.

use sha2::{Digest as _, Sha256};

use crate::store::{PlaceGroup, RankingPlace, RankingQuery};
use crate::web::WebError;

/// Bytes that tell one question from another.
const PRINT_BYTES: usize = 8;
const GROUPS: [PlaceGroup; 3] = [
    PlaceGroup::Known,
    PlaceGroup::Unknown,
    PlaceGroup::NotMeasured,
];

/// What tells a question from another, whatever rows are asked for.
fn print(query: &RankingQuery) -> [u8; PRINT_BYTES] {
    let question = RankingQuery {
        limit: 0,
        after: None,
        ..query.clone()
    };
    let hash = Sha256::digest(format!("{question:?}"));
    std::array::from_fn(|at| hash[at])
}

/// The cursor of the rows after a place in the answer to a question.
pub(super) fn written(query: &RankingQuery, place: &RankingPlace) -> String {
    let group = GROUPS.iter().position(|group| *group == place.group);
    let mut bytes = print(query).to_vec();
    bytes.push(group.and_then(|at| u8::try_from(at).ok()).unwrap_or(0));
    bytes.extend(place.key.to_le_bytes());
    bytes.extend(place.tie.to_le_bytes());
    bytes.extend(place.lens.to_le_bytes());
    bytes.extend(place.name.as_bytes());
    hex::encode(bytes)
}

/// The place that a cursor of this question stands for.
pub(super) fn read(query: &RankingQuery, cursor: &str) -> Result<RankingPlace, WebError> {
    let wrong = |what: &str| {
        WebError::field(
            "cursor",
            format!(
                "{what}; take it unchanged from `next`, or leave it out to begin with the first row"
            ),
        )
    };
    let bytes = hex::decode(cursor).map_err(|_| wrong("this is no cursor"))?;
    let (asked, place) = bytes
        .split_first_chunk::<PRINT_BYTES>()
        .ok_or_else(|| wrong("this is no cursor"))?;
    let place = place_of(place).ok_or_else(|| wrong("this is no cursor"))?;
    if *asked == print(query) {
        Ok(place)
    } else {
        Err(wrong(
            "it belongs to another question; ask that one with it",
        ))
    }
}

fn place_of(bytes: &[u8]) -> Option<RankingPlace> {
    let (group, rest) = bytes.split_first()?;
    let (key, rest) = rest.split_first_chunk()?;
    let (tie, rest) = rest.split_first_chunk()?;
    let (lens, name) = rest.split_first_chunk()?;
    Some(RankingPlace {
        group: *GROUPS.get(usize::from(*group))?,
        key: f64::from_le_bytes(*key),
        tie: f64::from_le_bytes(*tie),
        lens: i64::from_le_bytes(*lens),
        name: String::from_utf8(name.to_vec()).ok()?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn query() -> RankingQuery {
        RankingQuery {
            words: vec!["50".to_owned()],
            ..RankingQuery::default()
        }
    }

    proptest! {
        #[test]
        fn a_cursor_is_its_place(key in any::<f64>(), tie in any::<f64>(), lens in any::<i64>(), name in ".{0,90}", group in 0..3_usize) {
            let place = RankingPlace { group: GROUPS[group], key, tie, lens, name };
            let back = read(&query(), &written(&query(), &place)).expect("just written");
            prop_assert_eq!((back.key.to_bits(), back.tie.to_bits()), (key.to_bits(), tie.to_bits()));
            prop_assert_eq!((back.group, back.lens, back.name), (place.group, lens, place.name));
        }

        #[test]
        fn no_word_is_too_strange(cursor in ".{0,200}") {
            let error = read(&query(), &cursor).expect_err("no cursor");
            prop_assert!(error.to_string().contains("leave it out"));
        }
    }

    #[test]
    fn a_cursor_belongs_to_its_question() {
        let place = RankingPlace {
            group: PlaceGroup::Known,
            key: 1.0,
            tie: 0.5,
            lens: 7,
            name: String::new(),
        };
        let cursor = written(&query(), &place);
        let more = RankingQuery {
            limit: 3,
            ..query()
        };
        assert_eq!(
            read(&more, &cursor).ok(),
            Some(place),
            "another limit is the same question"
        );
        let other = RankingQuery {
            descending: true,
            ..query()
        };
        let error = read(&other, &cursor).expect_err("another question");
        assert!(error.to_string().contains("another question"), "{error}");
    }
}
