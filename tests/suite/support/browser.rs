//! Debian's chromium, headless, driven through its own WebDriver.

use std::io::{BufRead, BufReader};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use axum::http::Method;
use fantoccini::elements::Element;
use fantoccini::error::CmdError;
use fantoccini::wd::WebDriverCompatibleCommand;
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use url::{ParseError, Url};

/// How long a page may take to show what is waited for; far above what it takes, so that a busy machine fails no test.
const PATIENCE: Duration = Duration::from_secs(30);

/// What happens on the page is looked at this often.
const GLANCE: Duration = Duration::from_millis(50);

/// How often chromedriver is started before it is given up: it takes a free port for one address family and the same for the
/// other, which another one may have taken meanwhile.
const STARTS: u32 = 5;

/// A driver process with one browser window.
pub(crate) struct Browser {
    _driver: Driver,
    pub(crate) client: Client,
    _profile: tempfile::TempDir,
}

impl Browser {
    /// Opens a window of this size. `dark` is the colour scheme that the reader prefers.
    pub(crate) async fn open(width: u32, height: u32, dark: bool) -> Self {
        Self::open_with(width, height, dark, true).await
    }

    /// Opens a window in which no page may run a script.
    pub(crate) async fn open_without_scripts(width: u32, height: u32) -> Self {
        Self::open_with(width, height, false, false).await
    }

    async fn open_with(width: u32, height: u32, dark: bool, scripts: bool) -> Self {
        let (driver, port) = (0..STARTS)
            .find_map(|_| start_driver())
            .expect("chromedriver says where it listens");
        let profile = tempfile::tempdir().expect("a folder");
        let mut arguments = vec![
            "--headless=new".to_owned(),
            "--no-sandbox".to_owned(),
            "--disable-gpu".to_owned(),
            "--disable-quic".to_owned(),
            "--disable-dev-shm-usage".to_owned(),
            "--no-first-run".to_owned(),
            "--disable-background-networking".to_owned(),
            "--disable-component-update".to_owned(),
            "--disable-sync".to_owned(),
            format!("--window-size={width},{height}"),
            format!("--user-data-dir={}", profile.path().display()),
        ];
        if dark {
            arguments.push("--blink-settings=preferredColorScheme=0".to_owned());
        }
        let mut options = json!({ "args": arguments });
        if !scripts {
            options["prefs"] = json!({ "profile.managed_default_content_settings.javascript": 2 });
        }
        if width < 500 {
            // A desktop window is never narrower than some 500 px.
            options["mobileEmulation"] = json!({ "deviceMetrics":
                { "width": width, "height": height, "pixelRatio": 1.0, "touch": true } });
        }
        let wanted =
            json!({ "goog:chromeOptions": options, "goog:loggingPrefs": { "browser": "ALL" } });
        let Value::Object(wanted) = wanted else {
            unreachable!("it is an object")
        };
        let client = ClientBuilder::new(HttpConnector::new())
            .capabilities(wanted)
            .connect(&format!("http://127.0.0.1:{port}"))
            .await
            .expect("a browser window opens");
        Self {
            _driver: driver,
            client,
            _profile: profile,
        }
    }

    pub(crate) async fn go(&self, address: &str) {
        self.client.goto(address).await.expect("the page loads");
    }

    /// The element, as soon as it is there.
    pub(crate) async fn find(&self, css: &str) -> Element {
        let started = Instant::now();
        loop {
            match self.client.find(Locator::Css(css)).await {
                Ok(element) => return element,
                Err(error)
                    if (error.is_no_such_element() || is_gone(&error))
                        && started.elapsed() < PATIENCE =>
                {
                    tokio::time::sleep(GLANCE).await;
                }
                Err(error) => panic!("{css} does not appear: {error}"),
            }
        }
    }

    pub(crate) async fn click(&self, css: &str) {
        self.on(css, async |element| element.click().await).await;
    }

    /// Puts text into a field, in place of what it holds.
    pub(crate) async fn fill(&self, css: &str, text: &str) {
        self.on(css, async |field| {
            field.clear().await?;
            field.send_keys(text).await
        })
        .await;
    }

    pub(crate) async fn choose(&self, css: &str, value: &str) {
        self.on(css, async |select| select.select_by_value(value).await)
            .await;
    }

    /// Gives files, or one folder, to a file field.
    pub(crate) async fn give_files(&self, css: &str, paths: &[PathBuf]) {
        let names: Vec<String> = paths
            .iter()
            .map(|path| path.display().to_string())
            .collect();
        self.on(css, async |field| field.send_keys(&names.join("\n")).await)
            .await;
    }

    /// The visible text of the page.
    pub(crate) async fn text(&self) -> String {
        plain(&self.on("body", async |body| body.text().await).await)
    }

    /// Does this to the element, once it is there. Pages load themselves again when something is measured: an element
    /// that went with its page is looked for anew, as a person would.
    async fn on<T>(&self, css: &str, act: impl AsyncFn(Element) -> Result<T, CmdError>) -> T {
        let started = Instant::now();
        loop {
            match act(self.find(css).await).await {
                Ok(done) => return done,
                Err(error) if is_gone(&error) && started.elapsed() < PATIENCE => {
                    tokio::time::sleep(GLANCE).await;
                }
                Err(error) => panic!("{css}: {error}"),
            }
        }
    }

    /// Waits until the page says this.
    pub(crate) async fn until_it_says(&self, words: &str) -> String {
        let started = Instant::now();
        loop {
            let text = self.text_now().await;
            if text.contains(words) {
                return text;
            }
            assert!(
                started.elapsed() < PATIENCE,
                "the page never says {words:?}, but\n{text}"
            );
            tokio::time::sleep(GLANCE).await;
        }
    }

    /// Waits until a page is wholly there that has no such element.
    pub(crate) async fn until_gone(&self, css: &str) {
        let script =
            "return document.readyState === 'complete' && !document.querySelector(arguments[0]);";
        let started = Instant::now();
        // A script that a new page cuts short is an error, and asked again.
        while !matches!(
            self.client.execute(script, vec![json!(css)]).await,
            Ok(Value::Bool(true))
        ) {
            assert!(started.elapsed() < PATIENCE, "{css} stays");
            tokio::time::sleep(GLANCE).await;
        }
    }

    /// The text of the page, empty while it is being replaced by another.
    async fn text_now(&self) -> String {
        match self.client.find(Locator::Css("body")).await {
            Ok(body) => plain(&body.text().await.unwrap_or_default()),
            Err(_) => String::new(),
        }
    }

    /// Violations that axe finds on the page that is open, each with its rule and the elements.
    pub(crate) async fn axe_violations(&self) -> Vec<String> {
        let source =
            std::fs::read_to_string(axe()).expect("axe-core is there (.ci/install installs it)");
        let load = format!("{source}\nreturn typeof axe;");
        self.client
            .execute(&load, Vec::new())
            .await
            .expect("axe loads");
        let script = "const done = arguments[0]; axe.run(document).then(r => done(r.violations.map(v => \
                      v.id + ': ' + v.nodes.map(n => n.target.join(' ') + ' ' + n.failureSummary).join('; '))));";
        let found = self
            .client
            .execute_async(script, Vec::new())
            .await
            .expect("axe runs");
        serde_json::from_value(found).expect("axe gives a list")
    }

    /// What the browser noted of the page that is open: failed requests, and what the content security policy refused.
    pub(crate) async fn complaints(&self) -> Vec<String> {
        let script = "const done = arguments[0]; \
             const failed = performance.getEntriesByType('resource').filter(e => e.responseStatus >= 400).map(e => \
             e.responseStatus + ' ' + e.name); \
             new ReportingObserver((reports) => failed.push(...reports.map(r => \
             r.body.effectiveDirective + ' refused ' + r.body.blockedURL)), \
             { types: ['csp-violation'], buffered: true }).observe(); \
             setTimeout(() => done(failed), 20);";
        let found = self
            .client
            .execute_async(script, Vec::new())
            .await
            .expect("the page can be asked");
        serde_json::from_value(found).expect("a list")
    }

    /// How many pixels of the page stand out of the window at its side.
    pub(crate) async fn overhang(&self) -> i64 {
        let script =
            "return document.documentElement.scrollWidth - document.documentElement.clientWidth;";
        let found = self.client.execute(script, Vec::new()).await;
        found
            .expect("the page can be asked")
            .as_i64()
            .expect("a number")
    }

    /// Presses keys, wherever the focus is.
    pub(crate) async fn press(&self, keys: &str) {
        // A dialog that closes may hide what has the focus between asking and sending.
        let mut refused = None;
        for _ in 0..20 {
            let focused = self.client.active_element().await.expect("a focus");
            match focused.send_keys(keys).await {
                Ok(()) => return,
                Err(why) => refused = Some(why),
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        panic!("keys are not taken: {refused:?}");
    }

    /// Drops files or folders on the element, as from a file manager.
    pub(crate) async fn drop_files(&self, css: &str, paths: &[PathBuf]) {
        self.find(css).await;
        let script = "const box = document.querySelector(arguments[0]); box.scrollIntoView({ block: 'center' }); \
                      const area = box.getBoundingClientRect(); \
                      return [area.left + area.width / 2, area.top + area.height / 2];";
        let place = self.client.execute(script, vec![json!(css)]).await;
        let [x, y]: [f64; 2] =
            serde_json::from_value(place.expect("the page can be asked")).expect("a place");
        let data = json!({ "items": [], "files": paths, "dragOperationsMask": 1 });
        for kind in ["dragEnter", "dragOver", "drop"] {
            let event = json!({ "type": kind, "x": x, "y": y, "data": data });
            self.devtools("Input.dispatchDragEvent", event).await;
        }
    }

    /// What was copied last.
    pub(crate) async fn clipboard(&self) -> String {
        let allowed = json!({ "permissions": ["clipboardReadWrite", "clipboardSanitizedWrite"] });
        self.devtools("Browser.grantPermissions", allowed).await;
        let script = "const done = arguments[0]; \
                      navigator.clipboard.readText().then(done, (error) => done(String(error)));";
        let copied = self.client.execute_async(script, Vec::new()).await;
        let copied = copied.expect("the page can be asked");
        plain(copied.as_str().expect("text"))
    }

    /// A command of the Chrome DevTools Protocol, for what WebDriver has no command of its own.
    async fn devtools(&self, command: &'static str, parameters: Value) -> Value {
        self.client
            .issue_cmd(DevTools {
                command,
                parameters,
            })
            .await
            .unwrap_or_else(|error| panic!("{command}: {error}"))
    }

    pub(crate) async fn close(self) {
        // The window goes with the driver, which is killed in any case.
        let _ = self.client.clone().close().await;
    }
}

/// A running chromedriver, which ends with this.
struct Driver(Child);

impl Drop for Driver {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Chromedriver's way to send a command of the Chrome DevTools Protocol.
#[derive(Debug)]
struct DevTools {
    command: &'static str,
    parameters: Value,
}

impl WebDriverCompatibleCommand for DevTools {
    fn endpoint(&self, base: &Url, session: Option<&str>) -> Result<Url, ParseError> {
        let session = session.unwrap_or_default();
        base.join(&format!("session/{session}/goog/cdp/execute"))
    }

    fn method_and_body(&self, _: &Url) -> (Method, Option<String>) {
        let body = json!({ "cmd": self.command, "params": self.parameters });
        (Method::POST, Some(body.to_string()))
    }
}

/// Starts chromedriver and reads the port on which it listens; `None` where it ends instead.
fn start_driver() -> Option<(Driver, u16)> {
    let process = Command::new("chromedriver")
        .args(["--port=0"])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("chromedriver is installed (.ci/install installs it)");
    let mut driver = Driver(process);
    let mut lines = BufReader::new(driver.0.stdout.take()?).lines();
    let port = lines.by_ref().map_while(Result::ok).find_map(|line| {
        let (_, rest) = line.split_once("started successfully on port ")?;
        rest.trim_end_matches('.').parse::<u16>().ok()
    })?;
    std::thread::spawn(move || lines.for_each(drop));
    Some((driver, port))
}

/// Whether the element was not there any more: chromedriver has words of its own for a page that goes at that moment.
fn is_gone(error: &CmdError) -> bool {
    const GOING: [&str; 2] = ["does not belong to the document", "aborted by navigation"];
    let said = error.to_string();
    error.is_stale_element_reference() || GOING.iter().any(|words| said.contains(words))
}

/// Text with the no-break spaces between numbers and units as plain ones.
fn plain(text: &str) -> String {
    text.replace(['\u{a0}', '\u{202f}'], " ")
}

fn axe() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("target/tools/node_modules/axe-core/axe.min.js")
}
