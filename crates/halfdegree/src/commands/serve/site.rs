//! The plant file with everything that it names, read and checked before anything starts or changes.

use std::path::Path;
use std::sync::Arc;

use anyhow::bail;
use intake::EmbeddedBroker;
use plant::Plant;

use crate::commands::named::{Named, refused};
use crate::commands::{embedded_broker, parse_plant_text, plant_text};

/// One plant file, whole.
pub(super) struct Site {
    pub(super) plant: Arc<Plant>,
    pub(super) text: String,
    pub(super) named: Named,
}

impl Site {
    /// Reads the file, and the certificates, passwords and secrets that it names. `origin` is how browsers call the service.
    pub(super) fn read(path: &Path, origin: Option<String>) -> anyhow::Result<Site> {
        let text = plant_text(path)?;
        let plant = parse_plant_text(path, &text)?;
        let named = Named::read(&plant, path, origin).map_err(|faults| refused(path, &faults))?;
        Ok(Site { plant, text, named })
    }

    /// Starts the broker inside the service, if the plant has it there.
    pub(super) fn start_inside(&self) -> anyhow::Result<Option<EmbeddedBroker>> {
        match self.named.broker {
            Some(_) => Ok(None),
            None => Ok(Some(embedded_broker(&self.plant.mqtt, self.named.credentials.as_ref())?)),
        }
    }

    /// May it take the place of `running` without a restart? The broker inside the service cannot change while it runs: what waits in it
    /// would be lost.
    pub(super) fn may_follow(&self, running: &Site) -> anyhow::Result<()> {
        let is_inside = |site: &Site| site.named.broker.is_none();
        let (new, old) = (&self.plant.mqtt, &running.plant.mqtt);
        if is_inside(self) != is_inside(running) {
            bail!("`url` in [mqtt] goes from {} to {}, which needs a restart", old.url, new.url);
        }
        if is_inside(self)
            && (new.listen != old.listen || self.named.credentials != running.named.credentials)
        {
            bail!(
                "`listen`, user or password of the broker inside the service have changed, which needs a restart"
            );
        }
        Ok(())
    }

    /// What is different, for the log.
    pub(super) fn changes_since(&self, old: &Site) -> Vec<String> {
        let (new, old_plant) = (&*self.plant, &*old.plant);
        let mut changes = Vec::new();
        list(&mut changes, "machine", &new.machines, &old_plant.machines, |machine| machine.id.to_string());
        list(&mut changes, "couverture", &new.couvertures, &old_plant.couvertures, |kind| {
            kind.id.to_string()
        });
        let parts = [
            ("name or time zone", new.name != old_plant.name || new.time_zone != old_plant.time_zone),
            ("[mqtt]", new.mqtt != old_plant.mqtt || self.named.credentials != old.named.credentials),
            ("sources", new.sources != old_plant.sources),
            ("lateness", new.lateness != old_plant.lateness),
            ("temper tests", new.temper_test != old_plant.temper_test),
            ("those who are told of alarms", new.reach != old_plant.reach),
            ("probe checks", new.probe_checks != old_plant.probe_checks),
        ];
        changes.extend(
            parts.iter().filter(|(_, is_other)| *is_other).map(|(what, _)| format!("{what} changed")),
        );
        if new.mqtt.client_id != old_plant.mqtt.client_id {
            changes.push("what waits at the broker under the old `client_id` is left there".to_owned());
        }
        changes
    }
}

fn list<T: PartialEq>(
    changes: &mut Vec<String>,
    what: &str,
    new: &[T],
    old: &[T],
    id: impl Fn(&T) -> String,
) {
    for item in new {
        match old.iter().find(|before| id(before) == id(item)) {
            None => changes.push(format!("{what} {} is new", id(item))),
            Some(before) if before != item => changes.push(format!("{what} {} changed", id(item))),
            Some(_) => {}
        }
    }
    for gone in old.iter().filter(|before| !new.iter().any(|item| id(item) == id(before))) {
        changes.push(format!("{what} {} is gone; its batches and readings stay", id(gone)));
    }
}
