//! `/data/breathmark.zip`: every published number as CSV, with a description for programs and a text for people.

mod build;
mod description;
mod tables;

use std::sync::Arc;

use axum::Router;
use axum::body::Body;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use tokio::sync::Mutex;
use tokio_util::io::ReaderStream;

use self::build::{Package, build};
use super::{Web, WebError};
use crate::app::App;

/// How often it is made again when something is published meanwhile.
const TRIES: usize = 3;

/// The newest package that was made; cheap to clone.
#[derive(Debug, Clone, Default)]
pub(super) struct Packages(Arc<Mutex<Option<Made>>>);

/// A package that was made.
#[derive(Debug)]
struct Made {
    /// Mark of the content that it holds.
    mark: String,
    package: Arc<Package>,
}

/// The route.
pub(super) fn routes() -> Router<Web> {
    Router::new().route("/data/breathmark.zip", get(package))
}

/// `GET /data/breathmark.zip`
async fn package(
    State(app): State<App>,
    State(packages): State<Packages>,
) -> Result<Response, WebError> {
    // A task of its own: what was begun is finished for the next one, were this client to go.
    let package = tokio::spawn(packages.newest(app)).await??;
    let path = package.file.to_path_buf();
    let file = tokio::fs::File::open(path)
        .await
        .map_err(WebError::inside)?;
    let about = [
        (header::CONTENT_TYPE, "application/zip".to_owned()),
        (header::CONTENT_LENGTH, package.bytes.to_string()),
        (header::ETAG, package.tag.clone()),
        (header::CACHE_CONTROL, "public, no-cache".to_owned()),
        (
            header::CONTENT_DISPOSITION,
            "attachment; filename=\"breathmark.zip\"".to_owned(),
        ),
    ];
    Ok((
        about,
        Body::from_stream(ReaderStream::with_capacity(file, 64 << 10)),
    )
        .into_response())
}

impl Packages {
    /// The package of what is public now. One at a time makes it; the others wait and take it.
    async fn newest(self, app: App) -> Result<Arc<Package>, WebError> {
        let mut newest = self.0.lock().await;
        for _ in 0..TRIES {
            let mark = app.store.content().await?.mark;
            if let Some(made) = &*newest
                && made.mark == mark
            {
                return Ok(Arc::clone(&made.package));
            }
            // The old one may hold what was withdrawn.
            *newest = None;
            let package = Arc::new(build(&app).await?);
            if app.store.content().await?.mark == mark {
                *newest = Some(Made { mark, package });
            }
        }
        match &*newest {
            Some(made) => Ok(Arc::clone(&made.package)),
            None => Err(WebError::Busy { retry_after_s: 30 }),
        }
    }
}
