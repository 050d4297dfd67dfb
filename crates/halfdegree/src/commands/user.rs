//! `halfdegree user`: who may sign in, and as what. Works beside a running service, which notices at once.

use std::fs::File;
use std::io::{BufRead, BufReader, IsTerminal, Read, Write};
use std::process::{Command, ExitCode, Stdio};

use anyhow::{Context, bail};
use model::Timestamp;
use records::{Actor, By, Password, Pin, Records};
use service::DataFolder;

use crate::args::{SecretArgs, UserArgs, UserCommand};

/// A secret is one line; this is more than any that is taken.
const LONGEST_LINE: u64 = 4 * 1024;

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
            println!("{} may sign in as {role}.", whose.name);
        }
        UserCommand::List { data } => list(&there(data)?)?,
        UserCommand::Disable { whose } => {
            there(&whose.data)?.enable_user(&by, &whose.name, false)?;
            println!("{} may not sign in any more, and is signed out everywhere.", whose.name);
        }
        UserCommand::Enable { whose } => {
            there(&whose.data)?.enable_user(&by, &whose.name, true)?;
            println!("{} may sign in again.", whose.name);
        }
        UserCommand::Role { whose, role } => {
            there(&whose.data)?.set_role(&by, &whose.name, *role)?;
            println!("{} is {role} from now on.", whose.name);
        }
        UserCommand::Password { whose, password } => {
            let password = password_of(password)?;
            there(&whose.data)?.set_password(&by, &whose.name, &password)?;
            println!("{} has another password, and is signed out everywhere.", whose.name);
        }
        UserCommand::Pin { whose, remove: true, pin: _ } => {
            there(&whose.data)?.set_pin(&by, &whose.name, None)?;
            println!("{} has no PIN any more.", whose.name);
        }
        UserCommand::Pin { whose, remove: false, pin } => {
            let pin = Pin::new(&secret("PIN", pin)?)?;
            there(&whose.data)?.set_pin(&by, &whose.name, Some(&pin))?;
            println!("{} has another PIN.", whose.name);
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn password_of(from: &SecretArgs) -> anyhow::Result<Password> {
    Ok(Password::new(&secret("Password", from)?)?)
}

fn list(records: &Records) -> anyhow::Result<()> {
    let users = records.users()?;
    let width = users.iter().map(|user| user.name.as_str().len()).max().unwrap_or(0);
    for user in users {
        let state = if user.is_enabled { "may sign in" } else { "shut out" };
        let pin = if user.has_pin { ", has a PIN" } else { "" };
        println!("{:width$}  {:8}  {state}{pin}, since {}", user.name, user.role, user.added);
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
    eprint!("{what}: ");
    std::io::stderr().flush()?;
    let _shown_again = Unseen::begin()?;
    let line = first_line(what, std::io::stdin().lock());
    eprintln!();
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
