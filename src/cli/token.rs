//! `breathmark token add`: makes a token for scripts; it is shown once, on standard output.

use anyhow::Context;

use super::{Ending, complain, say};
use crate::config::DataFolder;
use crate::store::{AuditEntry, Store, TokenDraft, TokenScope, now_ms};
use crate::web::secret;

#[derive(Debug, clap::Args)]
pub(super) struct Token {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Make a token; it is printed once and kept only as a hash
    Add(Add),
}

#[derive(Debug, clap::Args)]
struct Add {
    /// Name that tells what the token is for
    name: String,
    /// Account on whose behalf it works
    #[arg(long, value_name = "NAME")]
    account: String,
    /// drafts (uploads and changes) or publish (also publishes and withdraws)
    #[arg(long, value_parser = scope, default_value = "drafts", value_name = "SCOPE")]
    scope: TokenScope,
    /// Days after which it ends
    #[arg(long, default_value_t = 90, value_name = "DAYS", value_parser = clap::value_parser!(u32).range(1..=365))]
    days: u32,
    #[command(flatten)]
    folder: DataFolder,
}

impl Token {
    pub(super) fn run(self) -> anyhow::Result<Ending> {
        let Action::Add(add) = self.action;
        super::serve::runtime()?.block_on(add.run())
    }
}

impl Add {
    async fn run(self) -> anyhow::Result<Ending> {
        let store = Store::open_beside(&self.folder.existing_database()?).await?;
        let account = store.account_by_name(&self.account).await?;
        let account = account.with_context(|| {
            format!(
                "there is no account “{}”; make it with `breathmark account add`",
                self.account
            )
        })?;
        let name = self.name.trim().to_owned();
        anyhow::ensure!(
            !name.chars().any(char::is_control),
            "a name has no control characters; give another one"
        );
        let now = now_ms();
        let draft = TokenDraft::lasting(account.id, name, self.scope, f64::from(self.days), now);
        let token = secret::new().context("the system gave no random bytes")?;
        store
            .add_token(&draft, &secret::digest(&token), now)
            .await?;
        let entry = AuditEntry {
            at_ms: now,
            account: Some(account.id),
            action: "token made",
            subject: draft.name,
            detail: self.scope.code().to_owned(),
            request_id: None,
        };
        store.audit(&entry).await?;
        complain(&format!(
            "keep this token, it is not shown again; it works for {} days on behalf of {}",
            self.days, account.name
        ));
        say(&format!("{token}\n"))?;
        Ok(Ending::Done)
    }
}

fn scope(text: &str) -> Result<TokenScope, String> {
    TokenScope::from_code(text).ok_or_else(|| format!("the scope is drafts or publish, not {text}"))
}
