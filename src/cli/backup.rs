//! `breathmark backup`: a consistent copy of database and originals in one file, while the server runs.

use std::path::PathBuf;

use indicatif::{ProgressBar, ProgressStyle};

use super::{Ending, say};
use crate::backup;
use crate::config::DataFolder;
use crate::intake::Originals;
use crate::report::words;
use crate::store::{Store, now_ms};

#[derive(Debug, clap::Args)]
pub(super) struct Backup {
    /// File to write; it must not be there yet
    file: PathBuf,
    #[command(flatten)]
    folder: DataFolder,
}

impl Backup {
    pub(super) fn run(self) -> anyhow::Result<Ending> {
        super::serve::runtime()?.block_on(async {
            let store = Store::open_as_it_is(&self.folder.existing_database()?).await?;
            let originals = Originals::at(&self.folder.data);
            let made = backup::write(&store, &originals, &self.file, now_ms(), shown_progress()).await?;
            say(&format!(
                "{} holds the database and {}; it was read back and is whole. Keep it where nobody else can read it.\n",
                self.file.display(),
                words::count(made.originals, "original"),
            ))?;
            Ok(Ending::Done)
        })
    }
}

/// A bar on the terminal; nothing where standard error is none.
pub(super) fn shown_progress() -> impl FnMut(usize, usize) + Send + 'static {
    let bar = ProgressBar::new(0).with_style(
        ProgressStyle::with_template("{bar:30} {pos} of {len} files, {eta} left")
            .unwrap_or_else(|_| ProgressStyle::default_bar()),
    );
    move |done, all| {
        bar.set_length(all as u64);
        bar.set_position(done as u64);
        if done == all {
            bar.finish_and_clear();
        }
    }
}
