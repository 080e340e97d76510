//! Making the package: tables grow on disk, lens by lens and sweep by sweep, then go into one zip.

use std::fs::File;
use std::io::{self, BufWriter, Seek as _, Write as _};
use std::path::Path;

use sha2::{Digest as _, Sha256};
use tempfile::TempPath;
use zip::write::{SimpleFileOptions, ZipWriter};

use super::description::{description, for_people};
use super::tables::{self, TABLES};
use crate::app::App;
use crate::report::SweepDocument;
use crate::store::{LensPage, PublishedSweep};
use crate::sweep::DEFAULT_TOLERANCE_PCT;
use crate::web::WebError;
use crate::web::api::{FocalDocument, LensHead};

/// Lenses or sweeps that are read before their rows are written.
const AT_ONCE: usize = 64;

/// The zip on disk, removed with the last use of it.
#[derive(Debug)]
pub(super) struct Package {
    pub(super) file: TempPath,
    pub(super) bytes: u64,
    /// Strong tag of its bytes, in quotes.
    pub(super) tag: String,
}

/// The tables while they grow, in the order of `TABLES`.
struct Tables(Vec<csv::Writer<BufWriter<File>>>);

impl Tables {
    fn new(folder: &Path) -> io::Result<Self> {
        let mut tables = Vec::new();
        for table in &TABLES {
            let file = BufWriter::new(tempfile::tempfile_in(folder)?);
            let mut rows = csv::Writer::from_writer(file);
            rows.write_record(table.columns.iter().map(|column| column.name))?;
            tables.push(rows);
        }
        Ok(Self(tables))
    }

    /// A row of a table. # Errors: also where it has not as many cells as the table has columns.
    fn row(&mut self, table: &str, row: Vec<String>) -> io::Result<()> {
        let at = TABLES.iter().position(|known| known.name == table);
        let rows = at.and_then(|at| self.0.get_mut(at));
        let rows = rows.ok_or_else(|| io::Error::other(format!("there is no table {table}")))?;
        Ok(rows.write_record(row)?)
    }

    fn lens(&mut self, page: LensPage, site: &str) -> io::Result<()> {
        if page.is_withdrawn() {
            return Ok(());
        }
        let lens = LensHead::new(&page.lens, site);
        self.row("lenses", tables::lens_row(&lens))?;
        let results = FocalDocument::of_lens(&page.lens, page.results, DEFAULT_TOLERANCE_PCT);
        for focal in results {
            self.row("results", tables::result_row(&lens, &focal))?;
            for row in tables::curve_rows(&lens, &focal) {
                self.row("curves", row)?;
            }
        }
        Ok(())
    }

    fn sweep(&mut self, published: &PublishedSweep) -> io::Result<()> {
        let Some(result) = &published.sweep.result else {
            return Ok(());
        };
        let document = SweepDocument::new(&result.measurement, DEFAULT_TOLERANCE_PCT);
        self.row("sweeps", tables::sweep_row(published, &document))?;
        for row in tables::frame_rows(published.sweep.id, &document) {
            self.row("frames", row)?;
        }
        Ok(())
    }

    /// The zip of all tables. No time goes into it, so the same numbers give the same bytes.
    fn finish(self, folder: &Path, site: &str) -> io::Result<Package> {
        let mut files = Vec::new();
        for rows in self.0 {
            let buffer = rows
                .into_inner()
                .map_err(|error| io::Error::other(error.to_string()))?;
            files.push(
                buffer
                    .into_inner()
                    .map_err(|error| io::Error::other(error.to_string()))?,
            );
        }
        let mut sizes = Vec::new();
        for file in &mut files {
            sizes.push(file.stream_position()?);
            file.rewind()?;
        }
        let options = SimpleFileOptions::default().large_file(true);
        let mut zip = ZipWriter::new(tempfile::NamedTempFile::new_in(folder)?);
        zip.start_file("README.txt", options)?;
        zip.write_all(for_people(site).as_bytes())?;
        zip.start_file("datapackage.json", options)?;
        serde_json::to_writer_pretty(&mut zip, &description(site, &sizes))?;
        for (table, mut file) in TABLES.iter().zip(files) {
            zip.start_file(format!("{}.csv", table.name), options)?;
            io::copy(&mut file, &mut zip)?;
        }
        let mut packed = zip.finish()?;
        let bytes = packed.stream_position()?;
        packed.rewind()?;
        let mut hash = Sha256::new();
        io::copy(packed.as_file_mut(), &mut HashInto(&mut hash))?;
        Ok(Package {
            tag: format!("\"{}\"", hex::encode(&hash.finalize()[..12])),
            file: packed.into_temp_path(),
            bytes,
        })
    }
}

/// A hash as something to write into.
struct HashInto<'a>(&'a mut Sha256);

impl io::Write for HashInto<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.update(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Makes the package of what is public. What is published meanwhile may be in it or not; the caller looks at the mark.
pub(super) async fn build(app: &App) -> Result<Package, WebError> {
    let site = app.config.public_url();
    let folder = app.originals.tmp().to_owned();
    let mut tables = off_thread({
        let folder = folder.clone();
        move || Tables::new(&folder)
    })
    .await?;
    for slugs in app.store.lens_slugs().await?.chunks(AT_ONCE) {
        let mut pages = Vec::new();
        for slug in slugs {
            pages.extend(app.store.lens_page(slug).await?);
        }
        let site = site.clone();
        tables = off_thread(move || {
            for page in pages {
                tables.lens(page, &site)?;
            }
            Ok(tables)
        })
        .await?;
    }
    for ids in app.store.public_sweep_ids().await?.chunks(AT_ONCE) {
        let mut sweeps = Vec::new();
        for id in ids {
            sweeps.extend(app.store.published_sweep(*id).await?);
        }
        tables = off_thread(move || {
            for sweep in &sweeps {
                tables.sweep(sweep)?;
            }
            Ok(tables)
        })
        .await?;
    }
    off_thread(move || tables.finish(&folder, &site)).await
}

async fn off_thread<T: Send + 'static>(
    work: impl FnOnce() -> io::Result<T> + Send + 'static,
) -> Result<T, WebError> {
    let done = tokio::task::spawn_blocking(work).await?;
    done.map_err(|error| match error.kind() {
        io::ErrorKind::StorageFull
        | io::ErrorKind::QuotaExceeded
        | io::ErrorKind::ReadOnlyFilesystem => {
            WebError::Unwritable("the data folder is full or can't be written".into())
        }
        _ => WebError::inside(error),
    })
}
