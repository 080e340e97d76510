//! What can't be answered is refused alike everywhere: by a problem document that scripts of other sites can read.

use axum::http::{Method, StatusCode, header};

use super::site::Site;

const ZOOM: &str = "ostrel-28-135-f-3-5";

#[tokio::test]
async fn addresses_that_nothing_is_at_are_problems_for_programs_of_any_site() {
    let site = Site::with_lenses().await;
    for path in [
        "/api/v1",
        "/api/v1/nothing",
        "/api/v2/lenses",
        "/api/v1/lenses/",
        "/api/v1/lenses/a/b/c",
        "/charts/nothing",
        "/charts/lens/a.gif",
        "/data/other.zip",
        "/nothing.json",
        "/lenses/nobody.csv",
        "/sitemap.txt",
    ] {
        let answer = site.ask(path, &[(header::ACCEPT, "*/*")]).await;
        assert_eq!(answer.status, StatusCode::NOT_FOUND, "{path}");
        assert_eq!(
            answer.header(header::CONTENT_TYPE),
            "application/problem+json",
            "{path}"
        );
        assert_eq!(
            answer.header(header::ACCESS_CONTROL_ALLOW_ORIGIN),
            "*",
            "{path}"
        );
        let problem = answer.json();
        assert_eq!(problem["type"], "/api#problem-not-found", "{path}");
        assert_eq!(problem["instance"], path);
    }
}

#[tokio::test]
async fn methods_that_do_not_work_are_405_and_those_that_do_are_named() {
    let site = Site::with_lenses().await;
    for (path, allowed) in [
        (format!("/api/v1/lenses/{ZOOM}/curves"), "GET,HEAD"),
        ("/api/v1/compare".to_owned(), "GET,HEAD"),
        ("/api/v1/openapi.json".to_owned(), "GET,HEAD"),
        ("/lenses.json".to_owned(), "GET,HEAD"),
        ("/lenses.csv".to_owned(), "GET,HEAD"),
        (format!("/charts/lens/{ZOOM}.svg"), "GET,HEAD"),
        ("/data/breathmark.zip".to_owned(), "GET,HEAD"),
        ("/oembed".to_owned(), "GET,HEAD"),
        ("/feed.atom".to_owned(), "GET,HEAD"),
        ("/lenses".to_owned(), "GET,HEAD"),
        ("/api/v1/lenses".to_owned(), "GET,HEAD,POST"),
        (format!("/api/v1/lenses/{ZOOM}"), "GET,HEAD,PATCH"),
        ("/api/v1/sweeps/1".to_owned(), "GET,HEAD,PATCH"),
        ("/api/v1/sweeps/1/publish".to_owned(), "POST"),
    ] {
        let answer = site.send(Method::DELETE, &path, &[]).await;
        assert_eq!(answer.status, StatusCode::METHOD_NOT_ALLOWED, "{path}");
        assert_eq!(answer.header(header::ALLOW), allowed, "{path}");
        let problem = answer.json();
        assert_eq!(problem["type"], "/api#problem-method-not-allowed", "{path}");
        assert!(
            problem["request_id"]
                .as_str()
                .is_some_and(|id| !id.is_empty())
        );
    }
}

#[tokio::test]
async fn wherever_get_works_head_does() {
    let site = Site::with_lenses().await;
    for path in [
        "/",
        "/sign-in",
        "/healthz",
        "/readyz",
        "/metrics",
        "/feed.atom",
        "/sitemap.xml",
        "/robots.txt",
        "/data/breathmark.zip",
        &format!("/oembed?url=https%3A%2F%2Flens.example%2Flenses%2F{ZOOM}"),
        &format!("/embed/lens/{ZOOM}"),
        &format!("/lenses/{ZOOM}/counter-scale.csv"),
        "/sweeps/1",
        "/sweeps/1/result.json",
        "/api/v1/nothing",
        "/lenses?limit=0",
    ] {
        let whole = site.ask(path, &[]).await;
        let head = site.send(Method::HEAD, path, &[]).await;
        assert_eq!(head.status, whole.status, "{path}");
        // The server library sends no body with the head of an error either.
        assert!(head.body.is_empty() || !head.status.is_success(), "{path}");
        let kind = header::CONTENT_TYPE;
        assert_eq!(head.header(kind.clone()), whole.header(kind), "{path}");
    }
}

/// The same address is refused by a page or by a document, as the client reads.
#[tokio::test]
async fn caches_know_that_errors_differ_by_what_is_read() {
    let site = Site::with_lenses().await;
    for path in [
        "/lenses/nobody.csv",
        "/charts/lens/nobody.svg",
        "/charts/x.svg",
    ] {
        for (accept, kind) in [("text/html", "text/html"), ("*/*", "application/problem")] {
            let answer = site.ask(path, &[(header::ACCEPT, accept)]).await;
            assert!(answer.status.is_client_error(), "{path}");
            assert!(
                answer.header(header::CONTENT_TYPE).starts_with(kind),
                "{path}"
            );
            assert!(answer.header(header::VARY).contains("accept"), "{path}");
        }
    }
}

#[tokio::test]
async fn what_is_not_offered_is_a_problem_like_any_other() {
    let site = Site::with_lenses().await;
    let address = format!("/oembed?url=https%3A%2F%2Flens.example%2Flenses%2F{ZOOM}&format=xml");
    let answer = site.ask(&address, &[]).await;
    assert_eq!(answer.status, StatusCode::NOT_IMPLEMENTED);
    let problem = answer.json();
    assert_eq!(problem["type"], "/api#problem-not-offered");
    assert_eq!(problem["instance"], "/oembed");
    assert!(
        problem["request_id"]
            .as_str()
            .is_some_and(|id| !id.is_empty())
    );
}

#[tokio::test]
async fn every_type_of_problem_stands_in_the_guide() {
    let site = Site::with_lenses().await;
    let guide = site.get("/api").await.text();
    for path in [
        "/api/v1/lenses?limit=0",
        "/api/v1/lenses/nobody",
        "/oembed?url=x&format=xml",
    ] {
        let problem = site.ask(path, &[]).await.json();
        let kind = problem["type"].as_str().expect("a type");
        let (page, anchor) = kind.split_once('#').expect("an anchor");
        assert_eq!(page, "/api");
        assert!(
            guide.contains(&format!("<tr id=\"{anchor}\">")),
            "{path}: {kind}"
        );
    }
    let kinds = guide.matches("<tr id=\"problem-").count();
    assert_eq!(kinds, 17, "all that the program has");
}
