//! `halfdegree import`: a data logger's file, or a table typed in a spreadsheet, into a data folder that no service is running on.

use std::fs::File;
use std::io::Read;
use std::path::Path;
use std::process::ExitCode;

use anyhow::{Context, bail};
use model::{MachineId, Reading, Span, Timestamp};
use plant::{Plant, TimeZone};
use service::{DataFolder, PastAdded};
use wire::logger::{LoggerColumns, LoggerTable, LoggerTimes, decode_text, read_logger_table};

use crate::args::ImportArgs;
use crate::say::announce;

/// Two months of a logger that writes each second. One month (67 MB) took 1.3 GB of memory; more is better brought in pieces.
const LARGEST_FILE: u64 = 128 << 20;
/// Rows shown as understood, and lines shown that were put aside.
const SHOWN: usize = 5;
/// A gap is this many times the usual interval, and at least a minute.
const GAP_TIMES: i64 = 5;
const SHORTEST_GAP: Span = Span::from_secs(60);
/// Chocolate is never this hot, and in °F it always is.
const TOO_HOT_C: f64 = 75.0;

pub(crate) fn run(args: &ImportArgs) -> anyhow::Result<ExitCode> {
    let plant = super::read_plant(&args.plant)?;
    if plant.machine(&args.machine).is_none() {
        let known: Vec<&str> = plant.machines.iter().map(|machine| machine.id.as_str()).collect();
        bail!("the plant file has no machine `{}`; it has {}", args.machine, known.join(", "));
    }
    refuse_twice(args)?;
    let zone = zone(args, &plant)?;
    let columns = LoggerColumns {
        channels: args.columns.clone(),
        time: args.time_columns.clone(),
        fahrenheit: args.fahrenheit,
    };
    let times = LoggerTimes {
        layout: args.time_format.clone(),
        zone: zone.clone(),
        hour_twice: args.hour_twice.map(Into::into),
        now: Timestamp::from(jiff::Timestamp::now()),
    };
    let text = decode_text(&bytes_of(&args.file)?);
    let table = read_logger_table(&text, &columns, &times)
        .map_err(|why| anyhow::anyhow!("cannot read {}: {why}", args.file.display()))?;
    tell(args, &table, &zone);
    if let Some(first) = table.undecided.first() {
        bail!(
            "lines with a time in the hour that comes twice when clocks go back: {} (the first is line {first}); say which is meant by --hour-twice first, second, or as-they-come for a logger that wrote on through both",
            table.undecided.len()
        );
    }
    if table.rows.is_empty() {
        let file = args.file.display();
        match table.put_aside.len() {
            0 => bail!("{file} has nothing behind the line that names the columns"),
            _ => bail!("no line of {file} could be read; see to --time-format and --column"),
        }
    }
    if args.dry_run {
        announce!("Dry run: nothing was written.");
        return Ok(ExitCode::SUCCESS);
    }
    let readings = readings(&args.machine, &table);
    let done = service::import(&DataFolder::new(&args.data), &plant, &args.machine, &readings)
        .context("cannot import; a service that is running on the folder has to be stopped first")?;
    announce!("Readings written: {}; there already: {}.", done.written, done.known);
    if 0 < done.replaced {
        announce!(
            "Readings that were there with another value, in whose place the file's stands now: {}.",
            done.replaced
        );
    }
    match done.past {
        Some(PastAdded { batches, findings, reworked, left }) => announce!(
            "Batches added: {batches}, with findings: {findings}; worked out again: {reworked}; left as they are because they go on: {left}. The next start of the service shows them."
        ),
        None if 0 < done.written + done.replaced => {
            announce!("Batches and findings are there at the next start of the service.");
        }
        None => {}
    }
    Ok(ExitCode::SUCCESS)
}

/// A channel has one column, and a column one meaning.
fn refuse_twice(args: &ImportArgs) -> anyhow::Result<()> {
    for (n, (channel, column)) in args.columns.iter().enumerate() {
        let before = &args.columns[..n];
        if before.iter().any(|(other, _)| other == channel) {
            bail!("--column names {channel} twice; a channel has one column");
        }
        if let Some((other, _)) = before.iter().find(|(_, other)| other == column) {
            bail!("--column takes `{column}` for {other} and for {channel}; a column is one of them");
        }
    }
    Ok(())
}

fn zone(args: &ImportArgs, plant: &Plant) -> anyhow::Result<TimeZone> {
    match &args.time_zone {
        None => Ok(plant.time_zone.clone()),
        Some(name) => TimeZone::named(name).with_context(|| {
            format!("`{name}` is no time zone; write one such as Europe/Lisbon, or Etc/UTC")
        }),
    }
}

fn bytes_of(path: &Path) -> anyhow::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)
        .and_then(|file| file.take(LARGEST_FILE + 1).read_to_end(&mut bytes))
        .with_context(|| format!("cannot read {}", path.display()))?;
    if LARGEST_FILE < bytes.len() as u64 {
        bail!("{} is larger than {LARGEST_FILE} bytes; cut it into pieces", path.display());
    }
    Ok(bytes)
}

fn readings(machine: &MachineId, table: &LoggerTable) -> Vec<Reading> {
    let row = |row: &wire::logger::LoggerRow| {
        let at = row.at;
        row.values
            .iter()
            .map(move |(channel, value)| Reading {
                machine: machine.clone(),
                channel: *channel,
                at,
                value: Some(*value),
            })
            .collect::<Vec<_>>()
    };
    table.rows.iter().flat_map(row).collect()
}

/// How the file was understood, for a person to compare with the file.
fn tell(args: &ImportArgs, table: &LoggerTable, zone: &TimeZone) {
    let delimiter =
        if table.delimiter == '\t' { "tabs".to_owned() } else { format!("`{}`", table.delimiter) };
    announce!(
        "{}: lines understood: {}, put aside: {}; columns are set apart by {delimiter}",
        args.file.display(),
        table.rows.len(),
        table.put_aside.len()
    );
    for row in table.rows.iter().take(SHOWN) {
        let values = row
            .values
            .iter()
            .map(|(channel, value)| format!("{} {value:.2} {}", channel.as_str(), channel.unit()));
        let local = zone.local(row.at);
        announce!(
            "  line {}: {local} on the wall, {}: {}",
            row.line,
            row.at,
            values.collect::<Vec<_>>().join(", ")
        );
    }
    tell_span(table);
    for (line, why) in table.put_aside.iter().take(SHOWN) {
        announce!("  put aside: line {line}: {why}");
    }
    if SHOWN < table.put_aside.len() {
        announce!("  put aside: and {} more", table.put_aside.len() - SHOWN);
    }
    let hot = table
        .rows
        .iter()
        .flat_map(|row| &row.values)
        .any(|(channel, value)| channel.is_temperature() && TOO_HOT_C < *value);
    if hot && !args.fahrenheit {
        announce!("  Some temperatures are above {TOO_HOT_C} °C. If the file has °F, say --fahrenheit.");
    }
}

fn tell_span(table: &LoggerTable) {
    let mut times: Vec<Timestamp> = table.rows.iter().map(|row| row.at).collect();
    times.sort_unstable();
    let (Some(first), Some(last)) = (times.first(), times.last()) else { return };
    let mut steps: Vec<(Span, Timestamp)> =
        times.windows(2).map(|pair| (pair[1] - pair[0], pair[0])).collect();
    steps.sort_unstable();
    let Some((usual, _)) = steps.get(steps.len() / 2) else { return };
    announce!("  from {first} to {last}, usually every {} s", usual.as_secs_f64());
    let long = Span::from_millis(usual.as_millis() * GAP_TIMES).max(SHORTEST_GAP);
    let gaps: Vec<&(Span, Timestamp)> = steps.iter().filter(|(step, _)| long < *step).collect();
    match gaps.last() {
        None => announce!("  without a gap of more than {} s", long.as_secs_f64()),
        Some((longest, from)) => {
            announce!(
                "  gaps of more than {} s: {}, the longest {:.0} min from {from}",
                long.as_secs_f64(),
                gaps.len(),
                longest.as_mins_f64()
            );
        }
    }
    let repeated = steps.iter().filter(|(step, _)| step.as_millis() == 0).count();
    if 0 < repeated {
        announce!("  lines with the time of another line: {repeated}; the last one of each channel counts");
    }
}
