//! Pictures of frames that were made already, kept by the original they are of, and the turns of those that have to be made.

use std::net::IpAddr;
use std::sync::Arc;

use axum::body::Bytes;
use tokio::sync::Semaphore;

use crate::app::App;
use crate::intake;
use crate::web::WebError;
use crate::web::reads::Reads;
use crate::web::shelf::Shelf;

/// Most bytes of pictures that are kept.
const MOST_KEPT_BYTES: usize = 32 << 20;
/// How many pictures are made at once; each decodes a whole original.
const MADE_AT_ONCE: usize = 2;
/// How many of them for readers: a place is left for those who work on sweeps.
const MADE_FOR_READERS_AT_ONCE: usize = MADE_AT_ONCE - 1;

/// Whom a picture is made for.
#[derive(Debug, Clone, Copy)]
pub(super) enum For {
    /// Somebody who works on the sweep.
    Owner,
    /// Anybody, at this address.
    Reader(Option<IpAddr>),
}

/// The shelf with its turns; cheap to clone.
#[derive(Debug, Clone)]
pub(in crate::web) struct Pictures(Arc<Made>);

#[derive(Debug)]
struct Made {
    kept: Shelf<Bytes>,
    turns: Semaphore,
    turns_of_readers: Semaphore,
}

impl Default for Pictures {
    fn default() -> Self {
        Self(Arc::new(Made {
            kept: Shelf::new(MOST_KEPT_BYTES),
            turns: Semaphore::new(MADE_AT_ONCE),
            turns_of_readers: Semaphore::new(MADE_FOR_READERS_AT_ONCE),
        }))
    }
}

impl Pictures {
    /// The JPEG of an original with a longest side of so many pixels, from the shelf or made off the async threads.
    ///
    /// # Errors
    /// `TooFast` where a reader has used up the reads of a minute; only pictures that have to be made count.
    pub(super) async fn picture(
        &self,
        app: &App,
        reads: &Reads,
        whom: For,
        sha256: String,
        side_px: u32,
    ) -> Result<Bytes, WebError> {
        let tag = format!("{sha256} {side_px}");
        let _reader = match whom {
            For::Owner => None,
            For::Reader(address) => {
                if let Some(made) = self.0.kept.find(&tag) {
                    return Ok(made);
                }
                reads.count(address)?;
                let turn = self.0.turns_of_readers.acquire().await;
                Some(turn.map_err(WebError::inside)?)
            }
        };
        let originals = app.originals.clone();
        let limits = app.config.limits();
        let make = move || {
            let bytes = originals.read(&sha256)?;
            intake::preview_jpeg(&bytes, side_px, &limits).map(Bytes::from)
        };
        self.0.kept.find_or_make(tag, &self.0.turns, make).await
    }
}
