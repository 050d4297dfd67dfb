//! What people call machines and couvertures.

use std::collections::BTreeMap;

use model::{CouvertureId, MachineId};

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
