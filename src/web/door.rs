//! The guard of signing in: how many tries, how many hashes at once.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Mutex, PoisonError};

use tokio::sync::Semaphore;

use super::{WebError, password};

/// Tries that one account may make from one address in [`WINDOW_MS`].
const TRIES: usize = 5;
/// How long a try counts, ms.
const WINDOW_MS: i64 = 15 * 60 * 1000;
/// Most password hashes at once: each takes 19 MiB and a processor.
const HASHES_AT_ONCE: usize = 2;
/// Most pairs of account and address that are remembered; beyond it the oldest are forgotten.
const REMEMBERED: usize = 20_000;

/// Somebody who tries: name in lower case, and address where it is known.
type Caller = (String, Option<IpAddr>);

/// Counts tries by account and address, and limits hashes at once.
#[derive(Debug)]
pub(super) struct Door {
    tries: Mutex<HashMap<Caller, Vec<i64>>>,
    hashes: Semaphore,
}

impl Default for Door {
    fn default() -> Self {
        Self {
            tries: Mutex::default(),
            hashes: Semaphore::new(HASHES_AT_ONCE),
        }
    }
}

impl Door {
    /// Counts a try. `Err` has the seconds until the next one is allowed.
    pub(super) fn knock(&self, name: &str, from: Option<IpAddr>, now_ms: i64) -> Result<(), u64> {
        let mut tries = self.tries.lock().unwrap_or_else(PoisonError::into_inner);
        if tries.len() >= REMEMBERED {
            tries.retain(|_, at| at.iter().any(|at| now_ms - at < WINDOW_MS));
            if tries.len() >= REMEMBERED {
                let oldest = tries
                    .iter()
                    .min_by_key(|(_, at)| at.last().copied())
                    .map(|(key, _)| key.clone());
                oldest.map(|key| tries.remove(&key));
            }
        }
        let at = tries.entry((name.to_lowercase(), from)).or_default();
        at.retain(|at| now_ms - at < WINDOW_MS);
        if at.len() >= TRIES {
            let wait_ms = at.first().map_or(0, |first| WINDOW_MS - (now_ms - first));
            return Err(u64::try_from(wait_ms).unwrap_or(0).div_ceil(1000).max(1));
        }
        at.push(now_ms);
        Ok(())
    }

    /// Whether the password is the one behind this hash; see [`password::verify`]. Waits for its turn.
    pub(super) async fn verify(&self, given: &str, kept: Option<String>) -> Result<bool, WebError> {
        // A password longer than any that is kept costs no more than the longest.
        let most = *password::LENGTH.end() + 1;
        let given: String = given.chars().take(most).collect();
        let _turn = self.hashes.acquire().await.map_err(WebError::inside)?;
        Ok(tokio::task::spawn_blocking(move || password::verify(&given, kept.as_deref())).await?)
    }

    /// The password as it is kept; see [`password::hash`]. Waits for its turn.
    pub(super) async fn hash(&self, chosen: String) -> Result<String, WebError> {
        let _turn = self.hashes.acquire().await.map_err(WebError::inside)?;
        tokio::task::spawn_blocking(move || password::hash(&chosen))
            .await?
            .map_err(WebError::inside)
    }

    /// Forgets the tries of somebody who got in.
    pub(super) fn welcome(&self, name: &str, from: Option<IpAddr>) {
        self.tries
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .remove(&(name.to_lowercase(), from));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sixth_try_waits_for_the_first_to_be_forgotten() {
        let door = Door::default();
        for n in 0..5 {
            assert_eq!(door.knock("Mara", None, n * 1000), Ok(()));
        }
        assert_eq!(door.knock("mara", None, 5_000), Err(895));
        assert_eq!(door.knock("somebody else", None, 5_000), Ok(()));
        assert_eq!(door.knock("mara", None, WINDOW_MS), Ok(()));
    }

    #[test]
    fn getting_in_clears_the_count() {
        let door = Door::default();
        for _ in 0..5 {
            assert_eq!(door.knock("mara", None, 0), Ok(()));
        }
        door.welcome("mara", None);
        assert_eq!(door.knock("mara", None, 0), Ok(()));
    }
}
