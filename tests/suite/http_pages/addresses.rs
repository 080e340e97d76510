//! Addresses that are nearly right lead to the right ones, on this site only.

use axum::http::{Method, StatusCode, header};

use super::site::Site;

#[tokio::test]
async fn addresses_nearly_right_lead_to_the_right_ones() {
    let site = Site::with_lenses().await;
    for (path, to) in [
        ("/lenses/", "/lenses"),
        ("/compare/?lens=a&lens=b", "/compare?lens=a&lens=b"),
        ("/api/", "/api"),
        ("/method/", "/method"),
        ("/plan/", "/plan"),
        ("/desk/", "/desk"),
        (
            "/lenses/ostrel-28-135-f-3-5/?axis=travel",
            "/lenses/ostrel-28-135-f-3-5?axis=travel",
        ),
        (
            "/lenses/ostrel-28-135-f-3-5/counter-scale/",
            "/lenses/ostrel-28-135-f-3-5/counter-scale",
        ),
        (
            "/lenses/Ostrel-28-135-F-3-5?axis=travel",
            "/lenses/ostrel-28-135-f-3-5?axis=travel",
        ),
        (
            "/api/v1/lenses/OSTREL-28-135-f-3-5/curves",
            "/api/v1/lenses/ostrel-28-135-f-3-5/curves",
        ),
    ] {
        let answer = site.get(path).await;
        assert!(answer.status.is_redirection(), "{path}: {}", answer.status);
        assert_eq!(answer.header(header::LOCATION), to, "{path}");
    }
    let nobody = site.get("/lenses/Nobody").await;
    assert_eq!(nobody.status, StatusCode::NOT_FOUND);
    // What is left could be read as the name of another site.
    for path in ["//evil.example/", "/compare//", "///evil.example/", "//"] {
        let answer = site.get(path).await;
        assert_eq!(answer.status, StatusCode::NOT_FOUND, "{path}");
        assert!(!answer.headers.contains_key(header::LOCATION), "{path}");
    }
    let sent = site.send(Method::POST, "/compare/", &[]).await;
    assert!(sent.status.is_client_error(), "{}", sent.status);
}
