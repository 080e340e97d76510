//! `breathmark doctor`: checks a data folder and says what to do.

use std::path::Path;

use anyhow::Context;

use super::{Ending, say};
use crate::config::DataFolder;
use crate::intake::Originals;
use crate::report::words;
use crate::store::{JobState, Store, now_ms};

/// Less free space than this is harm to come, bytes: an evening of small JPEG files is some hundred megabytes.
const LEAST_FREE_BYTES: u64 = 1 << 30;

#[derive(Debug, clap::Args)]
pub(super) struct Doctor {
    #[command(flatten)]
    folder: DataFolder,
}

impl Doctor {
    pub(super) fn run(self) -> anyhow::Result<Ending> {
        super::serve::runtime()?.block_on(self.examine())
    }

    async fn examine(self) -> anyhow::Result<Ending> {
        let store = Store::open_as_it_is(&self.folder.existing_database()?).await?;
        let originals = Originals::at(&self.folder.data);
        let mut harm: Vec<String> = store
            .integrity_check()
            .await?
            .into_iter()
            .map(|said| format!("database: {said}; restore the newest backup"))
            .collect();
        let known = store.originals().await?;
        let kept: u64 = known.iter().map(|(_, bytes)| bytes).sum();
        let files = words::count(known.len(), "file");
        harm.extend(tokio::task::spawn_blocking(move || harm_of(&originals, &known)).await?);
        let (in_line, set_aside) = store.job_counts().await?;
        if set_aside > 0 {
            harm.push(format!(
                "{} set aside after repeated failures; open the sweep on the desk and choose “Measure again”",
                words::count(usize::try_from(set_aside)?, "job")
            ));
        }
        for job in store.stuck_jobs(now_ms()).await? {
            if job.state == JobState::Running {
                harm.push(format!(
                    "sweep {} has been measured for too long; start the server, which takes it up again",
                    job.sweep
                ));
            }
        }
        let free = free_bytes(&self.folder.data)?;
        if free < LEAST_FREE_BYTES {
            harm.push(format!(
                "only {} of disk are free; make room before the next upload",
                size(free)
            ));
        }
        say(&format!(
            "data folder   {}\nschema        {}\noriginals     {}, {}\njobs          {in_line} in line, {set_aside} set aside\nfree space    {}\n",
            self.folder.data.display(),
            store.schema_version().await?,
            files,
            size(kept),
            size(free),
        ))?;
        for line in &harm {
            say(&format!("HARM          {line}\n"))?;
        }
        if harm.is_empty() {
            say("everything is in order\n")?;
            return Ok(Ending::Done);
        }
        Ok(Ending::SomethingFailed)
    }
}

/// What is wrong with originals that should be there.
fn harm_of(originals: &Originals, known: &[(String, u64)]) -> Vec<String> {
    let harm = known.iter().filter_map(|(sha256, _)| {
        let error = originals.read(sha256).err()?;
        Some(format!(
            "original {sha256}: {error}; copy it back from a backup, or upload the sweep again"
        ))
    });
    harm.collect()
}

/// Bytes that may still be written where the data folder is.
fn free_bytes(folder: &Path) -> anyhow::Result<u64> {
    let disk = rustix::fs::statvfs(folder)
        .with_context(|| format!("the disk of {} can't be asked", folder.display()))?;
    Ok(disk.f_bavail.saturating_mul(disk.f_frsize))
}

/// A number of bytes in words.
fn size(bytes: u64) -> String {
    if bytes < 1_000_000_000 {
        format!("{:.1} MB", bytes as f64 / 1e6)
    } else {
        format!("{:.1} GB", bytes as f64 / 1e9)
    }
}
