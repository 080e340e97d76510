//! The mark of what is public: it changes with everything that readers may see, and with nothing else.

use super::fixture::{Fresh, NOW, draft, measurement, off};
use breathmark::store::Content;

async fn content(fresh: &Fresh) -> Content {
    fresh.store.content().await.expect("a working store")
}

#[tokio::test]
async fn the_mark_changes_with_what_readers_may_see() {
    let fresh = Fresh::new().await;
    let mut marks = vec![content(&fresh).await];
    let lens = fresh.lens("Tindra", "Calm 50 f/1.8", (50.0, 50.0)).await;
    marks.push(content(&fresh).await);
    let double = fresh.lens("Tindra", "Calm 50", (50.0, 50.0)).await;
    marks.push(content(&fresh).await);
    let sweep = fresh
        .published(&lens, &off(), &measurement(50.0, 0.3, 0.01), NOW)
        .await;
    marks.push(content(&fresh).await);
    fresh
        .store
        .merge_lenses(&double, &lens, fresh.reviewer.into(), NOW)
        .await
        .expect("two lenses");
    marks.push(content(&fresh).await);
    let renamed = draft("Tindra", "Calm 50 II", (50.0, 50.0));
    fresh
        .store
        .correct_lens(&lens, &renamed, fresh.reviewer.into(), NOW)
        .await
        .expect("a free name");
    marks.push(content(&fresh).await);
    fresh
        .store
        .withdraw(sweep, fresh.reviewer, "wrong lens", NOW)
        .await
        .expect("it is public");
    marks.push(content(&fresh).await);
    for (index, now) in marks.iter().enumerate() {
        let before = &marks[..index];
        assert!(before.iter().all(|old| old.mark != now.mark), "{index}");
        assert!(before.iter().all(|old| old.revision < now.revision));
    }
}

#[tokio::test]
async fn drafts_and_people_leave_the_mark_alone() {
    let fresh = Fresh::new().await;
    let lens = fresh.lens("Tindra", "Calm 50 f/1.8", (50.0, 50.0)).await;
    let before = content(&fresh).await;
    let sweep = fresh.sweep(&lens, &off()).await;
    fresh.measured(sweep, &measurement(50.0, 0.3, 0.01)).await;
    fresh
        .store
        .add_account("Mara", breathmark::store::Role::Operator, "no hash", NOW)
        .await
        .expect("a free name");
    assert_eq!(content(&fresh).await, before);
}

/// A copy of the database that goes its own way never has a mark of the first one again.
#[tokio::test]
async fn a_restored_copy_has_marks_of_its_own() {
    let fresh = Fresh::new().await;
    let copy = fresh.folder.path().join("copy.sqlite");
    fresh.store.copy_to(&copy).await.expect("a free name");
    let restored = breathmark::store::Store::open(&copy)
        .await
        .expect("a whole copy");
    fresh.lens("Tindra", "Calm 50", (50.0, 50.0)).await;
    let draft = draft("Ostrel", "Loud 50", (50.0, 50.0));
    restored
        .add_lens(&draft, None, NOW)
        .await
        .expect("a new lens");
    let (here, there) = (content(&fresh).await, restored.content().await);
    let there = there.expect("a working store");
    assert_eq!(here.revision, there.revision);
    assert_ne!(here.mark, there.mark);
}
