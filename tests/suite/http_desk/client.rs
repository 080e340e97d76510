//! A plain HTTP/1.1 client: one request a connection, nothing done behind the test's back.

use std::net::SocketAddr;

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;

/// An answer, read to its end.
#[derive(Debug)]
pub(super) struct Answer {
    pub(super) status: u16,
    pub(super) headers: Vec<(String, String)>,
    pub(super) body: Vec<u8>,
}

impl Answer {
    pub(super) fn header(&self, name: &str) -> Option<&str> {
        self.headers
            .iter()
            .find(|(known, _)| known == name)
            .map(|(_, value)| value.as_str())
    }

    pub(super) fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    pub(super) fn json(&self) -> serde_json::Value {
        serde_json::from_slice(&self.body)
            .unwrap_or_else(|error| panic!("{error} in {:?}", self.text()))
    }

    /// Where a redirect leads.
    pub(super) fn location(&self) -> &str {
        self.header("location").unwrap_or_default()
    }

    /// The value of a cookie that is set.
    pub(super) fn cookie(&self) -> Option<&str> {
        self.header("set-cookie")?.split(';').next()
    }
}

/// A request to be sent.
pub(super) struct Request {
    method: String,
    path: String,
    headers: Vec<(String, String)>,
    body: Vec<u8>,
}

impl Request {
    pub(super) fn new(method: &str, path: &str) -> Self {
        Self {
            method: method.to_owned(),
            path: path.to_owned(),
            headers: Vec::new(),
            body: Vec::new(),
        }
    }

    pub(super) fn header(mut self, name: &str, value: &str) -> Self {
        self.headers.push((name.to_owned(), value.to_owned()));
        self
    }

    /// As a browser asks for a page.
    pub(super) fn page(self) -> Self {
        self.header("accept", "text/html,application/xhtml+xml")
    }

    pub(super) fn body(mut self, kind: &str, body: impl Into<Vec<u8>>) -> Self {
        self.body = body.into();
        self.header("content-type", kind)
    }

    pub(super) fn form(self, fields: &[(&str, &str)]) -> Self {
        let pairs: Vec<String> = fields
            .iter()
            .map(|(name, value)| format!("{name}={}", encode(value)))
            .collect();
        self.body("application/x-www-form-urlencoded", pairs.join("&"))
    }

    pub(super) fn json(self, document: &serde_json::Value) -> Self {
        self.body("application/json", document.to_string())
    }

    /// A form with text fields and files (input, file name, bytes).
    pub(super) fn multipart(self, fields: &[(&str, &str)], files: &[(&str, &str, &[u8])]) -> Self {
        const BOUNDARY: &str = "----tape-on-black";
        let mut body = Vec::new();
        for (name, value) in fields {
            body.extend(
                format!("--{BOUNDARY}\r\ncontent-disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n")
                    .bytes(),
            );
        }
        for (input, name, bytes) in files {
            body.extend(
                format!(
                    "--{BOUNDARY}\r\ncontent-disposition: form-data; name=\"{input}\"; filename=\"{name}\"\r\n\
                     content-type: application/octet-stream\r\n\r\n"
                )
                .bytes(),
            );
            body.extend_from_slice(bytes);
            body.extend(b"\r\n");
        }
        body.extend(format!("--{BOUNDARY}--\r\n").bytes());
        self.body(&format!("multipart/form-data; boundary={BOUNDARY}"), body)
    }

    pub(super) async fn send(self, to: SocketAddr) -> Answer {
        self.try_send(to)
            .await
            .expect("the server answers before it closes")
    }

    /// The answer, or why there was none: the server may be gone.
    pub(super) async fn try_send(self, to: SocketAddr) -> std::io::Result<Answer> {
        let has_length = self
            .headers
            .iter()
            .any(|(name, _)| name == "content-length");
        let mut head = format!("{} {} HTTP/1.1\r\nhost: {to}\r\n", self.method, self.path);
        for (name, value) in &self.headers {
            head.push_str(&format!("{name}: {value}\r\n"));
        }
        if !has_length && (!self.body.is_empty() || self.method != "GET") {
            head.push_str(&format!("content-length: {}\r\n", self.body.len()));
        }
        head.push_str("connection: close\r\n\r\n");
        let mut stream = TcpStream::connect(to).await?;
        let (mut from, mut into) = stream.split();
        let mut answer = Vec::new();
        let sending = async {
            into.write_all(head.as_bytes()).await?;
            into.write_all(&self.body).await
        };
        // The server may answer and close before all is sent; what it answered counts.
        let (_sent, read) = tokio::join!(sending, from.read_to_end(&mut answer));
        read?;
        parse(&answer).ok_or_else(|| std::io::ErrorKind::UnexpectedEof.into())
    }
}

/// The answer in the bytes; `None` where its head breaks off.
fn parse(bytes: &[u8]) -> Option<Answer> {
    let split = bytes.windows(4).position(|four| four == b"\r\n\r\n")?;
    let head = String::from_utf8_lossy(&bytes[..split]).into_owned();
    let mut lines = head.split("\r\n");
    let status = lines
        .next()
        .and_then(|line| line.split(' ').nth(1))
        .and_then(|status| status.parse().ok())
        .expect("a status line");
    let headers: Vec<(String, String)> = lines
        .filter_map(|line| line.split_once(": "))
        .map(|(name, value)| (name.to_ascii_lowercase(), value.to_owned()))
        .collect();
    let raw = &bytes[split + 4..];
    let chunked = headers
        .iter()
        .any(|(name, value)| name == "transfer-encoding" && value == "chunked");
    Some(Answer {
        status,
        body: if chunked { unchunk(raw) } else { raw.to_vec() },
        headers,
    })
}

fn unchunk(mut raw: &[u8]) -> Vec<u8> {
    let mut body = Vec::new();
    while let Some(end) = raw.windows(2).position(|two| two == b"\r\n") {
        let size = String::from_utf8_lossy(&raw[..end]);
        let size = usize::from_str_radix(size.trim(), 16).expect("a chunk size");
        if size == 0 {
            break;
        }
        body.extend_from_slice(&raw[end + 2..end + 2 + size]);
        raw = &raw[end + 2 + size + 2..];
    }
    body
}

/// A value of an urlencoded form.
fn encode(text: &str) -> String {
    text.bytes()
        .map(|byte| {
            if byte.is_ascii_alphanumeric() {
                char::from(byte).to_string()
            } else {
                format!("%{byte:02X}")
            }
        })
        .collect()
}
