//! What watches the server asks: alive, ready, metrics.

use std::sync::OnceLock;

use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use metrics_exporter_prometheus::{PrometheusBuilder, PrometheusHandle};

use super::WebError;
use crate::app::App;

/// The process answers.
pub(super) async fn alive() -> &'static str {
    "alive\n"
}

/// The database answers too.
pub(super) async fn ready(State(app): State<App>) -> Result<&'static str, WebError> {
    app.store.job_counts().await?;
    Ok("ready\n")
}

/// Figures in the Prometheus text format.
pub(super) async fn figures(State(app): State<App>) -> Result<Response, WebError> {
    let (open, set_aside) = app.store.job_counts().await?;
    #[allow(
        clippy::cast_precision_loss,
        reason = "counts of jobs are far below 2^52"
    )]
    {
        metrics::gauge!("breathmark_jobs_open").set(open as f64);
        metrics::gauge!("breathmark_jobs_set_aside").set(set_aside as f64);
    }
    let text = recorder().map(PrometheusHandle::render).unwrap_or_default();
    Ok((
        [(
            header::CONTENT_TYPE,
            "text/plain; version=0.0.4; charset=utf-8",
        )],
        text,
    )
        .into_response())
}

/// The recorder of this process, put in place once; `None` when another one was there before.
pub(super) fn recorder() -> Option<&'static PrometheusHandle> {
    static RECORDER: OnceLock<Option<PrometheusHandle>> = OnceLock::new();
    RECORDER
        .get_or_init(|| {
            PrometheusBuilder::new()
                .set_buckets(&[0.001, 0.005, 0.02, 0.1, 0.5, 2.0, 10.0])
                .ok()?
                .install_recorder()
                .ok()
        })
        .as_ref()
}
