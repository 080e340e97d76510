//! A shelf with a bound: things that were made once and are kept under a tag of their content, the oldest given up first.

use std::collections::{HashMap, VecDeque};
use std::sync::{Mutex, PoisonError};

use axum::body::Bytes;
use tokio::sync::Semaphore;

use super::WebError;

/// The shelf.
#[derive(Debug)]
pub(super) struct Shelf<T> {
    most_bytes: usize,
    kept: Mutex<Kept<T>>,
}

/// What is kept, by tag; the oldest tag is first in `order`.
#[derive(Debug)]
struct Kept<T> {
    by_tag: HashMap<String, (T, usize)>,
    order: VecDeque<String>,
    bytes: usize,
}

impl<T: Clone> Shelf<T> {
    /// An empty shelf for so many bytes.
    pub(super) fn new(most_bytes: usize) -> Self {
        Self {
            most_bytes,
            kept: Mutex::new(Kept {
                by_tag: HashMap::new(),
                order: VecDeque::new(),
                bytes: 0,
            }),
        }
    }

    /// What is kept under a tag.
    pub(super) fn find(&self, tag: &str) -> Option<T> {
        let kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        kept.by_tag.get(tag).map(|(thing, _)| thing.clone())
    }

    /// Keeps a thing of so many bytes; one that is there already stays.
    pub(super) fn put(&self, tag: String, thing: T, bytes: usize) {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        // A tag and the place of an entry count too, or many small things would weigh nothing.
        let bytes = bytes + 2 * tag.len() + 128;
        if kept.by_tag.contains_key(&tag) || bytes > self.most_bytes {
            return;
        }
        kept.bytes += bytes;
        kept.order.push_back(tag.clone());
        kept.by_tag.insert(tag, (thing, bytes));
        while kept.bytes > self.most_bytes {
            let Some(oldest) = kept.order.pop_front() else {
                return;
            };
            if let Some((_, gone)) = kept.by_tag.remove(&oldest) {
                kept.bytes -= gone;
            }
        }
    }
}

impl Shelf<Bytes> {
    /// What is kept under a tag, or is made off the async threads by whoever gets one of the turns first, and kept.
    ///
    /// # Errors
    /// What making it says.
    pub(super) async fn find_or_make<E>(
        &self,
        tag: String,
        turns: &Semaphore,
        make: impl FnOnce() -> Result<Bytes, E> + Send + 'static,
    ) -> Result<Bytes, WebError>
    where
        E: Into<WebError> + Send + 'static,
    {
        if let Some(made) = self.find(&tag) {
            return Ok(made);
        }
        let _turn = turns.acquire().await.map_err(WebError::inside)?;
        if let Some(made) = self.find(&tag) {
            return Ok(made);
        }
        let made = tokio::task::spawn_blocking(make).await?;
        let made = made.map_err(Into::into)?;
        self.put(tag, made.clone(), made.len());
        Ok(made)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shelf_has_a_bound_and_gives_up_the_oldest() {
        let shelf = Shelf::new(32 << 20);
        for number in 0..100 {
            shelf.put(number.to_string(), number, 1 << 20);
        }
        assert_eq!(shelf.find("99"), Some(99));
        assert_eq!(shelf.find("0"), None);
        let kept = shelf.kept.lock().expect("nobody panicked");
        assert!(kept.bytes <= 32 << 20 && kept.bytes > 30 << 20);
        assert_eq!(kept.by_tag.len(), kept.order.len());
    }

    #[test]
    fn what_is_larger_than_the_shelf_is_not_kept() {
        let shelf = Shelf::new(1000);
        shelf.put("small".to_owned(), 1, 10);
        shelf.put("large".to_owned(), 2, 1000);
        assert_eq!((shelf.find("small"), shelf.find("large")), (Some(1), None));
    }
}
