//! `breathmark account add`: makes an account; there is none to begin with.

use std::io::{BufRead, IsTerminal};

use anyhow::{Context, bail};

use super::{Ending, say};
use crate::config::DataFolder;
use crate::store::{AuditEntry, Role, Store};
use crate::web::now_ms;
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

impl Account {
    pub(super) fn run(self) -> anyhow::Result<Ending> {
        let Action::Add(add) = self.action;
        let name = add.name.trim().to_owned();
        if name.is_empty() || name.chars().count() > 64 || name.chars().any(char::is_control) {
            bail!("a name has 1 to 64 characters; give another one");
        }
        let password = read_password()?;
        password::check(&password, &name)?;
        let hash = password::hash(&password)?;
        super::serve::runtime()?.block_on(async {
            let store = Store::open(&add.folder.database()?).await?;
            let id = store.add_account(&name, add.role, &hash, now_ms()).await?;
            let entry = AuditEntry {
                at_ms: now_ms(),
                account: Some(id),
                action: "account added",
                subject: name.clone(),
                detail: add.role.code().to_owned(),
                request_id: None,
            };
            store.audit(&entry).await?;
            say(&format!("{name} can sign in as {}.\n", add.role.code()))?;
            Ok(Ending::Done)
        })
    }
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
