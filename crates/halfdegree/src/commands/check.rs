//! `halfdegree check`: says everything that is wrong with a plant file, and starts nothing.

use std::fs;
use std::process::ExitCode;

use anyhow::Context;
use plant::parse_plant;

use crate::NO;
use crate::args::CheckArgs;

pub(crate) fn run(args: &CheckArgs) -> anyhow::Result<ExitCode> {
    let file = args.file.display();
    let text = fs::read_to_string(&args.file).with_context(|| format!("cannot read {file}"))?;
    match parse_plant(&text) {
        Ok(plant) => {
            println!(
                "{file}: all is well. {} has {} and {}.",
                plant.name,
                counted(plant.machines.len(), "machine"),
                counted(plant.couvertures.len(), "couverture")
            );
            Ok(ExitCode::SUCCESS)
        }
        Err(faults) => {
            faults.iter().for_each(|fault| println!("{file}: {fault}"));
            Ok(ExitCode::from(NO))
        }
    }
}

fn counted(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}
