//! What people call machines and couvertures.

use std::collections::BTreeMap;

use jiff::tz::TimeZone;
use model::{Batch, CouvertureId, MachineId, Phase};

/// Names by id; what has none is called by its id.
#[derive(Debug, Clone, Default)]
pub struct Names {
    /// Machines.
    pub machines: BTreeMap<MachineId, String>,
    /// Couvertures.
    pub couvertures: BTreeMap<CouvertureId, String>,
}

impl Names {
    /// What people call a machine.
    pub fn machine<'n>(&'n self, id: &'n MachineId) -> &'n str {
        self.machines.get(id).map_or(id.as_str(), String::as_str)
    }

    /// What people call a couverture.
    pub fn couverture<'n>(&'n self, id: &'n CouvertureId) -> &'n str {
        self.couvertures.get(id).map_or(id.as_str(), String::as_str)
    }

    /// A batch by its machine and the moment at which it is laid over others, with a word on what began then: a batch has a start, too, which
    /// is hours before. `Alder, cooling from Mon 23 Nov 2026 07:05`.
    pub fn batch(&self, batch: &Batch, zone: &TimeZone) -> String {
        let began = |phase| batch.first(phase).is_some();
        let what = if began(Phase::Cooling) {
            "cooling"
        } else if began(Phase::Working) {
            "working"
        } else {
            "melting"
        };
        let from = zone.to_datetime(history::week::anchor(batch).to_jiff()).strftime("%a %-d %b %Y %H:%M");
        format!("{}, {what} from {from}", self.machine(&batch.machine))
    }

    /// Several machines, in a list as people say it.
    pub(crate) fn list(&self, ids: &[MachineId]) -> String {
        let mut names: Vec<String> = Vec::new();
        for id in ids {
            let name = self.machine(id).to_owned();
            if !names.contains(&name) {
                names.push(name);
            }
        }
        crate::saying::list(&names)
    }
}
