//! How far the measuring of a sweep is: asked for, or told as it goes on.

use std::convert::Infallible;
use std::time::Duration;

use axum::Json;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::stream::{self, Stream};
use serde::Serialize;
use tokio::sync::OwnedSemaphorePermit;

use super::{check_own, is_measuring, progress_words};
use crate::app::App;
use crate::store::{JobView, SweepId};
use crate::web::place::Place;
use crate::web::session::SignedIn;
use crate::web::{Web, WebError};

/// How often a stream looks.
const LOOK_EVERY: Duration = Duration::from_millis(250);
/// When somebody who found no place for a stream may try again, s.
const TRY_AGAIN_S: u64 = 10;

#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
struct ProgressDocument {
    measuring: bool,
    state: Option<&'static str>,
    words: Option<String>,
    frames_done: u32,
    frames_total: u32,
}

impl ProgressDocument {
    fn of(job: Option<&JobView>) -> Self {
        Self {
            measuring: is_measuring(job),
            state: job.map(|job| job.state.code()),
            words: job.and_then(progress_words),
            frames_done: job.map_or(0, |job| job.frames_done),
            frames_total: job.map_or(0, |job| job.frames_total),
        }
    }
}

/// `GET /sweeps/{id}/progress`: for the script; only for those who work on the sweep.
pub(in crate::web) async fn ask(
    State(app): State<App>,
    account: SignedIn,
    Place(id): Place<SweepId>,
) -> Result<impl IntoResponse, WebError> {
    check_own(&app.store, &account, id).await?;
    let job = app.store.job_view(id).await?;
    Ok(Json(ProgressDocument::of(job.as_ref())))
}

/// `GET /api/v1/sweeps/{id}/events`: server-sent events, `progress` at every change and `done` at the end. Ends when the
/// measuring does and at shutdown; where the database can't be read for a moment it goes on.
pub(in crate::web) async fn events(
    State(web): State<Web>,
    account: SignedIn,
    Place(id): Place<SweepId>,
) -> Result<impl IntoResponse, WebError> {
    check_own(&web.app.store, &account, id).await?;
    let place = web
        .streams
        .clone()
        .try_acquire_owned()
        .map_err(|_| WebError::Busy {
            retry_after_s: TRY_AGAIN_S,
        })?;
    let told = Told {
        app: web.app,
        id,
        last: None,
        is_over: false,
        _place: place,
    };
    Ok(Sse::new(told.stream()).keep_alive(KeepAlive::default()))
}

/// A stream that somebody listens to.
struct Told {
    app: App,
    id: SweepId,
    /// What was told last.
    last: Option<ProgressDocument>,
    is_over: bool,
    _place: OwnedSemaphorePermit,
}

impl Told {
    fn stream(self) -> impl Stream<Item = Result<Event, Infallible>> {
        stream::unfold(self, |mut told| async move {
            let event = told.next().await?;
            Some((Ok(event), told))
        })
    }

    /// The next event; `None` when there is none to come.
    async fn next(&mut self) -> Option<Event> {
        while !self.is_over {
            let job = self.app.store.job_view(self.id).await;
            let now = job.ok().map(|job| ProgressDocument::of(job.as_ref()));
            if let Some(now) = now.filter(|now| self.last.as_ref() != Some(now)) {
                self.is_over = !now.measuring;
                let name = if self.is_over { "done" } else { "progress" };
                let event = Event::default().event(name).json_data(&now).ok()?;
                self.last = Some(now);
                return Some(event);
            }
            tokio::select! {
                () = self.app.stop.cancelled() => return None,
                () = tokio::time::sleep(LOOK_EVERY) => {}
            }
        }
        None
    }
}
