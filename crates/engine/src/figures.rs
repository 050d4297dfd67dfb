//! The figures of batches that go on, worked out by turns.
//!
//! Measures look at a whole batch again, and with a thousand machines that is too much for each look at the works. What
//! a batch is (its phases, standing, charge) is always that of now; its measures and confidence are those of its last turn, and it has one whenever
//! something of that changes. With few machines everyone has a turn each time.
//!
//! Only for what people look at: no finding, no ended batch and no saved state depends on it.

use model::{Batch, Board};

use crate::engine::Engine;
use crate::machine::{Seen, Setting};

/// Turns a look, besides those that are due by a change.
const TURNS: usize = 32;

/// What was worked out last.
#[derive(Debug, Clone, Default)]
pub struct Figures {
    /// By the machine's place in the plant file.
    kept: Vec<Option<Kept>>,
    /// Whose turn is next.
    next: usize,
}

#[derive(Debug, Clone)]
struct Kept {
    outline: Option<Batch>,
    batch: Option<Batch>,
    /// Its end has been reported and waits for its turn.
    ended: Vec<Batch>,
    /// Worked out since somebody last wrote it down.
    is_fresh: bool,
}

impl Figures {
    /// The batches that were worked out since [`written`](Figures::written), as they were then.
    pub fn fresh(&self) -> impl Iterator<Item = &Batch> {
        let fresh = self.kept.iter().flatten().filter(|kept| kept.is_fresh);
        fresh.flat_map(|kept| kept.ended.iter().chain(&kept.batch))
    }

    /// What was fresh has been written down.
    pub fn written(&mut self) {
        self.kept.iter_mut().flatten().for_each(|kept| kept.is_fresh = false);
    }

    /// Whose turn it is, of so many machines.
    fn turns(&mut self, machines: usize) -> impl Fn(usize) -> bool + use<> {
        self.kept.resize(machines, None);
        let (first, turns) = (self.next, TURNS.min(machines));
        self.next = (first + turns) % machines.max(1);
        move |place| (place + machines - first) % machines < turns
    }
}

impl Engine {
    /// The works as it stands, with figures as young as turns allow.
    pub fn look(&self, figures: &mut Figures) -> Board {
        let has_turn = figures.turns(self.machines());
        let lane =
            |((setting, seen), (place, kept)): ((Setting<'_>, Seen<'_>), (usize, &mut Option<Kept>))| {
                let outline = seen.watch().outline();
                let stands = |kept: &Kept| kept.outline == outline && !seen.is_foreseen() && !has_turn(place);
                if !kept.as_ref().is_some_and(stands) {
                    let (batch, ended) = (seen.open_batch(&setting), seen.ended());
                    *kept = Some(Kept { outline, batch, ended, is_fresh: true });
                }
                seen.watch().lane(&setting, kept.as_ref().and_then(|kept| kept.batch.clone()))
            };
        let lanes = self.seen().zip(figures.kept.iter_mut().enumerate()).map(lane).collect();
        self.board_of(lanes)
    }
}

#[cfg(test)]
mod tests {
    use std::fmt::Write;
    use std::sync::Arc;

    use model::{Arrival, Channel, Content, Reading, Timestamp};

    use super::*;

    const MACHINES: usize = TURNS + 3;

    fn engine() -> Engine {
        let mut plant = String::from(
            "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n[mqtt]\nurl = \"mqtt://localhost\"\n\
             [[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n",
        );
        for n in 0..MACHINES {
            write!(plant, "[[machine]]\nid = \"kettle-{n}\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n").unwrap();
        }
        Engine::new(Arc::new(plant::parse_plant(&plant).unwrap()))
    }

    fn soak(engine: &mut Engine, from: i64, to: i64) {
        for second in (from..to).step_by(5) {
            for n in 0..MACHINES {
                let at = Timestamp::from_millis(1_772_427_600_000 + second * 1000);
                let value = Some(31.0 + (second as f64 / 60.0).min(15.0));
                let reading = Reading {
                    machine: format!("kettle-{n}").parse().unwrap(),
                    channel: Channel::Chocolate,
                    at,
                    value,
                };
                engine.apply(&Arrival { arrived: at, retained: false, content: Content::Reading(reading) });
            }
        }
    }

    #[test]
    fn everyone_has_a_turn_and_the_rest_stay_as_they_were() {
        let (mut engine, mut figures) = (engine(), Figures::default());
        soak(&mut engine, 0, 1_800);
        assert_eq!(engine.look(&mut figures), engine.board(), "the first look works everything out");
        assert_eq!(figures.fresh().count(), MACHINES);
        figures.written();
        soak(&mut engine, 1_800, 1_810);
        engine.look(&mut figures);
        assert_eq!(figures.fresh().count(), TURNS);
        engine.look(&mut figures);
        assert_eq!(figures.fresh().count(), MACHINES);
        assert_eq!(figures.fresh().cloned().collect::<Vec<_>>(), engine.open_batches());
    }
}
