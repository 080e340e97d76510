//! How many reads one address may make a minute, and the headers that tell it how many are left.

use std::collections::HashMap;
use std::net::{IpAddr, Ipv6Addr};
use std::sync::{Mutex, PoisonError};

use axum::http::{HeaderMap, HeaderName, HeaderValue};

/// What is allowed (IETF draft "RateLimit header fields for HTTP", draft-ietf-httpapi-ratelimit-headers).
pub(super) const POLICY: HeaderName = HeaderName::from_static("ratelimit-policy");
/// What is left of it.
pub(super) const LEFT: HeaderName = HeaderName::from_static("ratelimit");

/// How long reads count, ms.
const WINDOW_MS: i64 = 60_000;
/// Most addresses that are remembered; beyond it those whose minute is over are forgotten, or else all.
const REMEMBERED: usize = 50_000;

/// Reads of each address in its minute.
#[derive(Debug)]
pub(super) struct Quota {
    /// Reads a minute; 0 counts nothing.
    per_minute: u32,
    windows: Mutex<HashMap<Option<IpAddr>, Window>>,
}

/// The minute of an address.
#[derive(Debug, Clone, Copy)]
struct Window {
    began_ms: i64,
    reads: u32,
}

/// What became of a read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Taken {
    per_minute: u32,
    left: u32,
    /// Seconds until the minute is over.
    pub(super) reset_s: u64,
    /// Whether the read is one too many.
    pub(super) refused: bool,
}

impl Quota {
    pub(super) fn new(per_minute: u32) -> Self {
        Self {
            per_minute,
            windows: Mutex::default(),
        }
    }

    /// Counts a read; `None` where reads are not limited.
    pub(super) fn take(&self, from: Option<IpAddr>, now_ms: i64) -> Option<Taken> {
        if self.per_minute == 0 {
            return None;
        }
        let mut windows = self.windows.lock().unwrap_or_else(PoisonError::into_inner);
        let is_over = |window: &Window| now_ms - window.began_ms >= WINDOW_MS;
        if windows.len() >= REMEMBERED {
            windows.retain(|_, window| !is_over(window));
            if windows.len() >= REMEMBERED {
                windows.clear();
            }
        }
        let fresh = Window {
            began_ms: now_ms,
            reads: 0,
        };
        let window = windows.entry(from.map(household)).or_insert(fresh);
        if is_over(window) {
            *window = fresh;
        }
        let refused = window.reads >= self.per_minute;
        window.reads += u32::from(!refused);
        let reset_ms = WINDOW_MS - (now_ms - window.began_ms);
        Some(Taken {
            per_minute: self.per_minute,
            left: self.per_minute - window.reads,
            reset_s: u64::try_from(reset_ms).unwrap_or(0).div_ceil(1000).max(1),
            refused,
        })
    }
}

impl Taken {
    /// Writes what is allowed and what is left.
    pub(super) fn tell(self, headers: &mut HeaderMap) {
        let seconds = WINDOW_MS / 1000;
        let policy = format!("\"reads\";q={};w={seconds}", self.per_minute);
        let left = format!("\"reads\";r={};t={}", self.left, self.reset_s);
        for (name, value) in [(POLICY, policy), (LEFT, left)] {
            if let Ok(value) = HeaderValue::from_str(&value) {
                headers.insert(name, value);
            }
        }
    }
}

/// Who shares a quota: one IPv4 address, or the /64 network that one IPv6 customer has to himself.
fn household(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(six) => IpAddr::V6(Ipv6Addr::from_bits(six.to_bits() >> 64 << 64)),
        four => four,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn address(text: &str) -> Option<IpAddr> {
        Some(text.parse().expect("an address"))
    }

    #[test]
    fn a_minute_holds_so_many_reads_of_one_address() {
        let quota = Quota::new(3);
        let here = address("192.0.2.7");
        let left: Vec<_> = (0..4)
            .map(|read| quota.take(here, read * 1000).expect("it is limited"))
            .map(|taken| (taken.left, taken.reset_s, taken.refused))
            .collect();
        assert_eq!(
            left,
            [
                (2, 60, false),
                (1, 59, false),
                (0, 58, false),
                (0, 57, true)
            ]
        );
        let other = quota.take(address("192.0.2.8"), 3000).expect("limited");
        assert!(!other.refused);
        let later = quota.take(here, WINDOW_MS).expect("limited");
        assert_eq!((later.left, later.refused), (2, false));
    }

    #[test]
    fn one_customer_has_one_quota() {
        let quota = Quota::new(1);
        assert!(
            !quota
                .take(address("2001:db8::1"), 0)
                .expect("limited")
                .refused
        );
        assert!(
            quota
                .take(address("2001:db8::2"), 0)
                .expect("limited")
                .refused
        );
        assert!(
            !quota
                .take(address("2001:db8:0:1::2"), 0)
                .expect("limited")
                .refused
        );
        assert!(
            !quota
                .take(address("192.0.2.1"), 0)
                .expect("limited")
                .refused
        );
        assert!(
            quota
                .take(address("::ffff:192.0.2.1"), 0)
                .expect("limited")
                .refused
        );
        assert_eq!(Quota::new(0).take(address("192.0.2.1"), 0), None);
    }

    #[test]
    fn what_is_left_is_told() {
        let mut headers = HeaderMap::new();
        let taken = Quota::new(600).take(None, 0).expect("limited");
        taken.tell(&mut headers);
        assert_eq!(headers[POLICY], "\"reads\";q=600;w=60");
        assert_eq!(headers[LEFT], "\"reads\";r=599;t=60");
    }
}
