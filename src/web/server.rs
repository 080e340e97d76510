//! Serving: connections with limits on number and patience, and an end that waits for answers on their way.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::{ConnectInfo, Request};
use hyper::body::Incoming;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;
use tower::ServiceExt as _;

/// How long a client may take to send its headers, and how long an open connection may idle between requests.
const HEADER_PATIENCE: Duration = Duration::from_secs(10);
/// How long answers on their way may take once the program is to end.
const SHUTDOWN_PATIENCE: Duration = Duration::from_secs(10);
/// Most connections at once; fewer where the system allows fewer open files.
const MAX_CONNECTIONS: usize = 4_096;
/// Most bytes of a request's line and headers together.
const MAX_HEAD_BYTES: usize = 32 << 10;
/// Most header lines of a request.
const MAX_HEADERS: usize = 100;

/// Serves `router` on `listener` until `stop` is cancelled, then takes no new connection, lets answers on their way
/// finish within 10 s and closes what is left.
///
/// # Errors
/// None at present: trouble with one connection ends that connection only.
pub async fn serve(
    listener: TcpListener,
    router: Router,
    stop: CancellationToken,
) -> std::io::Result<()> {
    let places = Arc::new(Semaphore::new(connection_limit()));
    let graceful = GracefulShutdown::new();
    let mut connections = JoinSet::new();
    loop {
        let accepted = tokio::select! {
            () = stop.cancelled() => break,
            // The place is taken before the connection, so that the rest wait in the system's queue.
            accepted = async {
                let place = Arc::clone(&places).acquire_owned().await;
                (place, listener.accept().await)
            } => accepted,
        };
        while connections.try_join_next().is_some() {}
        let (Ok(place), Ok((stream, peer))) = accepted else {
            // Out of open files, most likely: give the ones in use time to end.
            tracing::warn!("a connection could not be accepted");
            tokio::time::sleep(Duration::from_millis(100)).await;
            continue;
        };
        let connection = graceful.watch(connection(stream, peer, router.clone()));
        connections.spawn(async move {
            if let Err(error) = connection.await {
                tracing::debug!(%error, "connection ended");
            }
            drop(place);
        });
    }
    drop(listener);
    let ended = tokio::time::timeout(SHUTDOWN_PATIENCE, graceful.shutdown()).await;
    if ended.is_err() {
        tracing::warn!("some connections were closed before their answer was complete");
    }
    connections.shutdown().await;
    Ok(())
}

/// One connection, HTTP/1.1.
fn connection(
    stream: TcpStream,
    peer: SocketAddr,
    router: Router,
) -> hyper::server::conn::http1::Connection<
    TokioIo<TcpStream>,
    impl hyper::service::Service<
        hyper::Request<Incoming>,
        Response = axum::response::Response,
        Error = std::convert::Infallible,
        Future: Send,
    >,
> {
    if let Err(error) = stream.set_nodelay(true) {
        tracing::debug!(%error, "no-delay refused");
    }
    let service = hyper::service::service_fn(move |request: hyper::Request<Incoming>| {
        let mut request: Request = request.map(axum::body::Body::new);
        request.extensions_mut().insert(ConnectInfo(peer));
        router.clone().oneshot(request)
    });
    hyper::server::conn::http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEADER_PATIENCE)
        .max_headers(MAX_HEADERS)
        .max_buf_size(MAX_HEAD_BYTES)
        .serve_connection(TokioIo::new(stream), service)
}

/// Half of the files that the process may have open, so that the database and the originals always find room; at most
/// [`MAX_CONNECTIONS`].
fn connection_limit() -> usize {
    let open_files = std::fs::read_to_string("/proc/self/limits")
        .ok()
        .and_then(|limits| soft_open_files(&limits));
    open_files.map_or(MAX_CONNECTIONS, |files| {
        (files / 2).clamp(8, MAX_CONNECTIONS)
    })
}

/// The soft limit of open files in the text of `/proc/self/limits`.
fn soft_open_files(limits: &str) -> Option<usize> {
    limits
        .lines()
        .find_map(|line| line.strip_prefix("Max open files"))?
        .split_whitespace()
        .next()?
        .parse()
        .ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_limit_of_open_files_is_read() {
        let text = "Limit                     Soft Limit           Hard Limit           Units     \n\
             Max open files            64                   4096                 files     \n";
        assert_eq!(soft_open_files(text), Some(64));
        assert_eq!(soft_open_files("Max open files            unlimited"), None);
    }
}
