//! `halfdegree restore`: a backup becomes a data folder again, once every file of it is known to be as it was made.

use std::process::ExitCode;

use anyhow::Context;
use model::Timestamp;
use service::{DataFolder, restore};

use crate::args::RestoreArgs;
use crate::say::{note, say};

pub(crate) fn run(args: &RestoreArgs) -> anyhow::Result<ExitCode> {
    let now = Timestamp::from(jiff::Timestamp::now());
    let restored = restore(&args.from, &DataFolder::new(&args.data), now).context("cannot restore")?;
    say!("{} files of the backup that was made at {}", restored.files, restored.taken_at);
    for part in restored.left_out {
        note!("halfdegree: was left out of the backup: {part}");
    }
    Ok(ExitCode::SUCCESS)
}
