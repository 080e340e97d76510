//! One's own account (password, sessions, tokens) and the accounts of all for operators.

use super::bench::{Bench, PASSWORD};
use super::client::Request;

const NEW: &str = "felt under the lamp";

async fn actions(bench: &Bench) -> Vec<String> {
    let rows = bench.app.store.audit_rows(50).await.expect("readable");
    rows.into_iter().map(|row| row.action).collect()
}

fn sign_in(name: &str, password: &str) -> Request {
    Request::new("POST", "/sign-in").form(&[("name", name), ("password", password)])
}

#[tokio::test]
async fn a_new_password_ends_the_other_sessions_and_keeps_this_one() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("Mara").await;
    let elsewhere = bench.signed_in("Mara").await;
    let page = mara.get("/account").await;
    assert_eq!(page.status, 200);
    assert!(page.text().contains("End all others"), "two sessions");
    let change = |current, new, again| {
        [
            ("current_password", current),
            ("new_password", new),
            ("again", again),
        ]
    };
    for (fields, complaint) in [
        (
            change("wrong by far", NEW, NEW),
            "this is not your password",
        ),
        (change(PASSWORD, "short", "short"), "at least 8 characters"),
        (change(PASSWORD, NEW, "felt under a lamp"), "not the same"),
        (change(PASSWORD, "Password1", "Password1"), "guessed first"),
    ] {
        let answer = mara.post("/account/password", &fields).await;
        assert_eq!(answer.status, 422);
        assert!(answer.text().contains(complaint), "{complaint}");
        assert!(!answer.text().contains(NEW), "passwords are never shown");
    }
    assert_eq!(elsewhere.get("/desk").await.status, 200, "nothing changed");
    let done = mara
        .post("/account/password", &change(PASSWORD, NEW, NEW))
        .await;
    assert_eq!(done.status, 200, "{}", done.text());
    assert!(done.text().contains("Your password is changed"));
    assert_eq!(mara.get("/account").await.status, 200, "this one goes on");
    assert_eq!(
        elsewhere.get("/account").await.status,
        401,
        "this one is over"
    );
    assert_eq!(bench.send(sign_in("Mara", PASSWORD)).await.status, 401);
    assert_eq!(bench.send(sign_in("Mara", NEW)).await.status, 303);
    assert!(
        actions(&bench)
            .await
            .contains(&"password changed".to_owned())
    );
}

#[tokio::test]
async fn the_current_password_can_not_be_guessed_from_a_stolen_session() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("Mara").await;
    let guess = [
        ("current_password", "guess after guess"),
        ("new_password", NEW),
        ("again", NEW),
    ];
    for _ in 0..5 {
        assert_eq!(mara.post("/account/password", &guess).await.status, 422);
    }
    let slowed = mara.post("/account/password", &guess).await;
    assert_eq!(slowed.status, 429);
    assert!(slowed.header("retry-after").is_some());
}

#[tokio::test]
async fn sessions_are_listed_and_ended_one_by_one_or_all() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("Mara").await;
    let phone = bench.signed_in("Mara").await;
    let tablet = bench.signed_in("Mara").await;
    let odd = bench.signed_in("Odd").await;
    let account = bench.app.store.account_by_name("Mara").await;
    let account = account.expect("readable").expect("made by the bench");
    let rows = bench
        .app
        .store
        .sessions(account.id)
        .await
        .expect("readable");
    assert_eq!(rows.len(), 3);
    let newest = rows
        .iter()
        .map(|row| row.id)
        .max()
        .expect("three")
        .to_string();
    let end = [("session", newest.as_str())];
    let foreign = odd.post("/account/sessions/end", &end).await;
    assert_eq!(foreign.status, 404, "others' sessions are not there");
    assert_eq!(mara.post("/account/sessions/end", &end).await.status, 303);
    assert_eq!(tablet.get("/account").await.status, 401);
    assert_eq!(phone.get("/account").await.status, 200);
    assert_eq!(
        mara.post("/account/sessions/end-others", &[]).await.status,
        303
    );
    assert_eq!(phone.get("/account").await.status, 401);
    assert_eq!(mara.get("/account").await.status, 200);
    assert_eq!(odd.get("/account").await.status, 200);
}

#[tokio::test]
async fn a_token_is_shown_once_works_and_is_revoked() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("Mara").await;
    for (fields, complaint) in [
        (
            [("token_name", ""), ("scope", "drafts"), ("days", "")],
            "this is missing",
        ),
        (
            [("token_name", "x"), ("scope", "all"), ("days", "")],
            "drafts or publish",
        ),
        (
            [("token_name", "x"), ("scope", "drafts"), ("days", "400")],
            "1 to 365",
        ),
        (
            [("token_name", "x"), ("scope", "drafts"), ("days", "soon")],
            "not a number",
        ),
    ] {
        let answer = mara.post("/account/tokens", &fields).await;
        assert_eq!(answer.status, 422, "{fields:?}");
        assert!(
            answer.text().contains(complaint),
            "{complaint}: {}",
            answer.text()
        );
    }
    let made = mara
        .post(
            "/account/tokens",
            &[
                ("token_name", "bench <script>"),
                ("scope", "drafts"),
                ("days", "7"),
            ],
        )
        .await;
    assert_eq!(made.status, 200, "{}", made.text());
    let text = made.text();
    let (_, rest) = text.split_once("class=\"secret\">").expect("it is shown");
    let token = rest.split('<').next().expect("a text").to_owned();
    assert_eq!(token.len(), 64);
    let page = mara.get("/account").await.text();
    assert!(!page.contains(&token), "never again");
    assert!(
        page.contains("bench &#60;script&#62;"),
        "the name is escaped"
    );

    let with = |request: Request| request.header("authorization", &format!("Bearer {token}"));
    assert_eq!(
        bench
            .send(with(Request::new("GET", "/desk.json")))
            .await
            .status,
        200
    );
    let refused = bench.send(with(Request::new("GET", "/account"))).await;
    assert_eq!(refused.status, 403, "a token makes no tokens");

    let account = bench.app.store.account_by_name("Mara").await;
    let account = account.expect("readable").expect("made by the bench");
    let rows = bench.app.store.tokens(account.id).await.expect("readable");
    let id = rows[0].id.to_string();
    let odd = bench.signed_in("Odd").await;
    let revoke = [("token", id.as_str())];
    assert_eq!(
        odd.post("/account/tokens/revoke", &revoke).await.status,
        404
    );
    assert_eq!(
        mara.post("/account/tokens/revoke", &revoke).await.status,
        303
    );
    assert_eq!(
        bench
            .send(with(Request::new("GET", "/desk.json")))
            .await
            .status,
        401
    );
    let actions = actions(&bench).await;
    for action in ["token made", "token revoked"] {
        assert!(actions.contains(&action.to_owned()), "{actions:?}");
    }
    for row in bench.app.store.audit_rows(50).await.expect("readable") {
        assert!(
            !format!("{row:?}").contains(&token),
            "no secrets in audit rows"
        );
    }
}

#[tokio::test]
async fn accounts_of_all_are_for_operators() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("Mara").await;
    assert_eq!(mara.get("/account/people").await.status, 403);
    assert_eq!(bench.get("/account/people").await.status, 401);
    assert_eq!(bench.get("/account").await.status, 401);
    let quay = bench.signed_in("Quay").await;
    let page = quay.get("/account/people").await;
    assert_eq!(page.status, 200);
    for name in ["Mara", "Odd", "Quay"] {
        assert!(page.text().contains(name));
    }
    let add = |name, password| [("name", name), ("role", "reviewer"), ("password", password)];
    for (fields, complaint) in [
        (add("mara", NEW), "there is an account of this name"),
        (add("", NEW), "this is missing"),
        (add("Tove", "short"), "at least 8 characters"),
    ] {
        let answer = quay.post("/account/people", &fields).await;
        assert_eq!(answer.status, 422);
        assert!(answer.text().contains(complaint), "{complaint}");
    }
    assert_eq!(
        mara.post("/account/people", &add("Tove", NEW)).await.status,
        403
    );
    assert_eq!(
        quay.post("/account/people", &add("Tove", NEW)).await.status,
        303
    );
    assert_eq!(bench.send(sign_in("Tove", NEW)).await.status, 303);

    let tove = bench.app.store.account_by_name("Tove").await;
    let tove = tove.expect("readable").expect("just made").id.to_string();
    let promote = [("account", tove.as_str()), ("role", "operator")];
    assert_eq!(
        mara.post("/account/people/role", &promote).await.status,
        403
    );
    assert_eq!(
        quay.post("/account/people/role", &promote).await.status,
        303
    );
    let nobody = [("account", "9999"), ("role", "operator")];
    assert_eq!(quay.post("/account/people/role", &nobody).await.status, 404);
    let absurd = [("account", tove.as_str()), ("role", "emperor")];
    assert_eq!(quay.post("/account/people/role", &absurd).await.status, 422);
    let demote = [("account", tove.as_str()), ("role", "reviewer")];
    assert_eq!(quay.post("/account/people/role", &demote).await.status, 303);
    let own = bench.app.store.account_by_name("Quay").await;
    let own = own
        .expect("readable")
        .expect("made by the bench")
        .id
        .to_string();
    let last = [("account", own.as_str()), ("role", "reviewer")];
    let kept = quay.post("/account/people/role", &last).await;
    assert_eq!(kept.status, 409, "one operator stays");
    assert!(kept.text().contains("only operator"), "{}", kept.text());
}

#[tokio::test]
async fn behind_the_proxy_tries_count_by_the_address_it_names() {
    let bench = Bench::start_with(&["--trusted-proxy", "127.0.0.1"]).await;
    let from = |address: &str| sign_in("Mara", "x").header("x-forwarded-for", address);
    for _ in 0..5 {
        assert_eq!(bench.send(from("192.0.2.1")).await.status, 401);
    }
    assert_eq!(bench.send(from("192.0.2.1")).await.status, 429);
    assert_eq!(bench.send(from("192.0.2.1, 192.0.2.2")).await.status, 401);
}
