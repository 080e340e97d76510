//! An archive that is sent while it is made: entries go into a zip, the zip through a short queue to the client.

use std::io::{self, Write};
use std::time::Duration;

use axum::body::{Body, Bytes};
use tokio::runtime::Handle;
use tokio::sync::OwnedSemaphorePermit;
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use zip::CompressionMethod;
use zip::write::{SimpleFileOptions, ZipWriter};

use crate::charts::ShiftChart;
use crate::intake::Originals;
use crate::web::pages::Drawing;

/// Bytes of one piece on its way to the client.
const PIECE_BYTES: usize = 64 << 10;
/// Pieces that may wait for a slow client.
const PIECES_WAITING: usize = 8;
/// How long a client may take nothing before it is given up.
const PATIENCE: Duration = Duration::from_secs(60);

/// A file of the archive.
#[derive(Debug)]
pub(super) struct Entry {
    name: String,
    content: Content,
}

#[derive(Debug)]
enum Content {
    /// Bytes made for it.
    Made(Bytes),
    /// A chart that is drawn when its turn comes.
    Chart(Box<ShiftChart>, Drawing),
    /// An original by its hash.
    Original(String),
}

impl Entry {
    /// A file with these bytes.
    pub(super) fn made(name: impl Into<String>, bytes: Bytes) -> Self {
        Self {
            name: name.into(),
            content: Content::Made(bytes),
        }
    }
}

/// A file with this chart; drawing the largest takes longer than a browser should wait for the first byte.
pub(super) fn chart(name: String, chart: ShiftChart, drawing: Drawing) -> Entry {
    Entry {
        name,
        content: Content::Chart(Box::new(chart), drawing),
    }
}

/// The files of a sweep (name and hash) as they came, numbered so that no two names are the same.
pub(super) fn originals(files: &[(String, String)]) -> Vec<Entry> {
    files
        .iter()
        .enumerate()
        .map(|(index, (file, sha256))| Entry {
            name: format!("originals/{:03}-{}", index + 1, safe_name(file)),
            content: Content::Original(sha256.clone()),
        })
        .collect()
}

/// A file name of letters, digits, dots and dashes only: no client and no archive takes it for a path.
pub(super) fn safe_name(file: &str) -> String {
    file.chars()
        .map(|c| {
            if c.is_ascii_alphanumeric() || "-_.".contains(c) {
                c
            } else {
                '_'
            }
        })
        .collect()
}

/// The archive of these entries as a body. When a file can't be read the body breaks off, so that nobody takes a part for
/// the whole. `place` is held until the end.
pub(super) fn stream(
    entries: Vec<Entry>,
    originals: Originals,
    place: OwnedSemaphorePermit,
) -> Body {
    let (pieces, taken) = mpsc::channel(PIECES_WAITING);
    let runtime = Handle::current();
    tokio::task::spawn_blocking(move || {
        let pipe = Pipe {
            pieces: pieces.clone(),
            waiting: Vec::with_capacity(PIECE_BYTES),
            runtime: runtime.clone(),
        };
        if let Err(error) = write(entries, &originals, pipe) {
            tracing::warn!(%error, "an archive broke off");
            // The client may be gone; then there is nobody to tell.
            let _ = runtime.block_on(pieces.send_timeout(Err(error), PATIENCE));
        }
        drop(place);
    });
    Body::from_stream(ReceiverStream::new(taken))
}

fn write(entries: Vec<Entry>, originals: &Originals, pipe: Pipe) -> io::Result<()> {
    let mut zip = ZipWriter::new_stream(pipe);
    for entry in entries {
        let (bytes, method) = match entry.content {
            Content::Made(bytes) => (bytes, CompressionMethod::Deflated),
            Content::Chart(chart, Drawing::Svg) => {
                let drawn = chart.svg().map_err(io::Error::other)?;
                (drawn.into(), CompressionMethod::Deflated)
            }
            Content::Chart(chart, Drawing::Png) => {
                let drawn = chart.png().map_err(io::Error::other)?;
                (drawn.into(), CompressionMethod::Stored)
            }
            Content::Original(sha256) => {
                let bytes = originals.read(&sha256).map_err(io::Error::other)?;
                (bytes.into(), CompressionMethod::Stored)
            }
        };
        let options = SimpleFileOptions::default().compression_method(method);
        zip.start_file(entry.name, options)
            .map_err(io::Error::other)?;
        zip.write_all(&bytes)?;
    }
    let mut pipe = zip.finish().map_err(io::Error::other)?.into_inner();
    pipe.flush()
}

/// Where the zip is written to: pieces for the client.
struct Pipe {
    pieces: mpsc::Sender<io::Result<Bytes>>,
    waiting: Vec<u8>,
    runtime: Handle,
}

impl Pipe {
    fn send(&mut self) -> io::Result<()> {
        let piece = std::mem::replace(&mut self.waiting, Vec::with_capacity(PIECE_BYTES));
        let sending = self.pieces.send_timeout(Ok(piece.into()), PATIENCE);
        self.runtime
            .block_on(sending)
            .map_err(|_| io::Error::new(io::ErrorKind::BrokenPipe, "the client takes no more"))
    }
}

impl Write for Pipe {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let room = PIECE_BYTES - self.waiting.len();
        let taken = bytes.len().min(room);
        self.waiting.extend_from_slice(&bytes[..taken]);
        if self.waiting.len() == PIECE_BYTES {
            self.send()?;
        }
        Ok(taken)
    }

    fn flush(&mut self) -> io::Result<()> {
        if self.waiting.is_empty() {
            Ok(())
        } else {
            self.send()
        }
    }
}
