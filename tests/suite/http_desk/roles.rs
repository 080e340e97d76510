//! Who may do what: every route behind the door, asked by everybody.

use super::bench::{Bench, SignedIn};
use super::client::Request;

/// What somebody is answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Answered {
    /// 401: sign in first.
    SignIn,
    /// 403: signed in, but not for that.
    Forbidden,
    /// 404: to this person it is not there.
    Absent,
    /// Anything else: the door is open, whatever becomes of the request behind it.
    Let,
}
use Answered::{Absent, Forbidden, Let, SignIn};

/// Method and route; then what a reader, a colleague, the reviewer whose draft it is, and an operator are answered.
/// `{sweep}` and `{upload}` are a measured draft of the reviewer and the upload that it came with.
const ROUTES: &[(&str, &str, [Answered; 4])] = &[
    ("GET", "/desk", [SignIn, Let, Let, Let]),
    ("GET", "/desk.json", [SignIn, Let, Let, Let]),
    ("GET", "/desk/lenses", [SignIn, Let, Let, Let]),
    ("POST", "/desk/lenses", [SignIn, Let, Let, Let]),
    ("GET", "/desk/lenses/{slug}", [SignIn, Let, Let, Let]),
    ("POST", "/desk/lenses/{slug}", [SignIn, Let, Let, Let]),
    (
        "POST",
        "/desk/lenses/{slug}/merge",
        [SignIn, Forbidden, Let, Let],
    ),
    (
        "POST",
        "/desk/lenses/{slug}/forget",
        [SignIn, Forbidden, Let, Let],
    ),
    ("POST", "/desk/cameras/{id}", [SignIn, Forbidden, Let, Let]),
    ("GET", "/desk/upload", [SignIn, Let, Let, Let]),
    ("POST", "/desk/upload", [SignIn, Let, Let, Let]),
    ("GET", "/desk/uploads/{upload}", [SignIn, Absent, Let, Let]),
    (
        "POST",
        "/desk/uploads/{upload}/discard",
        [SignIn, Absent, Let, Let],
    ),
    (
        "GET",
        "/desk/uploads/{upload}/publish",
        [SignIn, Absent, Let, Let],
    ),
    (
        "GET",
        "/desk/uploads/{upload}/publish/preview",
        [SignIn, Absent, Let, Let],
    ),
    (
        "POST",
        "/desk/uploads/{upload}/publish",
        [SignIn, Absent, Let, Let],
    ),
    (
        "POST",
        "/desk/uploads/{upload}/finish",
        [SignIn, Absent, Let, Let],
    ),
    (
        "POST",
        "/desk/uploads/{upload}/files",
        [SignIn, Absent, Let, Let],
    ),
    ("GET", "/sweeps/{sweep}", [Absent, Absent, Let, Let]),
    (
        "GET",
        "/sweeps/{sweep}/progress",
        [SignIn, Absent, Let, Let],
    ),
    (
        "GET",
        "/sweeps/{sweep}/frames/1",
        [Absent, Absent, Let, Let],
    ),
    (
        "GET",
        "/sweeps/{sweep}/frames/1.jpg",
        [Absent, Absent, Let, Let],
    ),
    (
        "GET",
        "/sweeps/{sweep}/frames/1/original",
        [SignIn, Absent, Let, Let],
    ),
    (
        "GET",
        "/sweeps/{sweep}/chart.svg",
        [Absent, Absent, Let, Let],
    ),
    (
        "GET",
        "/sweeps/{sweep}/chart.png",
        [Absent, Absent, Let, Let],
    ),
    (
        "GET",
        "/sweeps/{sweep}/result.json",
        [Absent, Absent, Let, Let],
    ),
    (
        "GET",
        "/sweeps/{sweep}/result.csv",
        [Absent, Absent, Let, Let],
    ),
    (
        "GET",
        "/sweeps/{sweep}/everything.zip",
        [Absent, Absent, Let, Let],
    ),
    ("GET", "/sweeps/{sweep}/publish", [SignIn, Absent, Let, Let]),
    (
        "GET",
        "/sweeps/{sweep}/publish/preview",
        [SignIn, Absent, Let, Let],
    ),
    // A version is public or not there.
    (
        "GET",
        "/sweeps/{sweep}/versions/1",
        [Absent, Absent, Absent, Absent],
    ),
    (
        "POST",
        "/sweeps/{sweep}/settings",
        [SignIn, Absent, Let, Let],
    ),
    (
        "POST",
        "/sweeps/{sweep}/focal-length",
        [SignIn, Absent, Let, Let],
    ),
    (
        "POST",
        "/sweeps/{sweep}/distances",
        [SignIn, Absent, Let, Let],
    ),
    (
        "POST",
        "/sweeps/{sweep}/leave-out",
        [SignIn, Absent, Let, Let],
    ),
    (
        "POST",
        "/sweeps/{sweep}/take-back",
        [SignIn, Absent, Let, Let],
    ),
    ("POST", "/sweeps/{sweep}/point", [SignIn, Absent, Let, Let]),
    (
        "POST",
        "/sweeps/{sweep}/unpoint",
        [SignIn, Absent, Let, Let],
    ),
    ("POST", "/sweeps/{sweep}/lens", [SignIn, Absent, Let, Let]),
    (
        "POST",
        "/sweeps/{sweep}/measure",
        [SignIn, Absent, Let, Let],
    ),
    (
        "POST",
        "/sweeps/{sweep}/withdraw",
        [SignIn, Absent, Let, Let],
    ),
    (
        "POST",
        "/sweeps/{sweep}/publish",
        [SignIn, Absent, Let, Let],
    ),
    ("POST", "/api/v1/lenses", [SignIn, Let, Let, Let]),
    (
        "PATCH",
        "/api/v1/lenses/{slug}",
        [SignIn, Forbidden, Let, Let],
    ),
    ("POST", "/api/v1/uploads", [SignIn, Let, Let, Let]),
    (
        "GET",
        "/api/v1/uploads/{upload}",
        [SignIn, Absent, Let, Let],
    ),
    (
        "PUT",
        "/api/v1/uploads/{upload}/files/x.jpg",
        [SignIn, Absent, Let, Let],
    ),
    (
        "POST",
        "/api/v1/uploads/{upload}/finish",
        [SignIn, Absent, Let, Let],
    ),
    (
        "GET",
        "/api/v1/sweeps/{sweep}/events",
        [SignIn, Absent, Let, Let],
    ),
    (
        "PATCH",
        "/api/v1/sweeps/{sweep}",
        [SignIn, Absent, Let, Let],
    ),
    (
        "POST",
        "/api/v1/sweeps/{sweep}/publish",
        [SignIn, Absent, Let, Let],
    ),
    (
        "POST",
        "/api/v1/sweeps/{sweep}/withdraw",
        [SignIn, Absent, Let, Let],
    ),
    // Which session, token or account is meant is not said here, so that there is none.
    ("GET", "/account", [SignIn, Let, Let, Let]),
    ("POST", "/account/password", [SignIn, Let, Let, Let]),
    (
        "POST",
        "/account/sessions/end",
        [SignIn, Absent, Absent, Absent],
    ),
    (
        "POST",
        "/account/sessions/end-others",
        [SignIn, Let, Let, Let],
    ),
    ("POST", "/account/tokens", [SignIn, Let, Let, Let]),
    (
        "POST",
        "/account/tokens/revoke",
        [SignIn, Absent, Absent, Absent],
    ),
    (
        "GET",
        "/account/people",
        [SignIn, Forbidden, Forbidden, Let],
    ),
    (
        "POST",
        "/account/people",
        [SignIn, Forbidden, Forbidden, Let],
    ),
    (
        "POST",
        "/account/people/role",
        [SignIn, Forbidden, Forbidden, Absent],
    ),
];

/// Open to all, or the door itself.
const ELSEWHERE: [&str; 6] = [
    "/static/{*name}",
    "/sign-in",
    "/sign-out",
    "/healthz",
    "/readyz",
    "/metrics",
];

/// A route as it is written in the route table.
fn pattern(route: &str) -> String {
    route
        .replace("{sweep}", "{id}")
        .replace("{upload}", "{id}")
        .replace("/frames/1", "/frames/{frame}")
        .replace("/frames/{frame}.jpg", "/frames/{frame}")
        .replace("/versions/1", "/versions/{version}")
        .replace("/files/x.jpg", "/files/{*name}")
}

async fn answered(bench: &Bench, who: Option<&SignedIn<'_>>, method: &str, path: &str) -> Answered {
    // Nothing is said in the body: behind the door every change is refused for what it lacks, or changes nothing.
    let request = match method {
        "GET" => Request::new(method, path),
        "POST" if path.starts_with("/api/") && path.ends_with("/withdraw") => {
            Request::new(method, path).json(&serde_json::json!({"reason": "asked by everybody"}))
        }
        _ if path.starts_with("/api/") => Request::new(method, path).json(&serde_json::json!({})),
        _ if path.ends_with("/files") || path == "/desk/upload" => {
            Request::new(method, path).multipart(&[], &[])
        }
        _ => Request::new(method, path).form(&[]),
    };
    let answer = match who {
        Some(person) => person.send(request).await,
        None => bench.send(request).await,
    };
    match answer.status {
        401 => SignIn,
        403 => Forbidden,
        404 => Absent,
        status if status < 500 => Let,
        _ => panic!("{method} {path}: {}", answer.text()),
    }
}

#[test]
fn every_route_behind_the_door_is_in_the_table() {
    let written = concat!(
        include_str!("../../../src/web/routes.rs"),
        include_str!("../../../src/web/account/mod.rs")
    );
    let routes = written.split(".route(").skip(1);
    let routes: Vec<&str> = routes.filter_map(|rest| rest.split('"').nth(1)).collect();
    assert!(routes.len() > 50, "{routes:?}");
    for route in routes {
        let known = ROUTES.iter().any(|(_, known, _)| pattern(known) == route);
        assert!(
            known || ELSEWHERE.contains(&route),
            "{route} is not in the table"
        );
    }
}

#[tokio::test]
async fn everybody_gets_through_their_own_doors_only() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let sweep = mara.measured_sweep().await;
    let odd = bench.signed_in("odd").await;
    let quay = bench.signed_in("quay").await;
    let people = [
        ("a reader", None),
        ("a colleague", Some(&odd)),
        ("the reviewer", Some(&mara)),
        ("an operator", Some(&quay)),
    ];
    let mut wrong = Vec::new();
    // One after the other: a colleague asks while it still is a draft, which the reviewer then publishes.
    for (who, (name, person)) in people.into_iter().enumerate() {
        for (method, route, expected) in ROUTES {
            let path = route
                .replace("{sweep}", &sweep.to_string())
                .replace("{upload}", "1")
                .replace("{slug}", "ostrel-tern-50")
                .replace("{id}", "1");
            let expected = expected[who];
            // Packing takes its time; that the reviewer gets it is looked at where its content is.
            if expected == Let && path.ends_with("/everything.zip") {
                continue;
            }
            // Once the reviewer has published, it depends on how fast a change is measured whether it is public.
            if name == "an operator" && route.ends_with("/versions/1") {
                continue;
            }
            let got = answered(&bench, person, method, &path).await;
            if got != expected {
                wrong.push(format!(
                    "{method} {path} by {name}: {got:?}, not {expected:?}"
                ));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// Drafts of others are not there; what is public everybody knows of, so that its others are told whose it is.
#[tokio::test]
async fn a_public_sweep_is_another_reviewers() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let sweep = mara.measured_sweep().await;
    let odd = bench.signed_in("odd").await;
    let published = mara.post(&format!("/sweeps/{sweep}/publish"), &[]).await;
    assert_eq!(published.status, 303, "{}", published.text());
    for (method, route, expected) in ROUTES {
        if !route.contains("{sweep}") {
            continue;
        }
        let path = route.replace("{sweep}", &sweep.to_string());
        let expected = match (*method, expected[1]) {
            ("GET", Absent) if route.ends_with("/publish") || route.ends_with("/preview") => {
                Forbidden
            }
            // What nobody else may read stays away: progress, events, originals.
            ("GET", Absent) => match ["progress", "events", "original"]
                .iter()
                .any(|end| route.ends_with(end))
            {
                true => Absent,
                false => Let,
            },
            (_, Absent) => Forbidden,
            (_, other) => other,
        };
        if route.ends_with("/everything.zip") {
            continue;
        }
        let got = answered(&bench, Some(&odd), method, &path).await;
        assert_eq!(got, expected, "{method} {path}");
    }
}
