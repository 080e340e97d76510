//! What is stored of a lens, by its name: found, moved, or withdrawn.

use axum::http::Uri;

use crate::app::App;
use crate::store::LensPage;
use crate::web::WebError;

/// All that is public of a lens, by its name or by one that it had before it was merged into another.
pub(in crate::web) async fn lens_by_any_name(
    app: &App,
    slug: &str,
) -> Result<Option<LensPage>, WebError> {
    if let Some(page) = app.store.lens_page(slug).await? {
        return Ok(Some(page));
    }
    match app.store.slug_after_merge(slug).await? {
        Some(now) => Ok(app.store.lens_page(&now).await?),
        None => Ok(None),
    }
}

/// All that is public of a lens of which something is, or nothing ever was. Where it was merged into another, the error is
/// the way to the same address of that one; where all of it was taken back, the reason.
pub(in crate::web) async fn published_lens(
    app: &App,
    slug: &str,
    here: &Uri,
) -> Result<LensPage, WebError> {
    unless_withdrawn(stored_lens(app, slug, here).await?)
}

/// The page, or the reason why all of it was taken back.
pub(in crate::web) fn unless_withdrawn(page: LensPage) -> Result<LensPage, WebError> {
    if page.is_withdrawn() {
        let reasons: Vec<&str> = page
            .reasons
            .iter()
            .map(|r| r.trim_end_matches('.'))
            .collect();
        Err(WebError::Gone(format!(
            "what was published of the {} was withdrawn: {}. What became of it stands at /lenses/{}",
            page.lens.about.name(),
            reasons.join("; "),
            page.lens.slug
        )))
    } else {
        Ok(page)
    }
}

/// All that is public of a lens, and what became of it where that is nothing more. Where it was merged into another, the
/// error is the way to the same address of that one.
pub(in crate::web) async fn stored_lens(
    app: &App,
    slug: &str,
    here: &Uri,
) -> Result<LensPage, WebError> {
    if let Some(page) = app.store.lens_page(slug).await? {
        return Ok(page);
    }
    // Slugs are lower case; capitals come from those who type names.
    let lower = slug.to_lowercase();
    if lower != slug && app.store.lens_by_slug(&lower).await?.is_some() {
        let there = moved(here, slug, &lower).map(WebError::Moved);
        return Err(there.unwrap_or_else(|| WebError::no_such("lens")));
    }
    let now = app.store.slug_after_merge(slug).await?;
    Err(now
        .and_then(|now| moved(here, slug, &now))
        .map_or_else(|| WebError::no_such("lens"), WebError::Moved))
}

/// The address with another slug after `lens/` or `lenses/`; endings such as `.json` stay.
fn moved(here: &Uri, slug: &str, now: &str) -> Option<String> {
    let mut parts: Vec<String> = here.path().split('/').map(str::to_owned).collect();
    let at = (1..parts.len()).find(|&at| {
        let rest = parts[at].strip_prefix(slug);
        ["lens", "lenses"].contains(&parts[at - 1].as_str())
            && rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('.'))
    })?;
    parts[at].replace_range(..slug.len(), now);
    let path = parts.join("/");
    Some(match here.query() {
        Some(query) => format!("{path}?{query}"),
        None => path,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_address_of_another_lens() {
        for (here, there) in [
            (
                "/lenses/old.json?tolerance_pct=1",
                "/lenses/new.json?tolerance_pct=1",
            ),
            ("/api/v1/lenses/old/curves", "/api/v1/lenses/new/curves"),
            ("/charts/lens/old.svg", "/charts/lens/new.svg"),
        ] {
            let here: Uri = here.parse().expect("an address");
            assert_eq!(moved(&here, "old", "new").as_deref(), Some(there));
        }
        // A lens may be called like a part of the address.
        let here: Uri = "/api/v1/lenses/lenses/pull".parse().expect("an address");
        assert_eq!(
            moved(&here, "lenses", "new").as_deref(),
            Some("/api/v1/lenses/new/pull")
        );
        let here: Uri = "/lenses/older".parse().expect("an address");
        assert_eq!(moved(&here, "old", "new"), None);
    }
}
