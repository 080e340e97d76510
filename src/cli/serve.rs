//! `breathmark serve`: the server and its worker in one process.

use std::io::IsTerminal;

use anyhow::Context;
use tokio_util::sync::CancellationToken;

use super::{Ending, complain};
use crate::app::App;
use crate::config::Config;
use crate::web;

#[derive(Debug, clap::Args)]
pub(super) struct Serve {
    #[command(flatten)]
    config: Config,
}

impl Serve {
    pub(super) fn run(self) -> anyhow::Result<Ending> {
        log_to_stderr();
        runtime()?.block_on(async {
            let server = Server::start(self.config).await?;
            complain(&format!("serving at {}", server.address));
            server.until_stopped().await
        })
    }
}

/// A server that answers, with its worker.
pub(super) struct Server {
    /// What the handlers share.
    pub(super) app: App,
    /// Where it answers, e.g. `http://127.0.0.1:8317`.
    pub(super) address: String,
    serving: tokio::task::JoinHandle<std::io::Result<()>>,
    working: tokio::task::JoinHandle<()>,
}

impl Server {
    /// Opens the data folder, listens and starts the worker.
    pub(super) async fn start(mut config: Config) -> anyhow::Result<Self> {
        let listen = config.listen;
        let listener = tokio::net::TcpListener::bind(listen)
            .await
            .with_context(|| {
                format!("{listen} can't be listened on; choose another with --listen")
            })?;
        // Where any free port was asked for, links name the one that was given.
        config.listen = listener.local_addr()?;
        let address = format!("http://{}", config.listen);
        let app = App::open(config).await?;
        let store = app.store.clone();
        // The ranking is read into memory while the first readers are on their way. What goes wrong there they are told.
        tokio::spawn(async move { store.conditions_in_use().await.is_ok() });
        let working = app.start_worker();
        let serving = tokio::spawn(web::server::serve(
            listener,
            web::router(app.clone()),
            app.stop.clone(),
        ));
        Ok(Self {
            app,
            address,
            serving,
            working,
        })
    }

    /// Serves until SIGINT or SIGTERM, then lets requests and the worker come to an end.
    pub(super) async fn until_stopped(self) -> anyhow::Result<Ending> {
        stop_on_signal(self.app.stop.clone());
        let served = self.serving.await.context("the server broke off")?;
        self.app.stop.cancel();
        self.working.await.context("the worker broke off")?;
        served?;
        complain("stopped; everything acknowledged is stored");
        Ok(Ending::Done)
    }
}

fn stop_on_signal(stop: CancellationToken) {
    tokio::spawn(async move {
        let interrupt = tokio::signal::ctrl_c();
        let terminate = async {
            match tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()) {
                Ok(mut signal) => signal.recv().await,
                Err(_) => std::future::pending().await,
            }
        };
        tokio::select! {
            _ = interrupt => {}
            _ = terminate => {}
        }
        stop.cancel();
    });
}

/// The async runtime of every command that needs one.
pub(super) fn runtime() -> anyhow::Result<tokio::runtime::Runtime> {
    tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .context("the program could not start its threads")
}

/// Logs go to standard error; `BREATHMARK_LOG` chooses what, e.g. `info` or `breathmark=debug`.
pub(super) fn log_to_stderr() {
    let filter = tracing_subscriber::EnvFilter::try_from_env("BREATHMARK_LOG")
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("warn,breathmark=info"));
    // A second initialisation in one process keeps the first.
    let _ = tracing_subscriber::fmt()
        .with_ansi(std::io::stderr().is_terminal())
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .try_init();
}
