//! Pages and API at scale: `cargo bench --bench scale -- [lenses]`, 10 000 where not given: with 80 000 sweeps and 5 000 000 frames.
//!
//! Each address is asked one after another over one connection: median and 99th percentile in ms, requests a second, and the
//! median against a bare route of the same server library that answers two words, in the same run. "New" answers are made from
//! the database, each with a question of its own (`x` is a parameter that is passed over); "kept" ones were made before; "known"
//! ones are 304.

mod fill;

use std::net::SocketAddr;
use std::time::{Duration, Instant};

use axum::Router;
use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use axum::routing::get;
use breathmark::app::App;
use breathmark::config::Config;
use clap::Parser as _;
use http_body_util::BodyExt as _;
use hyper_util::client::legacy::Client;
use hyper_util::client::legacy::connect::HttpConnector;
use hyper_util::rt::TokioExecutor;
use tokio_util::sync::CancellationToken;

/// Longest that one row of the table is measured, and most requests of it.
const A_ROW: Duration = Duration::from_secs(4);
const MOST_REQUESTS: usize = 2_000;

#[derive(clap::Parser)]
struct Settings {
    #[command(flatten)]
    config: Config,
}

/// What was measured of one kind of address.
struct Row {
    median_ms: f64,
    p99_ms: f64,
    a_second: f64,
}

struct Asker {
    client: Client<HttpConnector, Body>,
    at: SocketAddr,
}

impl Asker {
    fn new(at: SocketAddr) -> Self {
        Self {
            client: Client::builder(TokioExecutor::new()).build_http(),
            at,
        }
    }

    /// Asks, reads to the end, and gives the tag.
    async fn ask(&self, path: &str, known: Option<&str>) -> (StatusCode, String) {
        let mut request = Request::get(format!("http://{}{path}", self.at));
        if let Some(tag) = known {
            request = request.header(header::IF_NONE_MATCH, tag);
        }
        let request = request.body(Body::empty()).expect("a request");
        let answer = self.client.request(request).await.expect("an answer");
        let status = answer.status();
        let tag = answer
            .headers()
            .get(header::ETAG)
            .and_then(|tag| tag.to_str().ok());
        let tag = tag.unwrap_or_default().to_owned();
        answer.into_body().collect().await.expect("a whole body");
        (status, tag)
    }

    /// Times the addresses that `path` makes of a number.
    async fn time(&self, known: Option<&str>, path: impl Fn(usize) -> String) -> Row {
        let mut times: Vec<f64> = Vec::new();
        let started = Instant::now();
        while started.elapsed() < A_ROW && times.len() < MOST_REQUESTS {
            let path = path(times.len());
            let begun = Instant::now();
            let (status, _) = self.ask(&path, known).await;
            times.push(begun.elapsed().as_secs_f64() * 1000.0);
            let expected = if known.is_some() {
                StatusCode::NOT_MODIFIED
            } else {
                StatusCode::OK
            };
            assert_eq!(status, expected, "{path}");
        }
        let a_second = times.len() as f64 / started.elapsed().as_secs_f64();
        times.sort_by(f64::total_cmp);
        let at = |share: f64| times[((times.len() - 1) as f64 * share) as usize];
        Row {
            median_ms: at(0.5),
            p99_ms: at(0.99),
            a_second,
        }
    }
}

async fn serve(router: Router, stop: &CancellationToken) -> SocketAddr {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0")
        .await
        .expect("a port");
    let at = listener.local_addr().expect("an address");
    tokio::spawn(breathmark::web::server::serve(
        listener,
        router,
        stop.clone(),
    ));
    at
}

#[tokio::main]
async fn main() {
    let lenses: u32 = std::env::args()
        .skip(1)
        .find_map(|word| word.parse().ok())
        .unwrap_or(10_000);
    let folder = tempfile::tempdir().expect("a temporary folder");
    let database = folder.path().join("breathmark.sqlite");
    let begun = Instant::now();
    fill::fill(&database, lenses).await;
    let bytes = std::fs::metadata(&database).map_or(0, |file| file.len());
    println!(
        "{lenses} lenses, {} sweeps, {} frames: {:.1} GB, filled in {:.0} s",
        lenses * 8,
        lenses * 8 * 63,
        bytes as f64 / 1e9,
        begun.elapsed().as_secs_f64()
    );

    let data = folder.path().to_str().expect("UTF-8");
    let arguments = ["scale", "--data", data, "--reads-per-minute", "0"];
    let begun = Instant::now();
    let app = App::open(Settings::parse_from(arguments).config)
        .await
        .expect("the data folder");
    let opened = begun.elapsed();
    let stop = app.stop.clone();
    let asker = Asker::new(serve(breathmark::web::router(app), &stop).await);
    let health = asker.ask("/healthz", None).await.0;
    let answering = begun.elapsed();
    asker.ask("/lenses", None).await;
    println!(
        "open after {:.2} s, first answer ({health}) after {:.2} s, first ranking after {:.2} s",
        opened.as_secs_f64(),
        answering.as_secs_f64(),
        begun.elapsed().as_secs_f64()
    );

    let bare = Router::new().route("/", get(|| async { "two words" }));
    let bare = Asker::new(serve(bare, &stop).await);
    let bare = bare.time(None, |_| "/".to_owned()).await;
    println!(
        "\n{:<52} {:>9} {:>9} {:>9} {:>7}",
        "", "median", "p99", "a second", "ratio"
    );
    let tell = |name: &str, row: &Row| {
        let ratio = row.median_ms / bare.median_ms;
        println!(
            "{name:<52} {:>6.2} ms {:>6.2} ms {:>9.0} {ratio:>6.1}×",
            row.median_ms, row.p99_ms, row.a_second
        );
    };
    tell("bare route", &bare);

    let lens = |n: usize| format!("maker-bench-{}", 21 + n * 7 % (lenses as usize - 20));
    let pages: [(&str, &dyn Fn(usize) -> String); 11] = [
        ("ranking", &|n| format!("/lenses?limit={}&x={n}", 50)),
        ("ranking by tolerance distance, own tolerance", &|n| {
            format!(
                "/lenses?sort=tolerance_distance&tolerance_pct={}",
                0.5 + n as f64 * 0.001
            )
        }),
        ("ranking, holds within … from … on", &|n| {
            format!(
                "/lenses?tolerance_pct=1.5&holds_from_m={}",
                0.4 + n as f64 * 0.001
            )
        }),
        ("ranking, searched", &|n| format!("/lenses?q=bench+{n}")),
        ("lens", &|n| format!("/lenses/{}?x={n}", lens(n))),
        ("lens, own tolerance", &|n| {
            format!(
                "/lenses/{}?tolerance_pct={}",
                lens(n),
                0.5 + n as f64 * 0.001
            )
        }),
        ("compare", &|n| {
            format!("/compare?lens={}&lens={}&x={n}", lens(n), lens(n + 1))
        }),
        ("API: list", &|n| format!("/api/v1/lenses?limit=50&x={n}")),
        ("API: lens", &|n| {
            format!("/api/v1/lenses/{}?x={n}", lens(n))
        }),
        ("API: curves", &|n| {
            format!("/api/v1/lenses/{}/curves?x={n}", lens(n))
        }),
        ("API: compare", &|n| {
            format!(
                "/api/v1/compare?lens={}&lens={}&x={n}",
                lens(n),
                lens(n + 1)
            )
        }),
    ];
    for (name, path) in pages {
        tell(&format!("{name}, new"), &asker.time(None, path).await);
        let same = path(0);
        let (_, tag) = asker.ask(&same, None).await;
        tell(
            &format!("{name}, kept"),
            &asker.time(None, |_| same.clone()).await,
        );
        tell(
            &format!("{name}, known"),
            &asker.time(Some(&tag), |_| same.clone()).await,
        );
    }
    stop.cancel();
}
