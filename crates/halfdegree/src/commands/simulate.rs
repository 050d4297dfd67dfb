//! `halfdegree simulate`: streams of the invented works, with what really happened beside them.

use std::io::IsTerminal;
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;

use anyhow::{Context, bail};
use model::Timestamp;
use plant::{Plant, parse_plant};
use simulator::{Settings, Works, write_days};

use super::read_plant;
use crate::args::SimulateArgs;
use crate::say::{aside, note, say};

/// The works of the demo and of every example.
pub(crate) const TERN_STREET: &str = include_str!("../../../../config/tern-street.toml");

/// A Monday; always the same, so that the same seed writes the same bytes.
const FIRST_DAY: &str = "2026-03-02T00:00:00Z";

pub(crate) fn run(args: &SimulateArgs) -> anyhow::Result<ExitCode> {
    if args.days == 0 {
        bail!("--days is 0; there is nothing to write");
    }
    let plant = match &args.plant {
        Some(path) => read_plant(path)?,
        None => tern_street(),
    };
    let start: Timestamp = FIRST_DAY.parse()?;
    let mut works = Works::new(&plant, &Settings::new(args.seed, start));
    let at_terminal = std::io::stderr().is_terminal();
    let written = write_days(&mut works, &args.out, args.days, |at| {
        if at_terminal {
            aside(format_args!("\r{at}"));
        }
    })
    .with_context(|| format!("cannot simulate into {}", args.out.display()))?;
    if at_terminal {
        note!("");
    }
    let named = |path: &Path| path.display().to_string();
    written.streams.iter().for_each(|stream| say!("{}", named(stream)));
    say!("{}", named(&written.truth));
    Ok(ExitCode::SUCCESS)
}

/// The plant file that comes with the program.
pub(crate) fn tern_street() -> Arc<Plant> {
    Arc::new(
        parse_plant(TERN_STREET).expect("the plant file that comes with the program is checked by a test"),
    )
}
