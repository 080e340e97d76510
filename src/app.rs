//! The running program: what every request handler shares.

mod receive;

use std::sync::Arc;

use tokio::sync::Notify;
use tokio_util::sync::CancellationToken;

use crate::config::Config;
use crate::intake::Originals;
use crate::store::Store;

pub use receive::ReceiveError;

/// What the handlers share; cheap to clone.
#[derive(Debug, Clone)]
pub struct App {
    /// The database.
    pub store: Store,
    /// The files as they came.
    pub originals: Originals,
    /// Settings.
    pub config: Arc<Config>,
    /// Rings the worker.
    pub wake: Arc<Notify>,
    /// Cancelled when the program shuts down.
    pub stop: CancellationToken,
}
