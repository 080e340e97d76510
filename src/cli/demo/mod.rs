//! `breathmark demo`: an invented camera counter's lenses, rendered, measured like an upload, and served.

mod scenario;

use std::path::Path;
use std::time::Duration;

use anyhow::Context;

use self::scenario::{DemoLens, Scenario};
use super::serve::{Server, log_to_stderr, runtime};
use super::{Ending, complain};
use crate::app::App;
use crate::config::{Config, database_path};
use crate::simulate::SweepScript;
use crate::store::{Account, JobState, Lens, Role, Store, StoreError, SweepId, Upload, now_ms};
use crate::web::password;

/// More sweeps than the scenario has.
const MOST_SWEEPS: u32 = 1_000;

#[derive(Debug, clap::Args)]
pub(super) struct Demo {
    #[command(flatten)]
    config: Config,
}

impl Demo {
    pub(super) fn run(self) -> anyhow::Result<Ending> {
        log_to_stderr();
        runtime()?.block_on(async {
            let scenario = Scenario::quayside()?;
            refuse_folder_in_use(&self.config.folder.data, &scenario).await?;
            let server = Server::start(self.config).await?;
            let (account, password) = reviewer(&server.app, &scenario.reviewer).await?;
            complain(&format!("serving at {}", server.address));
            complain(&format!("sign in as “{}” with the password {password}", account.name));
            let app = server.app.clone();
            let filling = tokio::spawn(async move {
                let stop = app.stop.clone();
                tokio::select! {
                    () = stop.cancelled() => {}
                    filled = fill(&app, &scenario, &account) => match filled {
                        Ok(()) => complain("the demo is complete; stop with Ctrl-C"),
                        Err(error) => complain(&format!("the demo data could not be made: {error:#}")),
                    }
                }
            });
            let ending = server.until_stopped().await?;
            filling.await.context("making the demo data broke off")?;
            Ok(ending)
        })
    }
}

/// Nothing that others measured is mixed with invented lenses, and nothing of theirs is touched.
async fn refuse_folder_in_use(folder: &Path, scenario: &Scenario) -> anyhow::Result<()> {
    let database = database_path(folder);
    if !database.is_file() {
        return Ok(());
    }
    let store = match Store::open_as_it_is(&database).await {
        // Nothing is in it yet, or the server says what is wrong with it.
        Err(StoreError::Damaged(_)) => return Ok(()),
        opened => opened?,
    };
    let accounts = store.accounts().await?;
    store.close().await;
    let is_own = accounts
        .iter()
        .any(|account| account.name == scenario.reviewer);
    anyhow::ensure!(
        is_own || accounts.is_empty(),
        "the data folder is in use, and the demo would publish invented lenses there; give it an empty one with --data"
    );
    Ok(())
}

/// The demo's reviewer with a new password for this run; no account has a password that others could know.
async fn reviewer(app: &App, name: &str) -> anyhow::Result<(Account, String)> {
    let password = hex::encode(rand::random::<[u8; 6]>());
    let hash = password::hash(&password)?;
    match app.store.account_by_name(name).await? {
        Some(account) => {
            app.store.set_password(account.id, &hash, None).await?;
        }
        None => {
            app.store
                .add_account(name, Role::Operator, &hash, now_ms())
                .await?;
        }
    }
    let account = app
        .store
        .account_by_name(name)
        .await?
        .context("the demo's account is gone")?;
    Ok((account, password))
}

/// Renders and uploads what is not there yet, then publishes what is measured; interrupted, it goes on at the next start.
async fn fill(app: &App, scenario: &Scenario, account: &Account) -> anyhow::Result<()> {
    let mut to_publish = Vec::new();
    for (index, about) in scenario.lenses.iter().enumerate() {
        let lens = lens(app, about, account).await?;
        let mut sweeps_there = sweeps_of(app, &lens).await?;
        for (shoot_index, shoot) in about.shoots.iter().enumerate() {
            let count = shoot.sweeps.len();
            let sweeps = if sweeps_there.is_empty() {
                let scripts = scenario.scripts(index, shoot_index);
                let upload = app
                    .store
                    .open_upload(account.id, lens.id, &shoot.conditions(), now_ms())
                    .await?;
                let upload = app
                    .store
                    .upload(upload)
                    .await?
                    .context("the upload is gone")?;
                send(app, &upload, scripts).await?
            } else {
                sweeps_there
                    .drain(..count.min(sweeps_there.len()))
                    .collect()
            };
            anyhow::ensure!(
                sweeps.len() == count,
                "{} was sorted into {} sweeps instead of {count}",
                lens.slug,
                sweeps.len()
            );
            if shoot.publish {
                to_publish.extend(sweeps);
            }
            publish_ready(app, account, &mut to_publish).await?;
        }
    }
    while !to_publish.is_empty() {
        tokio::time::sleep(Duration::from_millis(300)).await;
        publish_ready(app, account, &mut to_publish).await?;
    }
    Ok(())
}

async fn lens(app: &App, about: &DemoLens, account: &Account) -> anyhow::Result<Lens> {
    let draft = about.draft()?;
    let known = app
        .store
        .all_lenses()
        .await?
        .into_iter()
        .find(|lens| lens.about.maker == draft.maker && lens.about.model == draft.model);
    match known {
        Some(lens) => Ok(lens),
        None => Ok(app
            .store
            .add_lens(&draft, Some(account.id), now_ms())
            .await?),
    }
}

/// The sweeps of a lens, in the order they were made.
async fn sweeps_of(app: &App, lens: &Lens) -> anyhow::Result<Vec<SweepId>> {
    let name = lens.about.name();
    let rows = app.store.desk(None, MOST_SWEEPS).await?;
    let mut sweeps: Vec<SweepId> = rows
        .into_iter()
        .filter(|row| row.lens == name)
        .map(|row| row.id)
        .collect();
    sweeps.sort_unstable();
    Ok(sweeps)
}

/// Renders the frames of a shoot and sends each like an upload does, one after the other.
async fn send(
    app: &App,
    upload: &Upload,
    scripts: Vec<SweepScript>,
) -> anyhow::Result<Vec<SweepId>> {
    let frames = scripts
        .iter()
        .flat_map(|script| (0..script.frames).map(move |frame| (script, frame)));
    for (script, frame) in frames {
        let rendering = script.clone();
        let bytes = tokio::task::spawn_blocking(move || rendering.jpeg(frame)).await??;
        let path = script.file_name(frame);
        app.receive_file(upload.id, &path, bytes, now_ms()).await?;
    }
    Ok(app.finish_upload(upload, now_ms()).await?)
}

/// Publishes those sweeps that are measured and not public yet; what can't be published stays on the desk.
async fn publish_ready(
    app: &App,
    account: &Account,
    sweeps: &mut Vec<SweepId>,
) -> anyhow::Result<()> {
    let mut waiting = Vec::new();
    for id in sweeps.drain(..) {
        let sweep = app.store.sweep(id).await?.context("a sweep is gone")?;
        let public = sweep
            .publications
            .iter()
            .any(|publication| publication.withdrawn.is_none());
        match &sweep.result {
            None if sweep
                .job
                .as_ref()
                .is_some_and(|job| job.state == JobState::SetAside) => {}
            None => waiting.push(id),
            Some(result) => {
                if !public && !result.measurement.is_stopped() {
                    app.store.publish(id, account.id, now_ms()).await?;
                }
            }
        }
    }
    *sweeps = waiting;
    Ok(())
}
