//! The machines of the plant, by the id that stands in a topic.

use std::collections::HashMap;

use plant::{Machine, Plant};

/// An id is shorter; what stands there may be anything.
const SHOWN_CHARS: usize = 64;

/// Finds a machine.
#[derive(Debug)]
pub(crate) struct Machines(HashMap<String, Machine>);

impl Machines {
    pub(crate) fn of(plant: &Plant) -> Machines {
        let machines = plant.machines.iter().map(|machine| (machine.id.as_str().to_owned(), machine.clone()));
        Machines(machines.collect())
    }

    pub(crate) fn all(&self) -> impl Iterator<Item = &Machine> {
        self.0.values()
    }

    /// # Errors
    /// A plain sentence if the plant has no such machine.
    pub(crate) fn find(&self, id: &str) -> Result<&Machine, String> {
        self.0.get(id).ok_or_else(|| {
            let shown: String = id.chars().take(SHOWN_CHARS).collect();
            format!("there is no machine `{shown}` in the plant file")
        })
    }
}
