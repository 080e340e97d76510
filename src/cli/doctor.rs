//! `breathmark doctor`: checks a data folder and says what to do.

use super::{Ending, say};
use crate::config::DataFolder;
use crate::intake::Originals;
use crate::report::words;
use crate::store::Store;

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
        let store = Store::open(&self.folder.existing_database()?).await?;
        let originals = Originals::at(&self.folder.data);
        let mut harm: Vec<String> = store
            .integrity_check()
            .await?
            .into_iter()
            .map(|said| format!("database: {said}; restore the newest backup"))
            .collect();
        let known = store.originals().await?;
        for (sha256, _) in &known {
            if let Err(error) = originals.read(sha256) {
                harm.push(format!(
                    "original {sha256}: {error}; copy it back from a backup, or upload the sweep again"
                ));
            }
        }
        let (in_line, set_aside) = store.job_counts().await?;
        if set_aside > 0 {
            harm.push(format!(
                "{} set aside after repeated failures; open the sweep on the desk and choose “Measure again”",
                words::count(usize::try_from(set_aside)?, "job")
            ));
        }
        say(&format!(
            "database      {}\noriginals     {} kept\njobs          {in_line} in line, {set_aside} set aside\n",
            self.folder.data.display(),
            words::count(known.len(), "file"),
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
