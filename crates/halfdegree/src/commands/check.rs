//! `halfdegree check`: says everything that is wrong with a plant file, and starts nothing.

use std::path::Path;
use std::process::ExitCode;

use intake::{Credentials, IdentityFault, Tls};
use plant::{BrokerUrl, ContactWay, PasswordFrom, Plant, parse_plant};

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

/// What `[mqtt]`, `[mail]` and `[[contact]]` name besides the file itself: certificates, passwords and secrets in files, which `serve` will want to read. A variable of the
/// environment is the service's own, and not looked for here.
fn faults_of_files(plant: &Plant, path: &Path) -> Vec<IdentityFault> {
    let mqtt = plant.mqtt.clone().with_files_in(path.parent().unwrap_or(Path::new(".")));
    let from_file = mqtt.login.as_ref().is_some_and(|login| matches!(login.password, PasswordFrom::File(_)));
    let password = if from_file { Credentials::read(&mqtt).err() } else { None };
    let certificates = match mqtt.url {
        BrokerUrl::Tls { .. } => Tls::read(mqtt.ca.as_ref(), mqtt.client_certificate.as_ref()).err(),
        BrokerUrl::Tcp { .. } | BrokerUrl::Embedded => None,
    };
    let reach = super::reach_config(plant, path, None).err().unwrap_or_default();
    let reach = reach.into_iter().filter(|fault| !names_a_variable(plant, fault.line));
    password.into_iter().chain(certificates).chain(reach).collect()
}

/// Does a variable of the environment stand in that line?
fn names_a_variable(plant: &Plant, in_line: usize) -> bool {
    let is = |from: &PasswordFrom| matches!(from, PasswordFrom::Environment { line, .. } if *line == in_line);
    let mail = plant.reach.mail.as_ref().and_then(|mail| mail.login.as_ref());
    let of_contact = |contact: &plant::Contact| match &contact.way {
        ContactWay::Webhook { secret, .. } => is(secret),
        ContactWay::Mail(_) => false,
    };
    mail.is_some_and(|login| is(&login.password)) || plant.reach.contacts.iter().any(of_contact)
}

fn counted(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}
