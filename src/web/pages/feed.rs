//! What is new as an Atom feed (RFC 4287): an entry for every version that was published and for every withdrawal.

use axum::extract::State;
use axum::response::Response;

use crate::app::App;
use crate::report::words;
use crate::store::PublicEvent;
use crate::sweep::{DEFAULT_TOLERANCE_PCT, NearEnd};
use crate::web::WebError;
use crate::web::api::{self, FocalDocument, conditions_words, timestamp};

/// Entries of the feed.
const MOST_ENTRIES: u32 = 50;

/// One entry.
struct Entry {
    /// A tag URI (RFC 4151) made of the key of the publication, which never changes, whatever becomes of lens and slug.
    id: String,
    title: String,
    link: String,
    published: String,
    updated_ms: i64,
    authors: Vec<String>,
    summary: String,
}

impl Entry {
    fn updated(&self) -> String {
        timestamp(self.updated_ms)
    }
}

#[derive(askama::Template)]
#[template(path = "pages/feed.xml")]
struct Feed {
    site: String,
    id: String,
    updated: String,
    entries: Vec<Entry>,
}

/// `GET /feed.atom`
pub(super) async fn atom(State(app): State<App>) -> Result<Response, WebError> {
    let site = app.config.public_url();
    let tag = tag_authority(&site);
    let (published, withdrawn) = app.store.public_events(MOST_ENTRIES).await?;
    let mut entries: Vec<Entry> = published
        .iter()
        .map(|event| publication(event, &site, &tag))
        .chain(
            withdrawn
                .iter()
                .filter_map(|event| withdrawal(event, &site, &tag)),
        )
        .collect();
    entries.sort_by_key(|entry| std::cmp::Reverse(entry.updated_ms));
    entries.truncate(MOST_ENTRIES as usize);
    let newest_ms = entries.first().map_or(0, |entry| entry.updated_ms);
    let feed = Feed {
        id: format!("{tag}feed"),
        updated: timestamp(newest_ms),
        entries,
        site,
    };
    let body = askama::Template::render(&feed)?;
    Ok(api::tagged(
        "application/atom+xml; charset=utf-8",
        body.into(),
    ))
}

/// The beginning of all ids, e.g. `tag:lens.example,2026:`.
fn tag_authority(site: &str) -> String {
    let host = site.split_once("://").map_or(site, |(_, rest)| rest);
    let host = match host.strip_prefix('[') {
        // A literal address of IPv6 is no name that a tag may hold; its digits are.
        Some(v6) => v6.split(']').next().unwrap_or(v6).replace(':', "-"),
        None => host.split(':').next().unwrap_or(host).to_owned(),
    };
    format!("tag:{host},2026:")
}

/// What an entry is about: a lens at a focal length under conditions, since entries stand alone.
fn place(event: &PublicEvent) -> String {
    let about = &event.lens.about;
    let focal = words::focal_length(event.result.focal_length_mm);
    let conditions = conditions_words(event.result.conditions);
    format!(
        "{} {} at {focal} with {conditions}",
        about.maker, about.model
    )
}

fn publication(event: &PublicEvent, site: &str, tag: &str) -> Entry {
    let what = match event.version {
        1 => "measured".to_owned(),
        version => format!("measured, version {version}"),
    };
    let summary = match &event.withdrawn {
        Some((_, reason)) => format!("Withdrawn since: {reason}"),
        None => sentence(event),
    };
    Entry {
        id: format!("{tag}publication/{}", event.publication),
        title: printable(&format!("{}: {what}", place(event))),
        link: format!("{site}/lenses/{}", event.lens.slug),
        published: timestamp(event.published_ms),
        updated_ms: event
            .withdrawn
            .as_ref()
            .map_or(event.published_ms, |(at_ms, _)| *at_ms),
        authors: authors(event),
        summary: printable(&summary),
    }
}

/// What was measured, in a sentence. Whether the closest focus of a zoom was reached is seen at no single focal length.
fn sentence(event: &PublicEvent) -> String {
    let about = &event.lens.about;
    let marked = about.closest_focus_m;
    let marked = marked.filter(|_| about.focal_min_mm >= about.focal_max_mm);
    let near = NearEnd::of(marked, [&event.result.curve]);
    let focal = FocalDocument::new(event.result.clone(), DEFAULT_TOLERANCE_PCT, near);
    // Its repeats may say otherwise, or it may cover less than they do.
    format!(
        "{} This is what sweep {} says alone; the page of the lens has all that counts together.",
        focal.sentence, event.sweep
    )
}

fn withdrawal(event: &PublicEvent, site: &str, tag: &str) -> Option<Entry> {
    let (at_ms, reason) = event.withdrawn.as_ref()?;
    Some(Entry {
        id: format!("{tag}withdrawal/{}", event.publication),
        title: printable(&format!("{}: withdrawn", place(event))),
        link: format!("{site}/lenses/{}", event.lens.slug),
        published: timestamp(*at_ms),
        updated_ms: *at_ms,
        authors: authors(event),
        summary: printable(&format!(
            "Version {} was withdrawn: {reason}",
            event.version
        )),
    })
}

/// Who measured; the site where nobody is named, since an entry must have an author.
fn authors(event: &PublicEvent) -> Vec<String> {
    let named: Vec<String> = event
        .result
        .reviewers
        .iter()
        .map(|n| printable(n))
        .collect();
    if named.is_empty() {
        vec!["Breathmark".to_owned()]
    } else {
        named
    }
}

/// The text without what XML 1.0 has no way to hold.
fn printable(text: &str) -> String {
    text.chars()
        .filter(|c| matches!(c, '\t' | '\n' | '\r' | '\u{20}'..='\u{fffd}' | '\u{10000}'..))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_begin_with_the_name_of_the_site() {
        for (site, tag) in [
            ("https://lens.example", "tag:lens.example,2026:"),
            ("http://127.0.0.1:8317", "tag:127.0.0.1,2026:"),
            ("http://[::1]:8317", "tag:--1,2026:"),
        ] {
            assert_eq!(tag_authority(site), tag);
        }
    }

    #[test]
    fn what_xml_cannot_hold_is_left_out() {
        assert_eq!(printable("a\u{0}b\u{8}c\u{ffff}\n€𝄞"), "abc\n€𝄞");
    }
}
