//! `halfdegree check`: says everything that is wrong with a plant file, and starts nothing.

use std::process::ExitCode;

use plant::parse_plant;

use super::named::{Named, fault_line, names_a_variable};
use crate::NO;
use crate::args::CheckArgs;
use crate::say::say;

pub(crate) fn run(args: &CheckArgs) -> anyhow::Result<ExitCode> {
    let file = args.file.display();
    let text = super::plant_text(&args.file)?;
    match parse_plant(&text) {
        Ok(plant) => {
            let mut faults = Named::read(&plant, &args.file, None).err().unwrap_or_default();
            faults.retain(|fault| !names_a_variable(&plant, fault.line));
            if !faults.is_empty() {
                faults.iter().for_each(|fault| say!("{}", fault_line(&args.file, fault)));
                return Ok(ExitCode::from(NO));
            }
            for contact in plant.reach.never_named() {
                say!("{file}: note: line {}: {}", contact.line, contact.says_never_named());
            }
            say!(
                "{file}: all is well. {} has {} and {}.",
                plant.name,
                counted(plant.machines.len(), "machine"),
                counted(plant.couvertures.len(), "couverture")
            );
            Ok(ExitCode::SUCCESS)
        }
        Err(faults) => {
            faults.iter().for_each(|fault| say!("{file}: {fault}"));
            Ok(ExitCode::from(NO))
        }
    }
}

fn counted(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}
