//! `halfdegree export`: readings back out, those not yet in Parquet included.

use std::collections::BTreeSet;
use std::process::ExitCode;

use anyhow::{Context, bail};
use model::{MachineId, Timestamp};
use service::DataFolder;
use store::{ExportFormat, StoreReader};

use super::read_plant;
use crate::args::{self, ExportArgs};
use crate::say;
use crate::say::note;

pub(crate) fn run(args: &ExportArgs) -> anyhow::Result<ExitCode> {
    if !args.data.is_dir() {
        bail!("there is no data folder {}", args.data.display());
    }
    if !args.data.join(service::JOURNAL_FILE).is_file() {
        bail!(
            "{} is no data folder of a service: there is no {} in it",
            args.data.display(),
            service::JOURNAL_FILE
        );
    }
    let folder = DataFolder::new(&args.data);
    let readings = folder.open_readings()?;
    let from = args.from.unwrap_or_else(|| Timestamp::from_millis(i64::MIN));
    let to = args.to.unwrap_or_else(|| Timestamp::from_millis(i64::MAX));
    let format = match args.format {
        args::ExportFormat::Csv => ExportFormat::Csv,
        args::ExportFormat::Parquet => ExportFormat::Parquet,
    };
    // Before anything is written: a table of nothing looks like an answer.
    if readings.read_days(&args.machine, from, to)?.is_empty() {
        refuse_unknown(&args.machine, &folder, &readings)?;
    }
    let count =
        readings.export(&args.machine, from, to, format, say::Results::default()).context("cannot export")?;
    for span in readings.missing_spans(Some(&args.machine), from, to)? {
        note!("halfdegree: {span}");
    }
    if count == 0 {
        note!("halfdegree: there are no readings of `{}` in this time", args.machine);
    }
    Ok(ExitCode::SUCCESS)
}

/// A machine that neither the readings nor the plant file of the last start know is a slip of the finger.
fn refuse_unknown(asked: &MachineId, folder: &DataFolder, readings: &StoreReader) -> anyhow::Result<()> {
    let mut known: BTreeSet<MachineId> =
        readings.part_files()?.into_iter().map(|part| part.machine).collect();
    if folder.plant_file().is_file() {
        known.extend(read_plant(&folder.plant_file())?.machines.iter().map(|machine| machine.id.clone()));
    }
    if known.is_empty() || known.contains(asked) {
        return Ok(());
    }
    let known: Vec<&str> = known.iter().map(MachineId::as_str).collect();
    bail!("there is no machine `{asked}` in {}; it has {}", folder.path().display(), known.join(", "))
}
