//! What may be typed about users, keys and the audit trail.

use std::path::PathBuf;

use clap::{Args as ClapArgs, Subcommand};
use records::{Known, Role, UserName};

use super::AnalysisFormat;

#[derive(Debug, ClapArgs)]
#[command(
    after_help = "Examples:\n  halfdegree user add --data data ana --role worker\n  halfdegree user add --data data rui --role quality --from-file password.txt\n  halfdegree user role --data data ana --role engineer\n  halfdegree user pin --data data ana\n  halfdegree user list --data data"
)]
pub(crate) struct UserArgs {
    #[command(subcommand)]
    pub(crate) command: UserCommand,
}

#[derive(Debug, Subcommand)]
pub(crate) enum UserCommand {
    /// Add somebody.
    Add {
        #[command(flatten)]
        whose: Whose,
        /// viewer, worker, engineer or quality.
        #[arg(long)]
        role: Role,
        #[command(flatten)]
        password: SecretArgs,
    },
    /// List everybody.
    List {
        /// The data folder of a service, which may be running.
        #[arg(long)]
        data: PathBuf,
    },
    /// Shut somebody out, at once and everywhere.
    Disable {
        #[command(flatten)]
        whose: Whose,
    },
    /// Let somebody in again.
    Enable {
        #[command(flatten)]
        whose: Whose,
    },
    /// Give somebody another role.
    Role {
        #[command(flatten)]
        whose: Whose,
        /// viewer, worker, engineer or quality.
        #[arg(long)]
        role: Role,
    },
    /// Give somebody another password, and sign them out everywhere.
    Password {
        #[command(flatten)]
        whose: Whose,
        #[command(flatten)]
        password: SecretArgs,
    },
    /// Give somebody a PIN, with which they take over a device that is signed in.
    Pin {
        #[command(flatten)]
        whose: Whose,
        /// Take it away instead.
        #[arg(long)]
        remove: bool,
        #[command(flatten)]
        pin: SecretArgs,
    },
}

/// Of whom, and in which data folder.
#[derive(Debug, ClapArgs)]
pub(crate) struct Whose {
    /// The data folder of a service, which may be running; `user add` makes one where there is none.
    #[arg(long)]
    pub(crate) data: PathBuf,
    /// The user's name.
    pub(crate) name: UserName,
}

/// Where a secret comes from. Never from an argument: those stand in the list of processes and in the shell's history.
#[derive(Debug, ClapArgs)]
pub(crate) struct SecretArgs {
    /// A file whose first line is the password or PIN. Without a file it is asked for at a terminal, and read from standard input elsewhere.
    #[arg(long, value_name = "FILE")]
    pub(crate) from_file: Option<PathBuf>,
}

#[derive(Debug, ClapArgs)]
#[command(
    after_help = "Examples:\n  halfdegree key add --data data ana 'mould scale' > key.txt\n  halfdegree key list --data data\n  halfdegree key withdraw --data data ana 'mould scale'"
)]
pub(crate) struct KeyArgs {
    #[command(subcommand)]
    pub(crate) command: KeyCommand,
}

#[derive(Debug, Subcommand)]
pub(crate) enum KeyCommand {
    /// Make a key for a program, and print it: it is shown this once.
    Add {
        #[command(flatten)]
        whose: Whose,
        /// What it is for, in a word or two.
        called: String,
    },
    /// List the keys of everybody, without the keys themselves.
    List {
        /// The data folder of a service, which may be running.
        #[arg(long)]
        data: PathBuf,
    },
    /// Withdraw a key: nothing gets in with it any more.
    Withdraw {
        #[command(flatten)]
        whose: Whose,
        /// What it was made for.
        called: String,
    },
}

#[derive(Debug, ClapArgs)]
#[command(
    after_help = "Examples:\n  halfdegree audit verify --data data\n  halfdegree audit list --data data --about batch:alder-2026-03-01T17:02\n  halfdegree audit list --data data --limit 500 --format json"
)]
pub(crate) struct AuditArgs {
    #[command(subcommand)]
    pub(crate) command: AuditCommand,
}

#[derive(Debug, Subcommand)]
pub(crate) enum AuditCommand {
    /// Work out every digest again: exit 0 if nobody changed anything, 1 if somebody did.
    Verify {
        /// The data folder of a service, which may be running, or a backup.
        #[arg(long)]
        data: PathBuf,
        /// The number and digest of an entry that you wrote down earlier, as this command printed them: 412:5f0c…
        #[arg(long, value_name = "NUMBER:SHA-256", value_parser = known)]
        known: Option<Known>,
    },
    /// Print entries, the newest first.
    List {
        /// The data folder of a service, which may be running, or a backup.
        #[arg(long)]
        data: PathBuf,
        /// At most so many.
        #[arg(long, default_value_t = 100)]
        limit: usize,
        /// Only those older than this number.
        #[arg(long, value_name = "NUMBER")]
        behind: Option<u64>,
        /// Only those about this, such as user:ana, machine:alder, batch:alder-2026-03-01T17:02 or week:2026-W48.
        #[arg(long, value_name = "KIND:ID", value_parser = subject)]
        about: Option<records::Subject>,
        /// How they are printed.
        #[arg(long, value_enum, default_value = "text")]
        format: AnalysisFormat,
    },
}

fn known(text: &str) -> Result<Known, String> {
    const DIGITS: usize = 64;
    let parts = text.split_once(':').and_then(|(number, digest)| Some((number.parse().ok()?, digest)));
    match parts {
        Some((number, digest))
            if digest.len() == DIGITS && digest.bytes().all(|byte| byte.is_ascii_hexdigit()) =>
        {
            Ok(Known { number, sha256: digest.to_owned() })
        }
        Some(_) | None => Err(format!("write it as it was printed: a number, a colon and {DIGITS} digits")),
    }
}

fn subject(text: &str) -> Result<records::Subject, String> {
    match text.split_once(':') {
        Some((kind, id)) if !kind.is_empty() && !id.is_empty() => {
            Ok(records::Subject { kind: kind.to_owned(), id: id.to_owned() })
        }
        Some(_) | None => Err("write it as user:ana".to_owned()),
    }
}
