//! `halfdegree export`: readings back out, those not yet in Parquet included.

use std::process::ExitCode;

use anyhow::{Context, bail};
use model::Timestamp;
use service::DataFolder;
use store::ExportFormat;

use crate::args::{self, ExportArgs};

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
    let readings = DataFolder::new(&args.data).open_readings()?;
    let from = args.from.unwrap_or_else(|| Timestamp::from_millis(i64::MIN));
    let to = args.to.unwrap_or_else(|| Timestamp::from_millis(i64::MAX));
    let format = match args.format {
        args::ExportFormat::Csv => ExportFormat::Csv,
        args::ExportFormat::Parquet => ExportFormat::Parquet,
    };
    let count =
        readings.export(&args.machine, from, to, format, std::io::stdout()).context("cannot export")?;
    for span in readings.missing_spans(Some(&args.machine), from, to)? {
        eprintln!("halfdegree: {span}");
    }
    if count == 0 {
        eprintln!("halfdegree: there are no readings of `{}` in this time", args.machine);
    }
    Ok(ExitCode::SUCCESS)
}
