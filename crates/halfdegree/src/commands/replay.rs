//! `halfdegree replay`: publishes a recorded stream again, with its own timing or faster.

use std::io::IsTerminal;
use std::process::ExitCode;

use anyhow::{Context, bail};
use intake::{Pace, Progress, ReplayConfig, replay};
use plant::BrokerUrl;

use super::block_on;
use super::streams::Streams;
use crate::args::ReplayArgs;

/// Messages between two words about progress at a terminal.
const TOLD_EVERY: u64 = 1_000;

pub(crate) fn run(args: &ReplayArgs) -> anyhow::Result<ExitCode> {
    let url = BrokerUrl::parse(&args.to).map_err(anyhow::Error::msg)?;
    let broker = super::broker_address(&url)?;
    let pace = match args.speed {
        0.0 => Pace::UNPACED,
        speed => Pace::times(speed).with_context(|| {
            format!("`{speed}` is not a speed; a number above 0, or 0 for as fast as the broker takes it")
        })?,
    };
    let streams = Streams::open(&args.streams)?;
    let mut faults = 0_u64;
    let messages = streams.filter_map(|line| match line {
        Ok(message) => Some(message),
        Err(fault) => {
            faults += 1;
            eprintln!("halfdegree: {fault}");
            None
        }
    });
    let at_terminal = std::io::stderr().is_terminal();
    let told = |progress: Progress| {
        if at_terminal && progress.published.is_multiple_of(TOLD_EVERY) {
            eprint!("\r{} messages acknowledged", progress.published);
        }
    };
    let done = block_on(async { Ok(replay(ReplayConfig::new(broker, pace), messages, told).await?) })?;
    eprintln!(
        "{}{} messages published, each acknowledged by the broker",
        if at_terminal { "\r" } else { "" },
        done.published
    );
    if faults > 0 {
        bail!("{faults} lines could not be read and were left out");
    }
    Ok(ExitCode::SUCCESS)
}
