//! Accounts, sessions, tokens, audit rows.

use breathmark::store::{AuditEntry, Role, StoreError, TokenDraft, TokenScope};

use super::fixture::{Fresh, NOW};

#[tokio::test]
async fn an_account_is_found_by_its_name_in_any_case_and_is_there_once() {
    let fresh = Fresh::new().await;
    let store = &fresh.store;
    let found = store
        .account_by_name("INES")
        .await
        .expect("a working store")
        .expect("made by the fixture");
    assert_eq!(
        (found.id, found.name.as_str(), found.role),
        (fresh.reviewer, "Ines", Role::Reviewer)
    );
    assert!(
        store
            .account_by_name("nobody")
            .await
            .expect("a working store")
            .is_none()
    );

    let twice = store.add_account("ines", Role::Operator, "x", NOW).await;
    assert!(matches!(twice, Err(StoreError::Conflict(words)) if words.contains("ines")));
    for absurd in [String::new(), "n".repeat(65)] {
        let refused = store.add_account(&absurd, Role::Reviewer, "x", NOW).await;
        assert!(matches!(refused, Err(StoreError::Conflict(_))), "{absurd}");
    }

    store
        .add_account("Bo", Role::Operator, "x", NOW)
        .await
        .expect("a new name");
    let names: Vec<String> = store
        .accounts()
        .await
        .expect("a working store")
        .into_iter()
        .map(|account| account.name)
        .collect();
    assert_eq!(names, ["Bo", "Ines"]);

    assert!(
        store
            .set_role(fresh.reviewer, Role::Operator)
            .await
            .expect("a working store")
    );
    let account = store
        .account(fresh.reviewer)
        .await
        .expect("a working store")
        .expect("still there");
    assert_eq!(account.role, Role::Operator);
    assert!(
        !store
            .set_role(404, Role::Operator)
            .await
            .expect("a working store")
    );
}

#[tokio::test]
async fn a_session_lives_until_it_is_ended_or_too_old() {
    let fresh = Fresh::new().await;
    let store = &fresh.store;
    let secret = [7; 32];
    store
        .add_session(fresh.reviewer, &secret, "a browser", NOW)
        .await
        .expect("an account");
    let session = store
        .session(&secret, NOW - 10, NOW - 10)
        .await
        .expect("a working store")
        .expect("alive");
    assert_eq!(
        (session.account.id, session.seen_ms, session.client.as_str()),
        (fresh.reviewer, NOW, "a browser")
    );
    let alive = async |created_after, seen_after| {
        store
            .session(&secret, created_after, seen_after)
            .await
            .expect("a working store")
            .is_some()
    };
    assert!(!alive(NOW, NOW - 10).await, "made too long ago");
    assert!(!alive(NOW - 10, NOW).await, "not used for too long");
    store
        .touch_session(session.id, NOW + 50)
        .await
        .expect("a working store");
    assert!(alive(NOW - 10, NOW + 40).await);

    store.end_session(&secret).await.expect("a working store");
    assert!(!alive(0, 0).await);
    assert!(
        store
            .session(&[8; 32], 0, 0)
            .await
            .expect("a working store")
            .is_none()
    );
}

#[tokio::test]
async fn a_new_password_ends_the_other_sessions() {
    let fresh = Fresh::new().await;
    let store = &fresh.store;
    for secret in 1..=4 {
        store
            .add_session(
                fresh.reviewer,
                &[secret; 32],
                "a browser",
                NOW + i64::from(secret),
            )
            .await
            .expect("an account");
    }
    let sessions = async || {
        store
            .sessions(fresh.reviewer)
            .await
            .expect("a working store")
    };
    let newest = sessions().await[0].clone();
    assert_eq!(newest.seen_ms, NOW + 4);

    let other = sessions().await[3].id;
    assert!(
        !store
            .end_session_of(404, other)
            .await
            .expect("a working store"),
        "another account's"
    );
    assert!(
        store
            .end_session_of(fresh.reviewer, other)
            .await
            .expect("a working store")
    );
    assert_eq!(sessions().await.len(), 3);

    assert!(
        store
            .set_password(fresh.reviewer, "new hash", Some(newest.id))
            .await
            .expect("a working store")
    );
    let left: Vec<i64> = sessions().await.iter().map(|session| session.id).collect();
    assert_eq!(left, [newest.id]);
    assert_eq!(sessions().await[0].account.password_hash, "new hash");

    store
        .add_session(fresh.reviewer, &[9; 32], "a browser", NOW)
        .await
        .expect("an account");
    assert_eq!(
        store
            .end_other_sessions(fresh.reviewer, newest.id)
            .await
            .expect("a working store"),
        1
    );
    assert_eq!(
        store
            .sweep_sessions(0, NOW + 4)
            .await
            .expect("a working store"),
        1,
        "the kept one is too old now"
    );
    assert!(sessions().await.is_empty());
}

#[tokio::test]
async fn a_token_works_until_it_is_over_or_revoked() {
    let fresh = Fresh::new().await;
    let store = &fresh.store;
    let draft = TokenDraft {
        account: fresh.reviewer,
        name: "bench script".to_owned(),
        scope: TokenScope::Drafts,
        expires_ms: NOW + 100,
    };
    let id = store
        .add_token(&draft, &[1; 32], NOW)
        .await
        .expect("an account");
    let live = store
        .live_token(&[1; 32], NOW + 99)
        .await
        .expect("a working store")
        .expect("alive");
    assert_eq!(
        (live.id, live.account.id, live.scope, live.used_ms),
        (id, fresh.reviewer, TokenScope::Drafts, None)
    );
    assert!(
        store
            .live_token(&[1; 32], NOW + 100)
            .await
            .expect("a working store")
            .is_none(),
        "over"
    );
    assert!(
        store
            .live_token(&[2; 32], NOW)
            .await
            .expect("a working store")
            .is_none(),
        "unknown"
    );

    store
        .touch_token(id, NOW + 5)
        .await
        .expect("a working store");
    let listed = store.tokens(fresh.reviewer).await.expect("a working store");
    assert_eq!(
        (
            listed[0].name.as_str(),
            listed[0].used_ms,
            listed[0].revoked_ms
        ),
        ("bench script", Some(NOW + 5), None)
    );

    assert!(
        !store
            .revoke_token(404, id, NOW)
            .await
            .expect("a working store"),
        "another account's"
    );
    assert!(
        store
            .revoke_token(fresh.reviewer, id, NOW + 6)
            .await
            .expect("a working store")
    );
    assert!(
        !store
            .revoke_token(fresh.reviewer, id, NOW + 7)
            .await
            .expect("a working store"),
        "revoked already"
    );
    assert!(
        store
            .live_token(&[1; 32], NOW + 7)
            .await
            .expect("a working store")
            .is_none()
    );
    assert_eq!(
        store.tokens(fresh.reviewer).await.expect("a working store")[0].revoked_ms,
        Some(NOW + 6)
    );

    let unnamed = TokenDraft {
        name: String::new(),
        ..draft
    };
    assert!(matches!(
        store.add_token(&unnamed, &[3; 32], NOW).await,
        Err(StoreError::Conflict(_))
    ));
}

#[tokio::test]
async fn audit_rows_are_read_newest_first_with_names() {
    let fresh = Fresh::new().await;
    for (account, action) in [(None, "sign_in_failed"), (Some(fresh.reviewer), "sign_in")] {
        let entry = AuditEntry {
            at_ms: NOW,
            account,
            action,
            subject: "account Ines".to_owned(),
            detail: "from\n127.0.0.1".to_owned(),
            request_id: Some("r1".to_owned()),
        };
        fresh.store.audit(&entry).await.expect("a working store");
    }
    let rows = fresh.store.audit_rows(10).await.expect("a working store");
    let seen: Vec<_> = rows
        .iter()
        .map(|row| (row.account.as_deref(), row.action.as_str()))
        .collect();
    assert_eq!(seen, [(Some("Ines"), "sign_in"), (None, "sign_in_failed")]);
    assert_eq!(rows[0].detail, "from\n127.0.0.1");
    assert_eq!(
        fresh
            .store
            .audit_rows(1)
            .await
            .expect("a working store")
            .len(),
        1
    );
}
