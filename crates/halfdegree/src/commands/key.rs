//! `halfdegree key`: keys with which programs get in. Works beside a running service, which notices at once.

use std::path::Path;
use std::process::ExitCode;

use anyhow::bail;
use model::Timestamp;
use records::{Actor, By, LONGEST_KEY_NAME, Records};
use service::DataFolder;

use crate::args::{KeyArgs, KeyCommand};
use crate::say::{note, say};

pub(crate) fn run(args: &KeyArgs) -> anyhow::Result<ExitCode> {
    let by = By::new(Actor::CommandLine, Timestamp::from(jiff::Timestamp::now()));
    match &args.command {
        KeyCommand::Add { whose, called } => {
            let called = called.trim();
            if called.is_empty() || LONGEST_KEY_NAME < called.chars().count() {
                bail!("say what the key is for in 1 to {LONGEST_KEY_NAME} characters");
            }
            let key = open(&whose.data)?.make_token(&by, &whose.name, called)?;
            note!(
                "A key of {} for `{called}`, shown this once. Keep it where only the program can read it.",
                whose.name
            );
            say!("{}", key.as_str());
        }
        KeyCommand::List { data } => list(&open(data)?)?,
        KeyCommand::Withdraw { whose, called } => {
            if !open(&whose.data)?.withdraw_token(&by, &whose.name, called.trim())? {
                bail!("{} has no key `{}`; `halfdegree key list` shows all", whose.name, called.trim());
            }
            say!("Nothing gets in with the key `{}` of {} any more.", called.trim(), whose.name);
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn open(data: &Path) -> anyhow::Result<Records> {
    if !data.is_dir() {
        bail!("there is no data folder {}", data.display());
    }
    Ok(DataFolder::new(data).open_or_make_records()?)
}

fn list(records: &Records) -> anyhow::Result<()> {
    let users = records.users()?;
    let width = users.iter().map(|user| user.name.as_str().len()).max().unwrap_or(0);
    for user in users {
        let state = if user.is_enabled { "" } else { "  opens nothing while its owner is shut out" };
        for key in records.tokens_of(&user.name)? {
            say!(
                "{:width$}  {:8}  made {}  {}{state}",
                user.name,
                user.role,
                key.made.floor(super::user::SECOND),
                key.name
            );
        }
    }
    Ok(())
}
