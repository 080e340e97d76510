//! `breathmark account`: makes accounts (there is none to begin with) and gives new passwords.

use std::io::{BufRead, IsTerminal};

use anyhow::{Context, bail};

use super::{Ending, say};
use crate::config::DataFolder;
use crate::store::{AccountId, AuditEntry, Role, Store, now_ms};
use crate::web::password;

#[derive(Debug, clap::Args)]
pub(super) struct Account {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Make an account; the password is asked for, or read from standard input where that is no terminal
    Add(Add),
    /// Give an account a new password, asked for in the same way; all its sessions end
    Password(Password),
}

#[derive(Debug, clap::Args)]
struct Add {
    /// Name to sign in with, shown as the reviewer beside published results
    name: String,
    /// reviewer (own sweeps) or operator (all sweeps and accounts)
    #[arg(long, value_parser = role)]
    role: Role,
    #[command(flatten)]
    folder: DataFolder,
}

#[derive(Debug, clap::Args)]
struct Password {
    /// Name of the account
    name: String,
    #[command(flatten)]
    folder: DataFolder,
}

impl Account {
    pub(super) fn run(self) -> anyhow::Result<Ending> {
        let runtime = super::serve::runtime()?;
        match self.action {
            Action::Add(add) => runtime.block_on(add.run()),
            Action::Password(password) => runtime.block_on(password.run()),
        }
    }
}

impl Add {
    async fn run(self) -> anyhow::Result<Ending> {
        let name = self.name.trim().to_owned();
        if name.is_empty() || name.chars().count() > 64 || name.chars().any(char::is_control) {
            bail!("a name has 1 to 64 characters; give another one");
        }
        let hash = new_hash(&name)?;
        let store = Store::open_beside(&self.folder.database()?).await?;
        let id = store.add_account(&name, self.role, &hash, now_ms()).await?;
        note(&store, id, "account added", &name, self.role.code()).await?;
        say(&format!("{name} can sign in as {}.\n", self.role.code()))?;
        Ok(Ending::Done)
    }
}

impl Password {
    async fn run(self) -> anyhow::Result<Ending> {
        let store = Store::open_beside(&self.folder.existing_database()?).await?;
        let account = store.account_by_name(&self.name).await?;
        let account = account.with_context(|| {
            format!(
                "there is no account “{}”; make it with `breathmark account add`",
                self.name
            )
        })?;
        let hash = new_hash(&account.name)?;
        store.set_password(account.id, &hash, None).await?;
        note(&store, account.id, "password changed", &account.name, "").await?;
        say(&format!(
            "{} has a new password; all their sessions have ended.\n",
            account.name
        ))?;
        Ok(Ending::Done)
    }
}

/// The hash of a password that is asked for and fits the account's name.
fn new_hash(name: &str) -> anyhow::Result<String> {
    let chosen = read_password()?;
    password::check(&chosen, name)?;
    Ok(password::hash(&chosen)?)
}

async fn note(
    store: &Store,
    account: AccountId,
    action: &'static str,
    subject: &str,
    detail: &str,
) -> anyhow::Result<()> {
    let entry = AuditEntry {
        at_ms: now_ms(),
        account: Some(account),
        action,
        subject: subject.to_owned(),
        detail: detail.to_owned(),
        request_id: None,
    };
    Ok(store.audit(&entry).await?)
}

fn role(text: &str) -> Result<Role, String> {
    match text {
        "reviewer" => Ok(Role::Reviewer),
        "operator" => Ok(Role::Operator),
        other => Err(format!("the role is reviewer or operator, not {other}")),
    }
}

fn read_password() -> anyhow::Result<String> {
    if std::io::stdin().is_terminal() {
        let password = rpassword::prompt_password("Password (8 to 128 characters): ")
            .context("the password could not be read")?;
        let again =
            rpassword::prompt_password("Once more: ").context("the password could not be read")?;
        anyhow::ensure!(
            password == again,
            "the two passwords differ; run the command again"
        );
        return Ok(password);
    }
    let mut line = String::new();
    std::io::stdin()
        .lock()
        .read_line(&mut line)
        .context("no password on standard input")?;
    Ok(line.trim_end_matches(['\r', '\n']).to_owned())
}
