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

#[tokio::test]
async fn what_is_pasted_or_typed_in_one_piece_finds_its_lens() {
    let site = Site::with_lenses().await;
    for (typed, slug) in [
        ("brackwell-pier-50-f-1-8", "brackwell-pier-50-f-1-8"),
        (
            "https%3A%2F%2Flens.example%2Flenses%2Fostrel-28-135-f-3-5%3Ffocal_mm%3D50%26axis%3Dtravel",
            "ostrel-28-135-f-3-5",
        ),
        (
            "%2Fembed%2Flens%2Ftindra-sound-85-f-1-4",
            "tindra-sound-85-f-1-4",
        ),
        // Without a word of its name, and with one too many.
        ("tindra-85-mm-f-1-4", "tindra-sound-85-f-1-4"),
        ("tindra85", "tindra-sound-85-f-1-4"),
        ("50-1.8", "brackwell-pier-50-f-1-8"),
        ("50%E2%80%931,8", "brackwell-pier-50-f-1-8"),
    ] {
        let found = site.get(&format!("/api/v1/lenses?q={typed}")).await.json();
        let found = found["lenses"].as_array().expect("rows");
        let slugs: Vec<&str> = found
            .iter()
            .filter_map(|row| row["lens"]["slug"].as_str())
            .collect();
        assert_eq!(slugs, [slug], "{typed}");
    }
    // What nobody made leads to what is near.
    for (typed, meant) in [
        ("brackwell-pier-50-f-1-4", "brackwell pier 50"),
        ("brakwell50", "brackwell 50"),
    ] {
        let page = site.get(&format!("/lenses?q={typed}")).await.text();
        let (_, offered) = page.split_once("Perhaps you mean").expect("an offer");
        assert!(
            offered.contains(&format!(">{meant}</a>")),
            "{typed}: {offered:.300}"
        );
    }
}

/// A form sends its empty fields along; an address that is passed on says what was asked, and nothing else.
#[tokio::test]
async fn a_form_leads_to_an_address_without_its_empty_fields() {
    let site = Site::with_lenses().await;
    for (sent, to) in [
        ("/lenses?q=85&mount=&kind=&focal_mm=", "/lenses?q=85"),
        ("/lenses?q=", "/lenses"),
        (
            "/compare?lens=ostrel-28-135-f-3-5&lens=tindra-sound-85-f-1-4&lens=&lens=&from_m=",
            "/compare?lens=ostrel-28-135-f-3-5&lens=tindra-sound-85-f-1-4",
        ),
        (
            "/lenses/ostrel-28-135-f-3-5?tolerance_pct=2%25&from_m=+",
            "/lenses/ostrel-28-135-f-3-5?tolerance_pct=2%25",
        ),
    ] {
        for method in [Method::GET, Method::HEAD] {
            let answer = site.send(method, sent, &[]).await;
            assert_eq!(answer.status, StatusCode::SEE_OTHER, "{sent}");
            assert_eq!(answer.header(header::LOCATION), to, "{sent}");
        }
        let answer = site.get(to).await;
        assert_eq!(answer.status, StatusCode::OK, "{to}");
    }
    // Programs get what they asked for at once.
    let twin = site.get("/lenses.json?q=85&mount=").await;
    assert_eq!(twin.status, StatusCode::OK);
}
