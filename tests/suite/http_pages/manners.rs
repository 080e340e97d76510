//! The manners of reads: tags and conditional requests, HEAD, caches, other sites, quotas, addresses that moved.

use axum::http::{HeaderName, Method, StatusCode, header};

use super::site::{NOW, Site, curve, off};

const ZOOM: &str = "ostrel-28-135-f-3-5";
const LOUD: &str = "tindra-sound-85-f-1-4";
const QUIET: &str = "brackwell-pier-50-f-1-8";

/// What everybody gets the same.
fn documents() -> Vec<String> {
    vec![
        "/api/v1/lenses".to_owned(),
        "/api/v1/lenses?sort=tolerance_distance&tolerance_pct=1.5".to_owned(),
        format!("/api/v1/lenses/{ZOOM}"),
        format!("/api/v1/lenses/{ZOOM}/curves?focal_mm=50"),
        format!("/api/v1/lenses/{ZOOM}/pull?from_m=3&to_m=1"),
        format!("/api/v1/compare?lens={ZOOM}&lens={LOUD}"),
        "/api/v1/sweeps/1".to_owned(),
        "/api/v1/openapi.json".to_owned(),
        "/lenses.json".to_owned(),
        "/lenses.csv".to_owned(),
        format!("/lenses/{ZOOM}.json"),
        format!("/lenses/{ZOOM}.csv"),
        format!("/compare.json?lens={ZOOM}&lens={LOUD}"),
        format!("/compare.csv?lens={ZOOM}&lens={LOUD}"),
        format!("/plan.json?lens={ZOOM}&closest_focus_m=0.6"),
        "/plan.csv?focal_mm=50&max_aperture=2&closest_focus_m=0.6".to_owned(),
        format!("/charts/lens/{ZOOM}.svg"),
        format!("/charts/lens/{ZOOM}.png?width=400&height=300"),
        format!("/charts/compare.svg?lens={ZOOM}&lens={LOUD}"),
    ]
}

/// What differs for those who are signed in.
fn pages() -> Vec<String> {
    let mut pages: Vec<String> = ["/", "/lenses", "/lenses?q=zoom", "/compare", "/plan"]
        .map(str::to_owned)
        .into();
    pages.extend(["/method", "/api"].map(str::to_owned));
    pages.push(format!("/lenses/{ZOOM}?tolerance_pct=1"));
    pages.push(format!("/compare?lens={ZOOM}&lens={LOUD}"));
    pages
}

#[tokio::test]
async fn what_a_reader_has_is_not_sent_again() {
    let site = Site::with_lenses().await;
    for path in documents().into_iter().chain(pages()) {
        // Twice: made, then kept.
        for _ in 0..2 {
            let whole = site.ask(&path, &[]).await;
            assert_eq!(whole.status, StatusCode::OK, "{path}");
            let tag = whole.header(header::ETAG).to_owned();
            assert!(tag.len() > 16 && tag.starts_with('"'), "{path}: {tag}");
            assert_eq!(
                whole.header(header::CACHE_CONTROL),
                "public, no-cache",
                "{path}"
            );
            for known in [tag.clone(), format!("W/{tag}"), format!("\"x\", {tag}")] {
                let again = site.ask(&path, &[(header::IF_NONE_MATCH, &known)]).await;
                assert_eq!(again.status, StatusCode::NOT_MODIFIED, "{path}");
                assert!(again.body.is_empty());
                assert_eq!(again.header(header::ETAG), tag);
                assert_eq!(again.header(header::CACHE_CONTROL), "public, no-cache");
            }
            let other = site.ask(&path, &[(header::IF_NONE_MATCH, "\"x\"")]).await;
            assert_eq!((other.status, other.body), (StatusCode::OK, whole.body));
        }
    }
}

#[tokio::test]
async fn the_head_of_an_answer_is_that_of_the_whole() {
    let site = Site::with_lenses().await;
    for path in documents().into_iter().chain(pages()) {
        let head = site.send(Method::HEAD, &path, &[]).await;
        let whole = site.ask(&path, &[]).await;
        assert_eq!(head.status, StatusCode::OK, "{path}");
        assert!(head.body.is_empty(), "{path}");
        for name in [header::ETAG, header::CONTENT_TYPE, header::CACHE_CONTROL] {
            assert_eq!(head.header(name.clone()), whole.header(name), "{path}");
        }
        assert_eq!(
            head.header(header::CONTENT_LENGTH),
            whole.body.len().to_string(),
            "{path}"
        );
        let tag = whole.header(header::ETAG);
        let known = [(header::IF_NONE_MATCH, tag)];
        let again = site.send(Method::HEAD, &path, &known).await;
        assert_eq!(again.status, StatusCode::NOT_MODIFIED, "{path}");
    }
    // A picture is the same however a client would have it packed: nothing varies, on 304 either.
    let path = format!("/charts/lens/{ZOOM}.png");
    let whole = site.ask(&path, &[(header::ACCEPT_ENCODING, "gzip")]).await;
    let tag = whole.header(header::ETAG).to_owned();
    let again = site.ask(&path, &[(header::IF_NONE_MATCH, &tag)]).await;
    assert_eq!(again.status, StatusCode::NOT_MODIFIED);
    for answer in [whole, again] {
        assert!(
            !answer.headers.contains_key(header::VARY),
            "{}",
            answer.status
        );
    }
}

#[tokio::test]
async fn a_page_for_one_person_is_not_kept_for_others() {
    let site = Site::with_lenses().await;
    for path in pages() {
        let open = site.ask(&path, &[]).await;
        let vary = open.header(header::VARY);
        assert!(vary.contains("cookie"), "{path}: {vary}");
        // Whoever may be signed in gets nothing that a shared cache may keep, and no 304 on another one's page.
        let tag = open.header(header::ETAG);
        let known = [(header::COOKIE, "a=b"), (header::IF_NONE_MATCH, tag)];
        let own = site.ask(&path, &known).await;
        assert_eq!(own.status, StatusCode::OK, "{path}");
        assert_eq!(own.header(header::CACHE_CONTROL), "private, no-cache");
        assert!(own.header(header::VARY).contains("cookie"));
        // But their own copy is not sent twice.
        let tag = own.header(header::ETAG);
        let known = [(header::COOKIE, "a=b"), (header::IF_NONE_MATCH, tag)];
        let again = site.ask(&path, &known).await;
        assert_eq!(again.status, StatusCode::NOT_MODIFIED, "{path}");
        assert!(again.body.is_empty() && again.header(header::ETAG) == tag);
        assert_eq!(again.header(header::CACHE_CONTROL), "private, no-cache");
        assert!(again.header(header::VARY).contains("cookie"));
    }
    for path in documents() {
        let known = site.ask(&path, &[(header::COOKIE, "a=b")]).await;
        assert_eq!(known.header(header::CACHE_CONTROL), "public, no-cache");
    }
}

#[tokio::test]
async fn what_is_published_or_withdrawn_shows_at_once() {
    let site = Site::with_lenses().await;
    let watched = ["/lenses", "/lenses.json", "/api/v1/lenses", "/"];
    let mut tags = Vec::new();
    for path in watched {
        tags.push(site.ask(path, &[]).await.header(header::ETAG).to_owned());
    }
    let lens = site.lens("Brackwell", "Mole 24 f/2", (24.0, 24.0)).await;
    let sweep = site.publish(&lens, &off(), curve(24.0, 0.1, 0.3)).await;
    for (path, tag) in watched.iter().zip(&tags) {
        let now = site.ask(path, &[(header::IF_NONE_MATCH, tag)]).await;
        assert_eq!(now.status, StatusCode::OK, "{path}");
        assert!(now.text().contains("Mole 24"), "{path}");
    }
    site.withdraw(sweep, "wrong lens on the camera", NOW + 1)
        .await;
    let gone = site.ask(&format!("/api/v1/sweeps/{sweep}"), &[]).await;
    assert_eq!(gone.status, StatusCode::GONE);
    assert!(gone.text().contains("wrong lens on the camera"));
    let page = site.ask(&format!("/lenses/{}", lens.slug), &[]).await;
    assert!(page.text().contains("wrong lens on the camera"));
}

#[tokio::test]
async fn numbers_name_their_licence_and_are_open_to_other_sites() {
    let site = Site::with_lenses().await;
    let link = "<https://creativecommons.org/licenses/by/4.0/>; rel=\"license\"";
    for path in documents() {
        let answer = site.ask(&path, &[]).await;
        let links = answer.headers.get_all(header::LINK);
        assert!(links.iter().any(|found| found == link), "{path}");
        assert_eq!(answer.header(header::ACCESS_CONTROL_ALLOW_ORIGIN), "*");
        let exposed = answer.header(header::ACCESS_CONTROL_EXPOSE_HEADERS);
        for name in ["etag", "link", "ratelimit", "retry-after"] {
            assert!(exposed.contains(name), "{path}: {exposed}");
        }
    }
    // A script elsewhere has to be able to read what was wrong, too.
    for path in [
        "/api/v1/lenses?limit=0",
        "/api/v1/lenses/nobody",
        "/lenses/nobody.json",
    ] {
        let answer = site.ask(path, &[]).await;
        assert!(answer.status.is_client_error(), "{path}");
        assert_eq!(
            answer.header(header::CONTENT_TYPE),
            "application/problem+json"
        );
        assert_eq!(
            answer.header(header::ACCESS_CONTROL_ALLOW_ORIGIN),
            "*",
            "{path}"
        );
    }
    let asked = [
        (header::ORIGIN, "https://reviews.example"),
        (header::ACCESS_CONTROL_REQUEST_METHOD, "GET"),
        (header::ACCESS_CONTROL_REQUEST_HEADERS, "if-none-match"),
    ];
    for path in documents() {
        let allowed = site.send(Method::OPTIONS, &path, &asked).await;
        assert_eq!(allowed.status, StatusCode::NO_CONTENT, "{path}");
        assert_eq!(allowed.header(header::ACCESS_CONTROL_ALLOW_ORIGIN), "*");
        assert_eq!(
            allowed.header(header::ACCESS_CONTROL_ALLOW_METHODS),
            "GET, HEAD"
        );
    }
    let write = [
        asked[0].clone(),
        (header::ACCESS_CONTROL_REQUEST_METHOD, "POST"),
    ];
    let refused = site.send(Method::OPTIONS, "/api/v1/lenses", &write).await;
    assert!(
        !refused
            .headers
            .contains_key(header::ACCESS_CONTROL_ALLOW_ORIGIN)
    );
}

#[tokio::test]
async fn one_address_may_read_so_often_a_minute() {
    let site = Site::set(&["--reads-per-minute", "3"]).await;
    site.fill().await;
    let left = HeaderName::from_static("ratelimit");
    let policy = HeaderName::from_static("ratelimit-policy");
    for expected in ["r=2", "r=1", "r=0"] {
        let answer = site.ask("/api/v1/lenses", &[]).await;
        assert_eq!(answer.status, StatusCode::OK);
        assert_eq!(answer.header(policy.clone()), "\"reads\";q=3;w=60");
        assert!(answer.header(left.clone()).contains(expected));
    }
    for path in ["/api/v1/lenses", "/lenses.csv", "/charts/compare.svg"] {
        let answer = site.ask(path, &[]).await;
        assert_eq!(answer.status, StatusCode::TOO_MANY_REQUESTS, "{path}");
        let wait: u64 = answer.header(header::RETRY_AFTER).parse().expect("seconds");
        assert!((1..=60).contains(&wait));
        assert!(answer.header(left.clone()).contains("r=0"));
        assert_eq!(answer.header(header::ACCESS_CONTROL_ALLOW_ORIGIN), "*");
        let problem = answer.json();
        assert_eq!(problem["type"], "/api#problem-too-fast");
        assert!(
            problem["detail"]
                .as_str()
                .is_some_and(|words| words.contains("Retry-After"))
        );
    }
    // Pages are for people.
    assert_eq!(site.get("/lenses").await.status, StatusCode::OK);
    let free = Site::set(&["--reads-per-minute", "0"]).await;
    let answer = free.ask("/api/v1/lenses", &[]).await;
    assert!(!answer.headers.contains_key(&left));
}

#[tokio::test]
async fn a_lens_that_was_merged_leads_on_from_every_address() {
    let site = Site::with_lenses().await;
    site.merge(LOUD, QUIET).await;
    for (old, new) in [
        ("/lenses/{}", "/lenses/{}"),
        (
            "/lenses/{}.json?tolerance_pct=1",
            "/lenses/{}.json?tolerance_pct=1",
        ),
        ("/lenses/{}.csv", "/lenses/{}.csv"),
        ("/api/v1/lenses/{}", "/api/v1/lenses/{}"),
        (
            "/api/v1/lenses/{}/curves?focal_mm=50",
            "/api/v1/lenses/{}/curves?focal_mm=50",
        ),
        (
            "/api/v1/lenses/{}/pull?from_m=3&to_m=1",
            "/api/v1/lenses/{}/pull?from_m=3&to_m=1",
        ),
        ("/charts/lens/{}.svg", "/charts/lens/{}.svg"),
        (
            "/charts/lens/{}.png?width=400",
            "/charts/lens/{}.png?width=400",
        ),
    ] {
        let answer = site.get(&old.replace("{}", LOUD)).await;
        assert_eq!(answer.status, StatusCode::MOVED_PERMANENTLY, "{old}");
        assert_eq!(answer.header(header::LOCATION), new.replace("{}", QUIET));
        let there = site.get(answer.header(header::LOCATION)).await;
        assert_eq!(there.status, StatusCode::OK, "{new}");
    }
    let compared = site
        .get(&format!("/api/v1/compare?lens={LOUD}&lens={ZOOM}"))
        .await;
    assert_eq!(compared.json()["lenses"][0]["lens"]["slug"], QUIET);
    let twice = site
        .get(&format!("/api/v1/compare?lens={LOUD}&lens={QUIET}"))
        .await;
    assert_eq!(twice.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(twice.text().contains("was merged into"));
}

#[tokio::test]
async fn parameters_that_nobody_knows_are_passed_over() {
    let site = Site::with_lenses().await;
    for path in documents().into_iter().chain(pages()) {
        let joint = if path.contains('?') { '&' } else { '?' };
        let more = site
            .ask(
                &format!("{path}{joint}utm_source=letter&colour=%C3%A9"),
                &[],
            )
            .await;
        assert_eq!(more.status, StatusCode::OK, "{path}");
        if path.starts_with("/api/v1") && !path.contains("limit") {
            assert_eq!(more.body, site.ask(&path, &[]).await.body, "{path}");
        }
    }
}
