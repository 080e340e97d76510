//! Signing in, sessions, other sites, headers.

use super::bench::{Bench, PASSWORD};
use super::client::Request;

fn attempt(name: &str, password: &str) -> Request {
    Request::new("POST", "/sign-in").page().form(&[
        ("name", name),
        ("password", password),
        ("next", "/desk/upload"),
    ])
}

#[tokio::test]
async fn a_session_begins_at_sign_in_and_ends_on_the_server() {
    let bench = Bench::start().await;
    let answer = bench.send(attempt("mara", PASSWORD)).await;
    assert_eq!(answer.status, 303);
    assert_eq!(answer.location(), "/desk/upload");
    let set = answer.header("set-cookie").expect("a cookie");
    for part in ["HttpOnly", "SameSite=Lax", "Path=/"] {
        assert!(set.contains(part), "{set}");
    }
    let cookie = answer.cookie().expect("a cookie").to_owned();
    let desk = || {
        Request::new("GET", "/desk")
            .page()
            .header("cookie", &cookie)
    };
    let page = bench.send(desk()).await;
    assert_eq!(page.status, 200);
    assert!(page.text().contains("Mara"), "the account's own spelling");
    let out = bench
        .send(Request::new("POST", "/sign-out").header("cookie", &cookie))
        .await;
    assert_eq!(out.status, 303);
    let replayed = bench.send(desk()).await;
    assert_eq!(
        (replayed.status, replayed.location()),
        (303, "/sign-in?next=/desk")
    );
    let actions: Vec<String> = bench
        .app
        .store
        .audit_rows(10)
        .await
        .expect("readable")
        .into_iter()
        .map(|row| row.action)
        .collect();
    assert!(actions.contains(&"sign-in".to_owned()), "{actions:?}");
    bench.stop().await;
}

#[tokio::test]
async fn a_wrong_password_and_an_unknown_name_are_told_alike() {
    let bench = Bench::start().await;
    let wrong = bench.send(attempt("mara", "tape on white cloth")).await;
    let unknown = bench.send(attempt("nora", "tape on white cloth")).await;
    assert_eq!((wrong.status, unknown.status), (401, 401));
    assert_eq!(
        wrong.text().replace("mara", ""),
        unknown.text().replace("nora", "")
    );
    assert!(wrong.text().contains("Name or password is wrong"));
    assert!(wrong.cookie().is_none());
}

#[tokio::test]
async fn the_sixth_try_in_a_row_has_to_wait() {
    let bench = Bench::start().await;
    for _ in 0..5 {
        assert_eq!(bench.send(attempt("mara", "x")).await.status, 401);
    }
    let slowed = bench.send(attempt("MARA", PASSWORD)).await;
    assert_eq!(slowed.status, 429);
    let wait: u64 = slowed
        .header("retry-after")
        .and_then(|seconds| seconds.parse().ok())
        .expect("seconds");
    assert!((890..=900).contains(&wait), "{wait} of 15 min");
    assert_eq!(bench.send(attempt("odd", PASSWORD)).await.status, 303);
}

#[tokio::test]
async fn over_https_the_cookie_is_bound_to_the_host() {
    let bench = Bench::start_with(&["--public-url", "https://lens.example"]).await;
    let answer = bench.send(attempt("mara", PASSWORD)).await;
    let set = answer.header("set-cookie").expect("a cookie");
    assert!(
        set.starts_with("__Host-breathmark=") && set.contains("Secure"),
        "{set}"
    );
    assert!(answer.header("strict-transport-security").is_some());
}

#[tokio::test]
async fn plain_http_from_elsewhere_can_not_sign_in() {
    let bench = Bench::start_with(&["--public-url", "http://lens.example"]).await;
    let answer = bench.send(attempt("mara", PASSWORD)).await;
    assert_eq!(answer.status, 403);
    assert!(answer.text().contains("https"), "{}", answer.text());
}

#[tokio::test]
async fn requests_of_other_sites_change_nothing() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let host = bench.at.to_string();
    let sign_out = || Request::new("POST", "/sign-out");
    for foreign in [
        sign_out().header("sec-fetch-site", "cross-site"),
        sign_out().header("origin", "https://elsewhere.example"),
        sign_out().header("origin", "null"),
    ] {
        let answer = mara.send(foreign).await;
        assert_eq!(answer.status, 403, "{}", answer.text());
        assert_eq!(answer.json()["title"], "This is not allowed");
    }
    assert_eq!(mara.get("/desk").await.status, 200, "still signed in");
    let own = sign_out().header("origin", &format!("http://{host}"));
    assert_eq!(mara.send(own).await.status, 303);
}

#[tokio::test]
async fn every_answer_has_the_headers_and_every_error_its_document() {
    let bench = Bench::start().await;
    for path in [
        "/sign-in",
        "/nowhere",
        "/desk",
        "/healthz",
        "/api/v1/uploads/1",
        "/static/nowhere.css",
    ] {
        let answer = bench.get(path).await;
        let policy = answer.header("content-security-policy").unwrap_or_default();
        assert!(policy.starts_with("default-src 'none'"), "{path}: {policy}");
        assert_eq!(
            answer.header("x-content-type-options"),
            Some("nosniff"),
            "{path}"
        );
        for name in ["referrer-policy", "permissions-policy", "x-request-id"] {
            assert!(answer.header(name).is_some(), "{path}: {name}");
        }
        if answer.status >= 400 {
            assert_eq!(
                answer.header("content-type"),
                Some("application/problem+json"),
                "{path}"
            );
            let problem = answer.json();
            assert_eq!(problem["status"], answer.status);
            assert_eq!(
                problem["request_id"],
                answer.header("x-request-id").unwrap_or_default()
            );
            for field in ["type", "title", "detail"] {
                assert!(
                    problem[field].as_str().is_some_and(|text| !text.is_empty()),
                    "{path}: {field}"
                );
            }
        }
    }
    let page = bench.send(Request::new("GET", "/nowhere").page()).await;
    assert_eq!(page.status, 404);
    assert!(
        page.text().starts_with("<!doctype html>"),
        "browsers get a page"
    );
    let wrong_method = bench.send(Request::new("DELETE", "/desk")).await;
    assert_eq!(
        (wrong_method.status, wrong_method.header("allow")),
        (405, Some("GET,HEAD"))
    );
}

#[tokio::test]
async fn without_a_session_pages_lead_to_sign_in_and_documents_are_401() {
    let bench = Bench::start().await;
    let page = bench
        .send(Request::new("GET", "/desk/upload?lens=a").page())
        .await;
    assert_eq!(
        (page.status, page.location()),
        (303, "/sign-in?next=/desk/upload%3Flens%3Da")
    );
    for (method, path) in [
        ("GET", "/desk.json"),
        ("POST", "/api/v1/uploads"),
        ("PUT", "/api/v1/uploads/1/files/a.jpg"),
        ("POST", "/sweeps/1/publish"),
    ] {
        let answer = bench.send(Request::new(method, path)).await;
        assert_eq!(answer.status, 401, "{method} {path}: {}", answer.text());
        assert!(answer.header("www-authenticate").is_some());
    }
    let forged = Request::new("GET", "/desk.json")
        .header("cookie", &format!("breathmark={}", "0".repeat(64)));
    assert_eq!(bench.send(forged).await.status, 401);
    let token = Request::new("GET", "/desk.json").header("authorization", "Bearer nobody-has-this");
    assert_eq!(bench.send(token).await.status, 401);
}

#[tokio::test]
async fn style_sheets_may_be_kept_for_ever_under_their_hash() {
    let bench = Bench::start().await;
    let page = bench
        .send(Request::new("GET", "/sign-in").page())
        .await
        .text();
    let start = page
        .find("/static/app.css?v=")
        .expect("the style sheet is linked");
    let address = page[start..].split('"').next().expect("an attribute");
    let sheet = bench.get(address).await;
    assert_eq!(sheet.status, 200);
    assert!(
        sheet
            .header("cache-control")
            .is_some_and(|keep| keep.contains("immutable"))
    );
    let tag = sheet.header("etag").expect("a tag").to_owned();
    let again = bench
        .send(Request::new("GET", "/static/app.css").header("if-none-match", &tag))
        .await;
    assert_eq!((again.status, again.body.len()), (304, 0));
    assert_eq!(again.header("cache-control"), Some("no-cache"));
    let packed = bench
        .send(Request::new("GET", address).header("accept-encoding", "gzip"))
        .await;
    assert_eq!(packed.header("content-encoding"), Some("gzip"));
    assert_eq!(
        packed.header("etag"),
        Some(format!("W/{tag}").as_str()),
        "packed bytes are not the same bytes"
    );
}

#[tokio::test]
async fn the_server_tells_how_it_is() {
    let bench = Bench::start().await;
    assert_eq!(bench.get("/healthz").await.text(), "alive\n");
    assert_eq!(bench.get("/readyz").await.text(), "ready\n");
    let figures = bench.get("/metrics").await.text();
    assert!(
        figures.contains("breathmark_http_requests_total{"),
        "{figures}"
    );
    assert!(figures.contains("breathmark_jobs_open 0"), "{figures}");
}
