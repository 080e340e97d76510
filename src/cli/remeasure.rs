//! `breathmark remeasure`: queues sweeps whose results came from an older algorithm; the server measures them.

use super::{Ending, say};
use crate::config::DataFolder;
use crate::report::words;
use crate::store::{Store, SweepId};
use crate::sweep::ALGORITHM_VERSION;

#[derive(Debug, clap::Args)]
pub(super) struct Remeasure {
    #[command(flatten)]
    folder: DataFolder,
    /// This sweep, whatever made its result
    #[arg(long, value_name = "ID")]
    sweep: Option<SweepId>,
    /// Every sweep whose result came from an older algorithm (as without any option)
    #[arg(long, conflicts_with = "sweep")]
    all: bool,
}

impl Remeasure {
    pub(super) fn run(self) -> anyhow::Result<Ending> {
        super::serve::runtime()?.block_on(self.queue())
    }

    async fn queue(self) -> anyhow::Result<Ending> {
        let store = Store::open_beside(&self.folder.existing_database()?).await?;
        let now_ms = crate::store::now_ms();
        let sweeps = match self.sweep {
            Some(sweep) => {
                anyhow::ensure!(
                    store.lens_of_sweep(sweep).await?.is_some(),
                    "there is no sweep {sweep}; see the desk for the numbers of sweeps"
                );
                vec![sweep]
            }
            None => store.outdated_sweeps(ALGORITHM_VERSION).await?,
        };
        for sweep in &sweeps {
            store.queue_measurement(*sweep, now_ms).await?;
        }
        say(&format!(
            "{} queued; the server measures them.\n",
            words::count(sweeps.len(), "sweep")
        ))?;
        Ok(Ending::Done)
    }
}
