//! `breathmark restore`: makes a data folder from a backup.

use std::path::PathBuf;

use super::{Ending, say};
use crate::backup;
use crate::config::DataFolder;
use crate::report::words;
use crate::store::now_ms;

#[derive(Debug, clap::Args)]
pub(super) struct Restore {
    /// Backup to read
    file: PathBuf,
    #[command(flatten)]
    folder: DataFolder,
}

impl Restore {
    pub(super) fn run(self) -> anyhow::Result<Ending> {
        super::serve::runtime()?.block_on(async {
            let progress = super::backup::shown_progress();
            let data = &self.folder.data;
            let made = backup::restore(&self.file, data, now_ms(), progress).await?;
            say(&format!(
                "{} holds the state of {}, with {}; every file was checked. Start it with `breathmark serve --data {}`.\n",
                data.display(),
                words::moment(made.made_ms),
                words::count(made.originals, "original"),
                data.display(),
            ))?;
            Ok(Ending::Done)
        })
    }
}
