//! `halfdegree backup`: a data folder as it is at one moment, while the service runs on it.

use std::process::ExitCode;

use anyhow::Context;
use model::Timestamp;
use service::{DataFolder, backup};

use crate::args::BackupArgs;
use crate::say::{note, say};

pub(crate) fn run(args: &BackupArgs) -> anyhow::Result<ExitCode> {
    let now = Timestamp::from(jiff::Timestamp::now());
    let made = backup(&DataFolder::new(&args.data), &args.out, now).context("cannot make the backup")?;
    say!("{} files, {} bytes, up to block {} of the journal", made.files, made.bytes, made.up_to_block);
    for part in made.left_out {
        note!("halfdegree: left out: {part}");
    }
    Ok(ExitCode::SUCCESS)
}
