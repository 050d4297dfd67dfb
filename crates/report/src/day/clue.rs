//! Evidence in sentences: a figure with its usual value and the number of batches behind it.

use history::day::{Clue, Deviation, Figure, Missing, Sign};
use model::{FindingKind, MachineId};

use super::Teller;
use crate::saying::{count, counted, day_and_hour, hour, plain};

impl Teller<'_> {
    pub(super) fn clue(&self, clue: &Clue) -> String {
        let says = self.sign(clue.machine.as_ref(), &clue.sign);
        match (&clue.sign, clue.since) {
            (
                Sign::Found(_)
                | Sign::TopUp { .. }
                | Sign::TestFailed
                | Sign::TestPassed
                | Sign::HandDiffers(_),
                Some(at),
            ) => {
                format!("{says}, {}", hour(at, self.zone))
            }
            (Sign::Stood(_), Some(at)) => format!("{says}, since {}", day_and_hour(at, self.zone)),
            (_, _) => says,
        }
    }

    pub(super) fn sign(&self, machine: Option<&MachineId>, sign: &Sign) -> String {
        let name = machine.map(|machine| self.names.machine(machine));
        let on = name.map(|name| format!("{name}: ")).unwrap_or_default();
        let says = match sign {
            Sign::Off(deviation) => off(deviation),
            Sign::AsUsual(deviation) => as_usual(deviation),
            Sign::Found(kind) => finding(*kind),
            Sign::Stood(kind) => {
                format!("{} found over its batches and still standing", plain(kind.as_str()))
            }
            Sign::NoDip => "no dip where seed goes in".to_owned(),
            Sign::JacketFollowed(off) => {
                format!("the jacket moved with the chocolate ({:+.1} °C)", off.value - off.usual)
            }
            Sign::JacketStayed(off) => {
                format!("the probe moved by {:+.1} °C, and the jacket did not follow", off.value - off.usual)
            }
            Sign::HandDiffers(apart) => format!("a hand thermometer showed {apart:+.1} °C beside the probe"),
            Sign::HandAgrees(apart) => format!("a hand thermometer agreed with the probe ({apart:+.1} °C)"),
            Sign::TestFailed => "a temper test failed".to_owned(),
            Sign::TestPassed => "a temper test passed".to_owned(),
            Sign::Followed => "the batch before it was in trouble already".to_owned(),
            Sign::CameLater => "everything came later, so nothing is lost".to_owned(),
            Sign::Several { machines, of, figure: Some(figure) } => {
                format!("{} of {} machines show it ({})", count(*machines), count(*of), name_of(*figure))
            }
            Sign::Several { machines, of, figure: None } => {
                format!("{} of {} machines show it", count(*machines), count(*of))
            }
            Sign::TopUp { mass_kg, temperature, is_large } => top_up(*mass_kg, *temperature, *is_large),
            Sign::AfterGap { machines } => {
                format!("it began during or after a gap on {} machines at once", count(*machines))
            }
            Sign::NewLot { failed, of, passed } => format!(
                "{} of {} machines with a lot that is new to them failed their tests, and {} without it passed",
                count(*failed),
                count(*of),
                count(*passed)
            ),
            Sign::OnePerson { failed, passed } => format!(
                "all that failed were worked by the same person, all that passed by others: {} failed, {} passed",
                counted(*failed, "batch", "batches"),
                count(*passed)
            ),
            Sign::Alone { of } => format!("one machine of {} only", count(*of)),
            Sign::OthersAsUsual { machines } => {
                format!("{} machines with another couverture are as usual", count(*machines))
            }
        };
        crate::saying::capital(&format!("{on}{says}"))
    }
}

/// `a large top-up: 10 kg at 20 °C`.
fn top_up(mass_kg: Option<f64>, temperature: Option<f64>, is_large: bool) -> String {
    let what = if is_large && mass_kg.is_some() { "a large top-up" } else { "a top-up" };
    let mass = mass_kg.map(|mass| format!("{mass:.1} kg"));
    let warm = temperature.map(|celsius| format!("at {celsius:.0} °C"));
    match [mass, warm].into_iter().flatten().collect::<Vec<_>>().join(" ") {
        told if told.is_empty() => format!("{what} shortly before the hold was out"),
        told => format!("{what} shortly before the hold was out: {told}"),
    }
}

/// `cooling 104 min, usually 71 min (12 batches)`.
fn off(deviation: &Deviation) -> String {
    let Deviation { figure, value, usual, batches, .. } = deviation;
    format!(
        "{} {}, usually {} ({batches} batches)",
        name_of(*figure),
        said(*figure, *value),
        said(*figure, *usual)
    )
}

fn as_usual(deviation: &Deviation) -> String {
    let Deviation { figure, value, batches, .. } = deviation;
    format!("{} as usual, {} ({batches} batches)", name_of(*figure), said(*figure, *value))
}

/// What people call a figure.
pub(crate) fn name_of(figure: Figure) -> &'static str {
    match figure {
        Figure::SoakMax => "highest in the soak",
        Figure::SoakOver => "chocolate over the set-point in the soak",
        Figure::MeltMinutes => "melting",
        Figure::FellBefore => "largest fall before cooling",
        Figure::CoolingMinutes => "cooling",
        Figure::CoolingTau => "cooling time constant",
        Figure::Lowest => "lowest on the way down",
        Figure::SeedDip => "dip when seed went in",
        Figure::Settled => "settled at",
        Figure::WorkingMean => "mean while working",
        Figure::WorkingSd => "scatter while working",
        Figure::Drift => "drift while working",
        Figure::AboveLoss => "above the temper-loss limit",
        Figure::Unknown => "unknown",
        Figure::Room => "the room",
        Figure::Humidity => "its humidity",
        Figure::JacketCooling => "jacket while cooling, coldest",
        Figure::JacketHold => "jacket over chocolate while working",
        Figure::JacketSwing => "swing of the jacket while working",
        Figure::SetpointHold => "set-point while working",
        Figure::OffSetpoint => "chocolate over the set-point",
        Figure::Under => "chocolate under the set-point, the coldest tenth",
        Figure::Swing => "swing while working",
        Figure::Jump => "largest step within two minutes",
        Figure::Still => "longest time without a change",
        Figure::Motor => "motor current, first hour",
        Figure::MotorRise => "motor current, late over early",
        Figure::Unstirred => "not stirred",
        Figure::Mass => "mass of the charge",
        Figure::SeedShare => "seed, share of the mass",
        Figure::SeedAfter => "seed after the start of cooling",
        Figure::SeedAt => "chocolate when seed went in",
    }
}

/// Unit and decimals of a figure.
pub(crate) fn unit_of(figure: Figure) -> (&'static str, usize) {
    match figure {
        Figure::SoakMax
        | Figure::SoakOver
        | Figure::FellBefore
        | Figure::Lowest
        | Figure::SeedDip
        | Figure::Room
        | Figure::JacketCooling
        | Figure::JacketHold
        | Figure::JacketSwing
        | Figure::SeedAt => ("°C", 1),
        Figure::MeltMinutes
        | Figure::CoolingMinutes
        | Figure::CoolingTau
        | Figure::Unknown
        | Figure::Unstirred
        | Figure::Still
        | Figure::SeedAfter => ("min", 0),
        Figure::Settled
        | Figure::WorkingMean
        | Figure::WorkingSd
        | Figure::SetpointHold
        | Figure::OffSetpoint
        | Figure::Under
        | Figure::Swing
        | Figure::Jump => ("°C", 2),
        Figure::Drift => ("°C/h", 2),
        Figure::AboveLoss => ("°C·min", 1),
        Figure::Humidity => ("%RH", 0),
        Figure::Motor => ("A", 2),
        Figure::MotorRise | Figure::SeedShare => ("", 2),
        Figure::Mass => ("kg", 1),
    }
}

/// `31.42 °C`; a value that rounds to nothing has no sign.
pub(crate) fn said(figure: Figure, value: f64) -> String {
    let (unit, decimals) = unit_of(figure);
    let scale = 10_f64.powi(i32::try_from(decimals).unwrap_or(0));
    let value = (value * scale).round() / scale + 0.0;
    if unit.is_empty() { format!("{value:.decimals$}") } else { format!("{value:.decimals$} {unit}") }
}

fn finding(kind: FindingKind) -> String {
    format!("found {}", plain(kind.as_str()))
}

/// What was not known, as a sentence.
pub(super) fn missing(missing: Missing) -> &'static str {
    match missing {
        Missing::Reference => "no hand thermometer was held beside the probe",
        Missing::Mass => "the mass of the charge was not told",
        Missing::SeedMass => "the mass of the seed was not told",
        Missing::Lot => "the lot was not told",
        Missing::Room => "no channel tells of the room",
        Missing::Jacket => "no channel tells of the jacket or water",
        Missing::Motor => "no channel tells of the motor",
        Missing::Stirrer => "no channel tells of the stirrer",
        Missing::Test => "no temper test was reported",
        Missing::Cabinet => "nothing is known of cabinet and moulds",
        Missing::Past => "there are too few earlier good batches",
    }
}
