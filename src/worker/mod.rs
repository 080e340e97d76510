//! The worker: claims a job, runs intake → measure → sweep off the async threads, saves. Doing a job twice changes nothing.

use std::sync::Arc;

use tokio::sync::Notify;
use tokio_util::sync::CancellationToken;

use crate::intake::{Limits, Originals};
use crate::store::Store;

/// All that the worker works with.
#[derive(Debug, Clone)]
pub struct Worker {
    /// Where jobs come from and results go.
    pub store: Store,
    /// Where frames come from.
    pub originals: Originals,
    /// Limits on decoding.
    pub limits: Limits,
    /// Rung when there is new work; the worker looks by itself every few seconds all the same.
    pub wake: Arc<Notify>,
    /// Threads that measure frames; 0 is one a processor.
    pub threads: usize,
}

impl Worker {
    /// Works until `stop` is cancelled, then gives back what it holds and returns.
    pub async fn run(self, stop: CancellationToken) {
        let _ = stop;
        unimplemented!()
    }
}
