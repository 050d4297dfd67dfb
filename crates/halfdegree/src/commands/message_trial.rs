//! `halfdegree message-trial`: sends a trial message to those whom the plant file names, and says of each whether it got there.

use std::process::ExitCode;

use anyhow::bail;
use model::Timestamp;
use plant::{Contact, ContactWay};

use super::{block_on, named};
use crate::NO;
use crate::args::MessageTrialArgs;
use crate::say::announce;

pub(crate) fn run(args: &MessageTrialArgs) -> anyhow::Result<ExitCode> {
    let plant = super::read_plant(&args.plant)?;
    let wanted = |contact: &&Contact| args.to.as_ref().is_none_or(|id| contact.id == *id);
    let contacts: Vec<&Contact> = plant.reach.contacts.iter().filter(wanted).collect();
    if contacts.is_empty() {
        match &args.to {
            Some(id) => bail!("there is no [[contact]] `{id}` in {}", args.plant.display()),
            None => {
                bail!("there is no [[contact]] in {}; nobody would be told of an alarm", args.plant.display())
            }
        }
    }
    let config = named::reach_config(&plant, &args.plant, None)
        .map_err(|faults| named::refused(&args.plant, &faults))?;
    let now = Timestamp::from(jiff::Timestamp::now());
    let all_arrived = block_on(async {
        let mut all_arrived = true;
        for contact in contacts {
            let way = match contact.way {
                ContactWay::Mail(_) => "mail",
                ContactWay::Webhook { .. } => "webhook",
            };
            match reach::try_contact(&plant, &config, contact, now).await {
                Ok(()) => announce!("{} ({way}): handed over; ask whether it has arrived", contact.id),
                Err(error) => {
                    all_arrived = false;
                    announce!("{} ({way}): not sent: {error}", contact.id);
                }
            }
        }
        Ok(all_arrived)
    })?;
    Ok(if all_arrived { ExitCode::SUCCESS } else { ExitCode::from(NO) })
}
