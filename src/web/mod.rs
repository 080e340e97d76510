//! Routes, pages, API, forms, sessions; the only status codes.

mod account;
mod arrivals;
mod assets_route;
mod caller;
mod data;
mod desk;
mod door;
mod headers;
mod health;
mod inputs;
mod observe;
mod origin;
mod place;
mod quota;
mod reads;
mod routes;
mod shelf;
mod uploads;

pub mod api;
pub mod assets;
pub mod errors;
pub mod pages;
pub mod password;
pub mod secret;
pub mod server;
pub mod session;

use std::sync::Arc;

use axum::extract::FromRef;
use tokio::sync::Semaphore;

use crate::app::App;

pub use errors::WebError;
pub use headers::is_fresh;
pub use routes::router;

/// What handlers can ask for as state: the running program, and the guards of the web's own expensive work.
#[derive(Debug, Clone, FromRef)]
pub struct Web {
    /// The running program.
    pub app: App,
    /// The guard of signing in.
    door: Arc<door::Door>,
    /// The guard of judging files that arrive: so many at once.
    #[from_ref(skip)]
    intake: Arc<Semaphore>,
    /// The guard of sorting finished uploads into sweeps: one at a time.
    #[from_ref(skip)]
    finishing: Arc<Semaphore>,
    /// Pictures of frames that were made already.
    pictures: desk::Pictures,
    /// Streams of events that may be open at once.
    #[from_ref(skip)]
    streams: Arc<Semaphore>,
    /// The guard of archives that are sent: so many at once.
    #[from_ref(skip)]
    exports: Arc<Semaphore>,
    /// What everybody may read: quotas, and answers that were made already.
    reads: reads::Reads,
    /// The package of all numbers.
    packages: data::Packages,
    /// Charts that were drawn already.
    charts: pages::ChartShelf,
}

/// Files judged at once; each may need as much memory as the largest file allowed.
const JUDGED_AT_ONCE: usize = 2;
/// Streams of events open at once: each holds a connection.
const STREAMS_AT_ONCE: usize = 64;
/// Archives sent at once: each holds a connection and a thread.
const EXPORTED_AT_ONCE: usize = 2;

impl Web {
    /// The state of one server.
    #[must_use]
    pub fn new(app: App) -> Self {
        Self {
            reads: reads::Reads::new(&app.config),
            app,
            door: Arc::new(door::Door::default()),
            intake: Arc::new(Semaphore::new(JUDGED_AT_ONCE)),
            finishing: Arc::new(Semaphore::new(1)),
            pictures: desk::Pictures::default(),
            streams: Arc::new(Semaphore::new(STREAMS_AT_ONCE)),
            exports: Arc::new(Semaphore::new(EXPORTED_AT_ONCE)),
            packages: data::Packages::default(),
            charts: pages::ChartShelf::default(),
        }
    }
}
