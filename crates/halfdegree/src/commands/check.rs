//! `halfdegree check`: says everything that is wrong with a plant file, and starts nothing.

use std::path::Path;
use std::process::ExitCode;

use intake::{Credentials, IdentityFault, Tls};
use plant::{BrokerUrl, PasswordFrom, Plant, parse_plant};

use crate::NO;
use crate::args::CheckArgs;

pub(crate) fn run(args: &CheckArgs) -> anyhow::Result<ExitCode> {
    let file = args.file.display();
    let text = super::plant_text(&args.file)?;
    match parse_plant(&text) {
        Ok(plant) => {
            let faults = faults_of_files(&plant, &args.file);
            if !faults.is_empty() {
                faults.iter().for_each(|fault| println!("{}", super::fault_line(&args.file, fault)));
                return Ok(ExitCode::from(NO));
            }
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

/// What `[mqtt]` names besides the file itself: certificates and a password file, which `serve` will want to read. A variable of the
/// environment is the service's own, and not looked for here.
fn faults_of_files(plant: &Plant, path: &Path) -> Vec<IdentityFault> {
    let mqtt = plant.mqtt.clone().with_files_in(path.parent().unwrap_or(Path::new(".")));
    let from_file = mqtt.login.as_ref().is_some_and(|login| matches!(login.password, PasswordFrom::File(_)));
    let password = if from_file { Credentials::read(&mqtt).err() } else { None };
    let certificates = match mqtt.url {
        BrokerUrl::Tls { .. } => Tls::read(mqtt.ca.as_ref(), mqtt.client_certificate.as_ref()).err(),
        BrokerUrl::Tcp { .. } | BrokerUrl::Embedded => None,
    };
    password.into_iter().chain(certificates).collect()
}

fn counted(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}
