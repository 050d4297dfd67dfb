//! The program: arguments in, exit codes out. Everything else is in the other crates.

#![warn(clippy::print_stdout, clippy::print_stderr)]

mod args;
mod commands;
mod say;

use std::io::IsTerminal;
use std::process::ExitCode;

use clap::Parser;
use mimalloc::MiMalloc;

use crate::args::{Args, Command, LogFormat};
use crate::say::note;

/// The system's own keeps what each thread has given back for that thread, and the service has threads that come and go: with five hundred
/// machines it held half as much again as it used, and more each hour.
#[global_allocator]
static ALLOCATOR: MiMalloc = MiMalloc;

/// The answer is no: a check found faults, or a trail is broken.
pub(crate) const NO: u8 = 1;
/// It could not be done.
pub(crate) const FAILED: u8 = 2;

fn main() -> ExitCode {
    let args = Args::parse();
    init_log(args.log_format);
    match run(args.command) {
        Ok(code) => code,
        Err(error) => {
            note!("halfdegree: {error:#}");
            ExitCode::from(FAILED)
        }
    }
}

fn run(command: Command) -> anyhow::Result<ExitCode> {
    match command {
        Command::Demo(args) => commands::demo::run(&args),
        Command::Serve(args) => commands::serve::run(&args),
        Command::Analyse(args) => commands::analyse::run(&args),
        Command::Check(args) => commands::check::run(&args),
        Command::MessageTrial(args) => commands::message_trial::run(&args),
        Command::Doctor(args) => commands::doctor::run(&args),
        Command::Replay(args) => commands::replay::run(&args),
        Command::Simulate(args) => commands::simulate::run(&args),
        Command::Export(args) => commands::export::run(&args),
        Command::Import(args) => commands::import::run(&args),
        Command::Backup(args) => commands::backup::run(&args),
        Command::Restore(args) => commands::restore::run(&args),
        Command::Review(args) => commands::review::run(&args),
        Command::User(args) => commands::user::run(&args),
        Command::Key(args) => commands::key::run(&args),
        Command::Audit(args) => commands::audit::run(&args),
        Command::Seed(args) => commands::seed::run(&args),
    }
}

/// Results go to standard output, everything else to standard error. `HALFDEGREE_LOG` says how much, as in `info` or `intake=debug`.
fn init_log(format: LogFormat) {
    let filter = tracing_subscriber::EnvFilter::try_from_env("HALFDEGREE_LOG").unwrap_or_else(|_| {
        tracing_subscriber::EnvFilter::new(
            "warn,rumqttd=off,halfdegree=info,service=info,intake=info,web=info",
        )
    });
    let lines = tracing_subscriber::fmt().with_env_filter(filter).with_writer(say::Aside::default);
    match format {
        LogFormat::Text => lines.with_target(false).with_ansi(std::io::stderr().is_terminal()).init(),
        LogFormat::Json => {
            lines.json().flatten_event(true).with_current_span(false).with_span_list(false).init()
        }
    }
}
