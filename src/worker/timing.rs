//! How long things last and how often they are looked after.

use std::time::Duration;

use tokio_util::sync::CancellationToken;

/// Spans of the worker. The defaults are common practice, no source.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Timing {
    /// A job whose worker has not been heard of for this long is free again.
    pub lease: Duration,
    /// How often a held job shows that it is alive, with its progress; well under the lease.
    pub heartbeat: Duration,
    /// How often the worker looks for work that nobody rang for.
    pub poll: Duration,
    /// First rest after a fault of disk or database; it doubles up to the longest.
    pub shortest_pause: Duration,
    /// Longest rest after faults in a row.
    pub longest_pause: Duration,
}

impl Default for Timing {
    fn default() -> Self {
        Self {
            lease: Duration::from_secs(30),
            heartbeat: Duration::from_secs(1),
            poll: Duration::from_secs(2),
            shortest_pause: Duration::from_secs(1),
            longest_pause: Duration::from_secs(60),
        }
    }
}

impl Timing {
    /// The lease in ms.
    pub(super) fn lease_ms(&self) -> i64 {
        i64::try_from(self.lease.as_millis()).unwrap_or(i64::MAX)
    }
}

/// Rests after faults, longer each time until one thing went well.
#[derive(Debug)]
pub(super) struct Pause {
    shortest: Duration,
    longest: Duration,
    next: Duration,
}

impl Pause {
    pub(super) const fn new(shortest: Duration, longest: Duration) -> Self {
        Self {
            shortest,
            longest,
            next: shortest,
        }
    }

    /// Something went well.
    pub(super) const fn reset(&mut self) {
        self.next = self.shortest;
    }

    /// Rests, but no longer than until `stop`.
    pub(super) async fn rest(&mut self, stop: &CancellationToken) {
        tokio::select! {
            () = tokio::time::sleep(self.next) => {}
            () = stop.cancelled() => {}
        }
        self.next = self.next.saturating_mul(2).min(self.longest);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn rests_grow_up_to_the_longest_and_start_again() {
        let stop = CancellationToken::new();
        let milliseconds = Duration::from_millis;
        let mut pause = Pause::new(milliseconds(1), milliseconds(3));
        let mut next = Vec::new();
        for _ in 0..3 {
            next.push(pause.next);
            pause.rest(&stop).await;
        }
        assert_eq!(next, [milliseconds(1), milliseconds(2), milliseconds(3)]);
        pause.reset();
        assert_eq!(pause.next, milliseconds(1));
    }

    #[tokio::test]
    async fn nobody_rests_once_told_to_stop() {
        let stop = CancellationToken::new();
        stop.cancel();
        let hour = Duration::from_secs(3600);
        let rest = async { Pause::new(hour, hour).rest(&stop).await };
        tokio::time::timeout(Duration::from_secs(1), rest)
            .await
            .expect("the rest ends at once");
    }
}
