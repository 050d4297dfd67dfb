//! What a plant file names besides itself: passwords and secrets, certificates. Read and found fault with in one place, so that `check` and
//! `doctor` say what `serve` would.

use std::collections::BTreeMap;
use std::path::Path;

use intake::{BrokerAddress, Credentials, IdentityFault, read_secret};
use plant::{Contact, ContactWay, PasswordFrom, Plant, ReachRule};
use reach::{MailLogin, NeverTold, ReachConfig, Secret};

/// All of it, read.
pub(crate) struct Named {
    /// Who we are to the broker.
    pub(crate) credentials: Option<Credentials>,
    /// `None` where the broker is inside the service.
    pub(crate) broker: Option<BrokerAddress>,
    /// Who is told of alarms, with the secrets that it takes.
    pub(crate) reach: ReachConfig,
}

impl Named {
    /// Reads what the plant file at `path` names; every fault at once. `origin` is how browsers call the service.
    pub(crate) fn read(
        plant: &Plant,
        path: &Path,
        origin: Option<String>,
    ) -> Result<Named, Vec<IdentityFault>> {
        let mqtt = plant.mqtt.clone().with_files_in(folder_of(path));
        match (Credentials::read(&mqtt), BrokerAddress::read(&mqtt), reach_config(plant, path, origin)) {
            (Ok(credentials), Ok(broker), Ok(reach)) => Ok(Named { credentials, broker, reach }),
            (credentials, broker, reach) => {
                let of_broker = credentials.err().into_iter().chain(broker.err());
                let mut faults: Vec<IdentityFault> =
                    of_broker.chain(reach.err().unwrap_or_default()).collect();
                faults.sort_by_key(|fault| fault.line);
                Err(faults)
            }
        }
    }
}

/// Files are looked for beside the plant file.
pub(super) fn folder_of(path: &Path) -> &Path {
    path.parent().unwrap_or(Path::new("."))
}

/// Every fault with file and line, as for those of the file itself.
pub(super) fn refused(path: &Path, faults: &[IdentityFault]) -> anyhow::Error {
    let lines: Vec<String> = faults.iter().map(|fault| fault_line(path, fault)).collect();
    anyhow::anyhow!("the plant file names something that cannot be used\n{}", lines.join("\n"))
}

/// File, line and sentence.
pub(super) fn fault_line(path: &Path, fault: &IdentityFault) -> String {
    format!("{}: line {}: {fault}", path.display(), fault.line)
}

/// Does a variable of the environment stand in that line? It is the service's own, and is not there for everybody who looks.
pub(super) fn names_a_variable(plant: &Plant, in_line: usize) -> bool {
    let is = |from: &PasswordFrom| matches!(from, PasswordFrom::Environment { line, .. } if *line == in_line);
    let mail = plant.reach.mail.as_ref().and_then(|mail| mail.login.as_ref());
    let of_contact = |contact: &Contact| match &contact.way {
        ContactWay::Webhook { secret, .. } => is(secret),
        ContactWay::Mail(_) => false,
    };
    plant.mqtt.login.iter().chain(mail).any(|login| is(&login.password))
        || plant.reach.contacts.iter().any(of_contact)
}

/// Who is told of alarms, with what it takes to reach them; what cannot be used is told with its line.
pub(super) fn reach_config(
    plant: &Plant,
    path: &Path,
    origin: Option<String>,
) -> Result<ReachConfig, Vec<IdentityFault>> {
    let reach = plant.reach.clone().with_files_in(folder_of(path));
    let mut faults: Vec<IdentityFault> = reach.rules.iter().flat_map(told_in_vain).collect();
    let login = reach.mail.as_ref().and_then(|mail| mail.login.as_ref());
    let login = login.and_then(|login| {
        Some(MailLogin {
            user: login.user.clone(),
            password: read_secret(&login.password).map_err(|fault| faults.push(fault)).ok()?,
        })
    });
    let mut secrets = BTreeMap::new();
    for contact in &reach.contacts {
        let ContactWay::Webhook { secret: from, .. } = &contact.way else { continue };
        let Some(text) = read_secret(from).map_err(|fault| faults.push(fault)).ok() else { continue };
        match Secret::new(&text) {
            Ok(secret) => drop(secrets.insert(contact.id.clone(), secret)),
            Err(says) => {
                let (key, line) = match from {
                    PasswordFrom::File(file) => (file.key, file.line),
                    PasswordFrom::Environment { key, line, .. } => (*key, *line),
                };
                let says = format!(
                    "`{key}`: what stands there signs no webhook: {says}; take the one that the receiver gives out, or a long random text"
                );
                faults.push(IdentityFault { line, says });
            }
        }
    }
    if faults.is_empty() { Ok(ReachConfig { reach, login, secrets, origin }) } else { Err(faults) }
}

/// Kinds that a rule names in vain, a fault for each reason.
fn told_in_vain(rule: &ReachRule) -> Vec<IdentityFault> {
    let mut by_reason: Vec<(NeverTold, Vec<String>)> = Vec::new();
    for (kind, why) in reach::never_told(rule) {
        let kind = format!("`{kind}`");
        match by_reason.iter_mut().find(|(reason, _)| *reason == why) {
            Some((_, kinds)) => kinds.push(kind),
            None => by_reason.push((why, vec![kind])),
        }
    }
    let fault = |(why, kinds): (NeverTold, Vec<String>)| IdentityFault {
        line: rule.line,
        says: format!("`alarms`: nobody is ever told of {}, {}", kinds.join(" or "), in_vain(rule, why)),
    };
    by_reason.into_iter().map(fault).collect()
}

fn in_vain(rule: &ReachRule, why: NeverTold) -> String {
    match why {
        NeverTold::NoAlarm => "which is a prompt or for the weekly review and no alarm; leave it out".to_owned(),
        NeverTold::AtMost(most) => format!(
            "which is {0} at the most, and this rule is for {1} and above (medium where `priority` is left out); \
             write `priority = \"{0}\"`, or leave it out",
            most.as_str(),
            rule.priority.as_str()
        ),
        NeverTold::OfNoMachine => {
            "which is of the whole works, and this rule is for some machines; leave `machines` out, or give it a rule of its own"
                .to_owned()
        }
    }
}
