//! What `halfdegree import` may be told.

use std::path::PathBuf;

use clap::{Args as ClapArgs, ValueEnum};
use model::{Channel, MachineId};
use wire::logger::{HourTwice, TimeLayout};

const EXAMPLES: &str = "Examples:
  What is in the file? Nothing is written:
    halfdegree import night.csv --plant plant.toml --data data --machine alder --column chocolate=Temp1 --time-column Time --dry-run
  Date and time in two columns, day first, two probes:
    halfdegree import night.csv --plant plant.toml --data data --machine alder \\
      --column chocolate='Temp 1 (°C)' --column jacket='Temp 2 (°C)' \\
      --time-column Date --time-column Time --time-format '%d.%m.%Y %H:%M:%S'

Values are taken as they are: a sensor's law and a probe's offset from the plant file are not applied. What is there already is not
written again, so that importing a file twice is the same as once; another value of the same moment takes the place of what is there, and
is told. Lines that cannot be a reading (outside -10 to 120 °C, dated before 2001 or in the future) are put aside and told.";

#[derive(Debug, ClapArgs)]
#[command(after_help = EXAMPLES)]
pub(crate) struct ImportArgs {
    /// The file: CSV with commas, semicolons or tabs, with a line that names the columns.
    pub(crate) file: PathBuf,
    /// The plant file.
    #[arg(long)]
    pub(crate) plant: PathBuf,
    /// The data folder; made if it is not there. No service may be running on it.
    #[arg(long)]
    pub(crate) data: PathBuf,
    /// The machine that the readings belong to.
    #[arg(long)]
    pub(crate) machine: MachineId,
    /// A channel and the name of its column, such as chocolate=Temp1; once for each channel.
    #[arg(long = "column", required = true, value_name = "CHANNEL=NAME", value_parser = column)]
    pub(crate) columns: Vec<(Channel, String)>,
    /// The name of the column with the time; given twice, the columns with date and time.
    #[arg(long = "time-column", required = true, value_name = "NAME")]
    pub(crate) time_columns: Vec<String>,
    /// How times are written: iso (2026-03-02 05:00:10), unix-s, unix-ms, or a pattern of strptime such as `%d.%m.%Y %H:%M:%S`.
    #[arg(long, default_value = "iso", value_name = "LAYOUT")]
    pub(crate) time_format: TimeLayout,
    /// The zone of the logger's clock, such as Europe/Lisbon, or Etc/UTC; the plant's without it.
    #[arg(long)]
    pub(crate) time_zone: Option<String>,
    /// Which one is meant where an hour comes twice because clocks went back.
    #[arg(long, value_enum)]
    pub(crate) hour_twice: Option<HourTwiceArg>,
    /// Temperatures are in °F.
    #[arg(long)]
    pub(crate) fahrenheit: bool,
    /// Show how the file is understood, and write nothing.
    #[arg(long)]
    pub(crate) dry_run: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum HourTwiceArg {
    /// The one before the clocks went back.
    First,
    /// The one after.
    Second,
    /// The first until the times of the file step back, then the second.
    AsTheyCome,
}

impl From<HourTwiceArg> for HourTwice {
    fn from(arg: HourTwiceArg) -> HourTwice {
        match arg {
            HourTwiceArg::First => HourTwice::First,
            HourTwiceArg::Second => HourTwice::Second,
            HourTwiceArg::AsTheyCome => HourTwice::AsTheyCome,
        }
    }
}

fn column(text: &str) -> Result<(Channel, String), String> {
    let channels = || Channel::ALL.map(Channel::as_str).join(", ");
    let (channel, name) =
        text.split_once('=').ok_or("write the channel, = and the column's name: chocolate=Temp1")?;
    let channel = Channel::ALL.into_iter().find(|known| known.as_str() == channel.trim());
    let channel = channel.ok_or_else(|| format!("the channels are {}", channels()))?;
    if name.trim().is_empty() {
        return Err("the column's name is missing behind =".to_owned());
    }
    Ok((channel, name.to_owned()))
}
