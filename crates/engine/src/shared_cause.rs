//! What machines share that can be at fault on several at once, by kind of finding: water, room, power, network, couverture, or people's habit.
//! Advice: common practice, no source.

use model::FindingKind;

/// What several machines would have in common.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct SharedCause {
    /// What they all do, as it stands behind "machines".
    pub(crate) what: &'static str,
    /// Where to look, in a sentence that is safe to follow.
    pub(crate) advice: &'static str,
}

const POWER: &str = "Look at the supply that they share: a tripped phase, a brown-out or a controller above them all; leave the board to a qualified \
                     electrician, and turn heat off by hand where it goes on.";
const WATER: &str = "Look at the cooling water that they share, its temperature, pump and valve, and at the room, before anything is done to one machine; \
                     opening the plant is for qualified people with it locked off.";
const NETWORK: &str = "Look at the network and the power of the senders that they share, and measure by hand every ten minutes until readings come again.";
const ROOM: &str = "Look at the room's cooling, doors and steam; watch the holds, and be careful with moulding until it is better.";
const SETTINGS: &str = "Look at what they share: set-points from one recipe or program, the room, and the water; bring them back one by one and make a temper \
                        test of each.";
const CHARGE: &str = "Look at what they share: the couverture's lot, the seed, and the recipe; keep the batches apart until temper tests have passed.";
const INSTRUMENTS: &str = "Look at what their probes share: the logger, its supply and its cables; measure by hand until it is mended by qualified people.";

impl SharedCause {
    /// `None` for prompts and trends, which are nobody's common fault.
    pub(crate) fn of(kind: FindingKind) -> Option<SharedCause> {
        let (what, advice) = match kind {
            FindingKind::Scorch => ("are too hot", POWER),
            FindingKind::TemperLoss => ("have lost their temper or may have", SETTINGS),
            FindingKind::WarmHold => ("are held too warm", SETTINGS),
            FindingKind::ColdHold => ("are held too cold", SETTINGS),
            FindingKind::SlowCooling => ("cool too slowly", WATER),
            FindingKind::Undershoot => ("were cooled too far", WATER),
            FindingKind::SeedMissed => ("came to working without seed", CHARGE),
            FindingKind::HoldDrift => ("drift in their hold", ROOM),
            FindingKind::Hunting => ("swing about their hold", WATER),
            FindingKind::Thickening => ("thicken", CHARGE),
            FindingKind::Solidifying => ("are setting", POWER),
            FindingKind::StirrerStopped => ("are not stirred", POWER),
            FindingKind::HeaterStuck => ("are heated although nobody asked for it", POWER),
            FindingKind::ProbeStuck => ("repeat one value", INSTRUMENTS),
            FindingKind::ProbeFault => ("have probes that give nothing usable", INSTRUMENTS),
            FindingKind::Spikes => ("have probes that jump", INSTRUMENTS),
            FindingKind::Silent => ("have gone silent", NETWORK),
            FindingKind::ClockOff => ("have clocks that are off", NETWORK),
            FindingKind::HotRoom => ("stand in a room that is too warm", ROOM),
            FindingKind::DampRoom => ("stand in a room that is too damp", ROOM),
            FindingKind::LongHold
            | FindingKind::TestDue
            | FindingKind::ProbeDrift
            | FindingKind::CoolingFade
            | FindingKind::CommonCause => return None,
        };
        Some(SharedCause { what, advice })
    }
}
