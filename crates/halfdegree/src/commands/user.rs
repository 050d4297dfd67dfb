//! `halfdegree user`: who may sign in, and as what. Works beside a running service, which notices at once.

use std::fs::File;
use std::io::{BufRead, BufReader, IsTerminal, Read};
use std::process::{Command, ExitCode, Stdio};

use anyhow::{Context, bail};
use model::{Span, Timestamp};
use records::{Actor, By, Password, Pin, Records, UserName};
use service::DataFolder;

use crate::args::{SecretArgs, UserArgs, UserCommand};
use crate::say::{aside, note, say};

/// A secret is one line; this is more than any that is taken.
const LONGEST_LINE: u64 = 4 * 1024;
/// Times in a list.
pub(super) const SECOND: Span = Span::from_secs(1);

pub(crate) fn run(args: &UserArgs) -> anyhow::Result<ExitCode> {
    let open = |data: &std::path::Path| DataFolder::new(data).open_or_make_records();
    let there = |data: &std::path::Path| -> anyhow::Result<Records> {
        if !data.is_dir() {
            bail!("there is no data folder {}", data.display());
        }
        Ok(open(data)?)
    };
    let by = By::new(Actor::CommandLine, Timestamp::from(jiff::Timestamp::now()));
    match &args.command {
        UserCommand::Add { whose, role, password } => {
            let password = password_of(password)?;
            open(&whose.data)?.add_user(&by, &whose.name, *role, &password)?;
            say!("{} may sign in as {role}.", whose.name);
        }
        UserCommand::List { data } => list(&there(data)?)?,
        UserCommand::Disable { whose } => {
            there(&whose.data)?.enable_user(&by, &whose.name, false)?;
            say!("{} may not sign in any more, and is signed out everywhere.", whose.name);
        }
        UserCommand::Enable { whose } => {
            let records = there(&whose.data)?;
            let could = records.user(&whose.name)?.is_some_and(|user| user.is_enabled);
            records.enable_user(&by, &whose.name, true)?;
            say!("{} may sign in{}.", whose.name, if could { " already" } else { " again" });
        }
        UserCommand::Role { whose, role } => {
            let records = there(&whose.data)?;
            let before = records.user(&whose.name)?.map(|user| user.role);
            records.set_role(&by, &whose.name, *role)?;
            match before {
                Some(before) if before != *role => {
                    say!("The role of {} was {before} and is {role} from now on.", whose.name);
                }
                Some(_) | None => say!("The role of {} is {role} already.", whose.name),
            }
        }
        UserCommand::Password { whose, password } => {
            let password = password_of(password)?;
            there(&whose.data)?.set_password(&by, &whose.name, &password)?;
            say!("{} has a new password, and is signed out everywhere.", whose.name);
        }
        UserCommand::Pin { whose, remove: true, pin: _ } => {
            let records = there(&whose.data)?;
            let had = has_pin(&records, &whose.name)?;
            records.set_pin(&by, &whose.name, None)?;
            say!("{} {}.", whose.name, if had { "has no PIN any more" } else { "had no PIN" });
        }
        UserCommand::Pin { whose, remove: false, pin } => {
            let pin = Pin::new(&secret("PIN", pin)?)?;
            let records = there(&whose.data)?;
            let had = has_pin(&records, &whose.name)?;
            records.set_pin(&by, &whose.name, Some(&pin))?;
            let now = if had { "a new PIN, and the old one is good no more" } else { "a PIN" };
            say!("{} has {now}. It takes over a device on which somebody has signed in.", whose.name);
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn password_of(from: &SecretArgs) -> anyhow::Result<Password> {
    Ok(Password::new(&secret("Password", from)?)?)
}

fn has_pin(records: &Records, name: &UserName) -> anyhow::Result<bool> {
    Ok(records.user(name)?.is_some_and(|user| user.has_pin))
}

fn list(records: &Records) -> anyhow::Result<()> {
    let users = records.users()?;
    let width = users.iter().map(|user| user.name.as_str().len()).max().unwrap_or(0);
    for user in users {
        let state = if user.is_enabled { "may sign in" } else { "is shut out" };
        let pin = if user.has_pin { ", has a PIN" } else { "" };
        say!("{:width$}  {:8}  added {}  {state}{pin}", user.name, user.role, user.added.floor(SECOND));
    }
    Ok(())
}

/// A secret from a file, a terminal or standard input.
fn secret(what: &str, from: &SecretArgs) -> anyhow::Result<String> {
    if let Some(path) = &from.from_file {
        let file = File::open(path).with_context(|| format!("cannot read {}", path.display()))?;
        return first_line(what, file);
    }
    let stdin = std::io::stdin();
    if !stdin.is_terminal() {
        return first_line(what, stdin.lock());
    }
    let typed = unseen(what)?;
    if unseen(&format!("{what} once more"))? != typed {
        bail!("those were not the same; nothing has been changed");
    }
    Ok(typed)
}

fn first_line(what: &str, from: impl Read) -> anyhow::Result<String> {
    let mut line = String::new();
    BufReader::new(from.take(LONGEST_LINE))
        .read_line(&mut line)
        .with_context(|| format!("the {} cannot be read", what.to_lowercase()))?;
    let line = line.trim_end_matches(['\r', '\n']);
    if line.is_empty() {
        bail!("there is no {} in the first line", what.to_lowercase());
    }
    Ok(line.to_owned())
}

/// Asks at the terminal, which shows nothing meanwhile.
fn unseen(what: &str) -> anyhow::Result<String> {
    aside(format_args!("{what}: "));
    let _shown_again = Unseen::begin()?;
    let line = first_line(what, std::io::stdin().lock());
    note!("");
    line
}

/// The terminal shows nothing of what is typed, until this is dropped.
struct Unseen;

impl Unseen {
    fn begin() -> anyhow::Result<Unseen> {
        if !stty("-echo") {
            bail!("the terminal cannot be told to show nothing; give the secret with --from-file");
        }
        Ok(Unseen)
    }
}

impl Drop for Unseen {
    fn drop(&mut self) {
        stty("echo");
    }
}

fn stty(how: &str) -> bool {
    let told = Command::new("stty").arg(how).stdin(Stdio::inherit()).stderr(Stdio::null()).status();
    told.is_ok_and(|status| status.success())
}
