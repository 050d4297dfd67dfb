//! What the user may type. What it means is decided in the commands.

pub(crate) mod import;
mod people;
pub(crate) mod seed;

use std::net::SocketAddr;
use std::path::PathBuf;

use clap::{Args as ClapArgs, Parser, Subcommand, ValueEnum};
use history::week::IsoWeek;
use model::{ContactId, MachineId, Timestamp};
use service::Keep;

pub(crate) use self::import::ImportArgs;
pub(crate) use self::people::{
    AuditArgs, AuditCommand, KeyArgs, KeyCommand, SecretArgs, UserArgs, UserCommand,
};

/// What a newcomer does first.
const AT_FIRST: &str = "At first:
  halfdegree demo                                      look around in an invented works
  halfdegree check plant.toml                          write a plant file, and see what is wrong with it
  halfdegree doctor --plant plant.toml --data data     see whether broker, disk and clock are well
  halfdegree serve --plant plant.toml --data data      run it
Each command has examples: halfdegree serve --help";

/// Watches tempering machines: takes in their temperatures over MQTT, finds batches, phases and faults, and shows them.
///
/// Temperature alone never proves temper: only a temper test does.
#[derive(Debug, Parser)]
#[command(name = "halfdegree", version, after_help = AT_FIRST)]
pub(crate) struct Args {
    /// How log lines are written to standard error.
    #[arg(long, value_enum, default_value = "text", global = true)]
    pub(crate) log_format: LogFormat,
    #[command(subcommand)]
    pub(crate) command: Command,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum LogFormat {
    /// For people.
    Text,
    /// For programs: an object a line.
    Json,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Show the invented Tern Street works: six machines with a week behind them, at faster than real time.
    Demo(DemoArgs),
    /// Run the service for your own machines.
    Serve(ServeArgs),
    /// Read recorded streams and print what happened in them.
    Analyse(AnalyseArgs),
    /// Check a plant file and say everything that is wrong with it.
    Check(CheckArgs),
    /// Send a trial message to those whom the plant file names, so that you know that it gets there.
    MessageTrial(MessageTrialArgs),
    /// Look at plant file, broker, clock, disk, data folder and certificates, and say what to do about what is wrong.
    Doctor(DoctorArgs),
    /// Publish a recorded stream to a broker again.
    Replay(ReplayArgs),
    /// Write streams of the invented works, with what really happened beside them.
    Simulate(SimulateArgs),
    /// Get readings back out.
    Export(ExportArgs),
    /// Bring in a data logger's file, or a table typed in a spreadsheet.
    Import(Box<import::ImportArgs>),
    /// Copy a data folder as it is at one moment; the service may be running.
    Backup(BackupArgs),
    /// Put a backup back into a new data folder.
    Restore(RestoreArgs),
    /// Write the review of a week.
    Review(ReviewArgs),
    /// Say who may sign in, and as what.
    User(UserArgs),
    /// Make, list and withdraw keys of programs.
    Key(KeyArgs),
    /// Read the audit trail, or prove that nobody changed it.
    Audit(AuditArgs),
    /// Work out how much seed, where it lands, a top-up, or a remelt.
    Seed(seed::SeedArgs),
}

#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  halfdegree demo\n  halfdegree demo --speed 60 --listen 127.0.0.1:9000")]
pub(crate) struct DemoArgs {
    /// Where the pages are served.
    #[arg(long, default_value = "127.0.0.1:8460")]
    pub(crate) listen: SocketAddr,
    /// How many times faster than real time.
    #[arg(long, default_value_t = 20.0)]
    pub(crate) speed: f64,
    /// A folder laid over the built-in pages, for people who change them.
    #[arg(long)]
    pub(crate) dashboards: Option<PathBuf>,
}

#[derive(Debug, ClapArgs)]
#[command(
    after_help = "Examples:\n  halfdegree serve --plant plant.toml --data data\n  For a network, once there is a user (`halfdegree user add`):\n  halfdegree serve --plant plant.toml --data data --listen 192.168.1.10:8460\n  Take over a changed plant file:  kill -HUP PID, or systemctl reload halfdegree"
)]
pub(crate) struct ServeArgs {
    /// The plant file.
    #[arg(long)]
    pub(crate) plant: PathBuf,
    /// The folder that everything is kept in; made if it is not there.
    #[arg(long)]
    pub(crate) data: PathBuf,
    /// Keep the readings of this many days; for good without it. Batches and findings are kept for good either way.
    #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(u32).range(i64::from(Keep::FEWEST_DAYS)..))]
    pub(crate) keep_days: Option<u32>,
    /// Where the pages are served.
    #[arg(long, default_value = "127.0.0.1:8460")]
    pub(crate) listen: SocketAddr,
    /// Who may look: everybody who reaches the service, or people who have signed in. Without it, everybody on this computer alone, and
    /// people who have signed in when it listens to others.
    #[arg(long, value_enum)]
    pub(crate) reading: Option<ReadingArg>,
    /// How browsers call the service where something that speaks TLS stands before it, such as `https://tempering.example`; the cookie then goes
    /// over TLS alone.
    #[arg(long, value_parser = origin)]
    pub(crate) origin: Option<String>,
    /// A folder laid over the built-in pages.
    #[arg(long)]
    pub(crate) dashboards: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ReadingArg {
    /// Whoever reaches the service.
    Open,
    /// People who have signed in, and programs with a key.
    SignedIn,
}

/// Scheme, host and port, and nothing behind them.
fn origin(text: &str) -> Result<String, String> {
    let host = text.strip_prefix("https://").or_else(|| text.strip_prefix("http://"));
    let fits = |host: &&str| {
        !host.is_empty() && host.bytes().all(|b| b.is_ascii_alphanumeric() || b"-._:[]".contains(&b))
    };
    match host.filter(fits) {
        Some(_) => Ok(text.to_ascii_lowercase()),
        None => Err("write it as a browser does, without a path: https://tempering.example".to_owned()),
    }
}

#[derive(Debug, ClapArgs)]
#[command(after_help = "Example:\n  halfdegree backup --data data /mnt/other-disk/halfdegree-2026-11-29")]
pub(crate) struct BackupArgs {
    /// The data folder of a service, which may be running.
    #[arg(long)]
    pub(crate) data: PathBuf,
    /// The folder that the backup is made in; it must not be there.
    pub(crate) out: PathBuf,
}

#[derive(Debug, ClapArgs)]
#[command(
    after_help = "Example:\n  halfdegree restore --data data-again /mnt/other-disk/halfdegree-2026-11-29"
)]
pub(crate) struct RestoreArgs {
    /// The data folder to be made; it must not be there, or be empty.
    #[arg(long)]
    pub(crate) data: PathBuf,
    /// The folder of the backup.
    pub(crate) from: PathBuf,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum AnalysisFormat {
    /// For people.
    Text,
    /// For programs.
    Json,
}

#[derive(Debug, ClapArgs)]
#[command(
    after_help = "Examples:\n  mosquitto_sub -t 'works/#' -F %J > monday.ndjson\n  halfdegree analyse monday.ndjson --plant plant.toml\n  halfdegree analyse sample-streams/good-day.ndjson.zst --plant sample-streams/good-day.plant.toml --format json"
)]
pub(crate) struct AnalyseArgs {
    /// Recorded streams, one message a line; several are one history. `.gz` and `.zst` are read as they are.
    #[arg(required = true, value_name = "STREAM")]
    pub(crate) streams: Vec<PathBuf>,
    /// The plant file.
    #[arg(long)]
    pub(crate) plant: PathBuf,
    /// How the answer is printed.
    #[arg(long, value_enum, default_value = "text")]
    pub(crate) format: AnalysisFormat,
}

#[derive(Debug, ClapArgs)]
#[command(after_help = "Example:\n  halfdegree check plant.toml")]
pub(crate) struct CheckArgs {
    /// The plant file.
    pub(crate) file: PathBuf,
}

#[derive(Debug, ClapArgs)]
#[command(
    after_help = "Examples:\n  halfdegree message-trial --plant plant.toml\n  halfdegree message-trial --plant plant.toml --to shift"
)]
pub(crate) struct MessageTrialArgs {
    /// The plant file.
    #[arg(long)]
    pub(crate) plant: PathBuf,
    /// Only to this contact, by its id; to all of them without it.
    #[arg(long, value_name = "CONTACT")]
    pub(crate) to: Option<ContactId>,
}

#[derive(Debug, ClapArgs)]
#[command(
    after_help = "Examples:\n  halfdegree doctor --plant plant.toml --data data\n  halfdegree doctor --plant plant.toml --data data --seconds 60"
)]
pub(crate) struct DoctorArgs {
    /// The plant file.
    #[arg(long)]
    pub(crate) plant: PathBuf,
    /// The data folder; a service may be running on it.
    #[arg(long)]
    pub(crate) data: PathBuf,
    /// How many seconds to listen for what the machines send.
    #[arg(long, default_value_t = 5, value_parser = clap::value_parser!(u64).range(1..=600))]
    pub(crate) seconds: u64,
}

#[derive(Debug, ClapArgs)]
#[command(after_help = "Example:\n  halfdegree replay monday.ndjson --to mqtt://127.0.0.1:1883 --speed 20")]
pub(crate) struct ReplayArgs {
    /// Recorded streams, one message a line; several are sent as one, in the order of their arrival times. Standings are left out, and
    /// so is what the broker had kept without a time of its own: published again it would be new.
    #[arg(required = true, value_name = "STREAM")]
    pub(crate) streams: Vec<PathBuf>,
    /// The broker, such as mqtt://127.0.0.1:1883.
    #[arg(long)]
    pub(crate) to: String,
    /// A plant file, for a broker that asks who we are: user, password and certificates are those of its table `mqtt`.
    #[arg(long)]
    pub(crate) plant: Option<PathBuf>,
    /// So many times faster than it was recorded; 0 sends as fast as the broker takes it.
    #[arg(long, default_value_t = 1.0, allow_negative_numbers = true)]
    pub(crate) speed: f64,
}

#[derive(Debug, ClapArgs)]
#[command(after_help = "Example:\n  halfdegree simulate --out made-up --days 3 --seed 7")]
pub(crate) struct SimulateArgs {
    /// The folder that streams and truth.json are written to.
    #[arg(long)]
    pub(crate) out: PathBuf,
    /// A plant file; the Tern Street works without it.
    #[arg(long)]
    pub(crate) plant: Option<PathBuf>,
    /// How many days.
    #[arg(long, default_value_t = 1)]
    pub(crate) days: u32,
    /// The same seed gives the same days.
    #[arg(long, default_value_t = 1)]
    pub(crate) seed: u64,
}

#[derive(Debug, ClapArgs)]
#[command(after_help = "Example:\n  halfdegree review --data data --week 2026-W48 --out week-48.html")]
pub(crate) struct ReviewArgs {
    /// The data folder of a service, which may be running.
    #[arg(long)]
    pub(crate) data: PathBuf,
    /// The ISO week, such as 2026-W48.
    #[arg(long)]
    pub(crate) week: IsoWeek,
    /// The file to write; its ending says how: .html, .xlsx or .pdf.
    #[arg(long)]
    pub(crate) out: PathBuf,
    /// The plant file; the one that the service last read without it.
    #[arg(long)]
    pub(crate) plant: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ExportFormat {
    Csv,
    Parquet,
}

#[derive(Debug, ClapArgs)]
#[command(
    after_help = "Example:\n  halfdegree export --data data --machine alder --from 2026-03-02T05:00:00Z --to 2026-03-02T17:00:00Z > alder.csv"
)]
pub(crate) struct ExportArgs {
    /// The data folder of a service, which may be running.
    #[arg(long)]
    pub(crate) data: PathBuf,
    /// Which machine.
    #[arg(long)]
    pub(crate) machine: MachineId,
    /// First moment, such as 2026-03-02T05:00:00Z; everything from the beginning without it.
    #[arg(long)]
    pub(crate) from: Option<Timestamp>,
    /// Moment after the last.
    #[arg(long)]
    pub(crate) to: Option<Timestamp>,
    /// How the readings are written to standard output.
    #[arg(long, value_enum, default_value = "csv")]
    pub(crate) format: ExportFormat,
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    use super::*;

    #[test]
    fn each_command_has_examples() {
        for command in Args::command().get_subcommands() {
            let typed = format!("halfdegree {} ", command.get_name());
            let help = command.get_after_help().map(ToString::to_string).unwrap_or_default();
            assert!(format!("{help}\n").replace('\n', " ").contains(&typed), "`{typed}` has no example");
        }
    }
}
