//! A site drawn at random: couverture, machine, how quick it is, what it measures with.

use std::fmt::Write;

use model::{Channel, Method};
use plant::{Family, Style};

use crate::dice::Dice;
use crate::spec::{Instruments, Spec, Wording};

/// Names of machines, in the order of the plant file.
pub(super) const NAMES: [&str; 5] = ["hazel", "juniper", "larch", "maple", "osier"];

/// One machine as it was drawn.
#[derive(Debug, Clone)]
pub(super) struct Drawn {
    pub(super) style: Style,
    pub(super) method: Method,
    family: Family,
    capacity_kg: f64,
    /// What the vessel is built for, minutes; `None` where the style's own build decides.
    cooling_minutes: Option<f64>,
    /// The file says how long cooling usually takes.
    says_cooling: bool,
    limits: String,
    calibration_c: f64,
    pub(super) instruments: Instruments,
}

fn pick<T: Copy>(dice: &mut Dice, from: &[T]) -> T {
    from[(dice.even() * from.len() as f64) as usize]
}

/// Between `low` and `high`, as many in each doubling.
fn spread(dice: &mut Dice, low: f64, high: f64) -> f64 {
    (dice.between(low.ln(), high.ln())).exp()
}

/// Draws a machine.
pub(super) fn draw(dice: &mut Dice) -> Drawn {
    use Style::{Bench, Continuous, Kettle, Wheel};
    let style = pick(dice, &[Kettle, Kettle, Kettle, Wheel, Wheel, Continuous, Bench]);
    let method = match style {
        Style::Kettle => pick(dice, &[Method::Seed, Method::Seed, Method::Seed, Method::ButterSeed]),
        Style::Wheel => pick(dice, &[Method::Seed, Method::Seed, Method::ButterSeed]),
        Style::Continuous => Method::Continuous,
        Style::Bench => pick(dice, &[Method::PartialMelt, Method::Tabling]),
    };
    let (capacity_kg, cooling_minutes) = match style {
        Style::Kettle => (spread(dice, 12.0, 400.0), Some(spread(dice, 32.0, 280.0))),
        Style::Wheel => (spread(dice, 4.0, 40.0), Some(spread(dice, 18.0, 90.0))),
        Style::Continuous => (spread(dice, 20.0, 200.0), Some(spread(dice, 30.0, 120.0))),
        Style::Bench => {
            (spread(dice, 1.0, 8.0), (method != Method::PartialMelt).then(|| dice.between(11.0, 25.0)))
        }
    };
    let family = pick(dice, &Family::ALL);
    Drawn {
        style,
        method,
        family,
        capacity_kg: (capacity_kg * 2.0).round() / 2.0,
        cooling_minutes: cooling_minutes.map(f64::round),
        says_cooling: dice.chance(0.85),
        limits: limits(dice, family),
        calibration_c: if dice.chance(0.3) { (dice.between(-0.6, 0.6) * 10.0).round() / 10.0 } else { 0.0 },
        instruments: instruments(dice, style, method),
    }
}

/// A third of all couvertures come with figures of their own on the bag.
fn limits(dice: &mut Dice, family: Family) -> String {
    if !dice.chance(0.33) {
        return String::new();
    }
    let usual = family.default_limits();
    let shift = (dice.between(-0.5, 0.5) * 10.0).round() / 10.0;
    let (low, high) = (usual.working.low() + shift, usual.working.high() + shift);
    format!("working = [{low:.1}, {high:.1}]\ntemper_loss = {:.1}\n", usual.temper_loss + shift)
}

fn instruments(dice: &mut Dice, style: Style, method: Method) -> Instruments {
    use Channel::{Chocolate, Humidity, Jacket, Motor, Room, Setpoint, Stirrer};
    let by_hand = style == Style::Bench;
    let sets: &[&[Channel]] = if by_hand && method == Method::PartialMelt {
        &[&[Chocolate], &[Chocolate, Room]]
    } else if style == Style::Wheel {
        &[
            &[Chocolate],
            &[Chocolate, Setpoint],
            &[Chocolate, Setpoint, Stirrer, Motor],
            &[Chocolate, Stirrer],
            &[Chocolate, Room, Humidity],
            &[Chocolate, Jacket, Setpoint, Stirrer, Motor, Room, Humidity],
        ]
    } else {
        &[
            &[Chocolate],
            &[Chocolate, Setpoint],
            &[Chocolate, Jacket],
            &[Chocolate, Jacket, Setpoint],
            &[Chocolate, Setpoint, Stirrer],
            &[Chocolate, Jacket, Room, Motor],
            &[Chocolate, Jacket, Setpoint, Stirrer, Motor],
            &[Chocolate, Jacket, Room, Humidity, Setpoint, Stirrer, Motor],
            &[Chocolate, Jacket, Room, Humidity, Setpoint, Stirrer, Motor],
        ]
    };
    let channels = pick(dice, sets).to_vec();
    let sample_s = if by_hand {
        pick(dice, &[20.0, 30.0, 60.0, 120.0, 240.0])
    } else {
        pick(dice, &[1.0, 2.0, 5.0, 5.0, 10.0, 10.0, 30.0, 60.0])
    };
    Instruments {
        channels,
        sample_s,
        slow_sample_s: sample_s.max(pick(dice, &[10.0, 30.0, 60.0])),
        resolution_c: pick(dice, &[0.01, 0.01, 0.0625, 0.1, 0.1, 0.1, 0.25, 0.5]),
        noise_c: spread(dice, 0.01, 0.15),
        lag_s: if dice.chance(0.25) { dice.between(60.0, 150.0) } else { dice.between(8.0, 40.0) },
        offset_c: if dice.chance(0.3) { dice.between(-0.4, 0.4) } else { 0.0 },
        heating_noise_c: if dice.chance(0.25) { dice.between(0.03, 0.25) } else { 0.0 },
        deadband_c: (!by_hand && dice.chance(0.12)).then(|| pick(dice, &[0.1, 0.2, 0.5])),
        wording: pick(dice, &[Wording::Numbers, Wording::Packs, Wording::ChannelPacks]),
    }
}

/// The plant file of `all`, with what it says of cooling: what people there would say, right to some per cent. Beside it
/// what each machine is built for.
pub(super) fn file(all: &[Drawn], dice: &mut Dice) -> (String, Vec<Option<f64>>) {
    let built: Vec<Option<f64>> = all.iter().map(|drawn| drawn.cooling_minutes).collect();
    let plant = plant::parse_plant(&text(all, &built)).expect("a test reads the files of many seeds");
    let told: Vec<Option<f64>> = (all.iter().zip(&plant.machines).enumerate())
        .map(|(place, (drawn, machine))| {
            drawn.cooling_minutes?;
            let real = Spec::from_plant(&plant, machine, place).nominal_cooling_minutes();
            drawn.says_cooling.then(|| (real * dice.between(0.93, 1.07)).round())
        })
        .collect();
    (text(all, &told), built)
}

fn text(all: &[Drawn], minutes: &[Option<f64>]) -> String {
    let mut text = String::from(HEAD);
    for (place, drawn) in all.iter().enumerate() {
        let name = NAMES[place];
        let _ = write!(
            text,
            "\n[[couverture]]\nid = \"c-{name}\"\nfamily = \"{}\"\n{}\n[[machine]]\nid = \"{name}\"\nstyle = \"{}\"\n\
             capacity_kg = {:.1}\ncouverture = \"c-{name}\"\nmethod = \"{}\"\n",
            drawn.family.as_str(),
            drawn.limits,
            drawn.style.as_str(),
            drawn.capacity_kg,
            drawn.method.as_str(),
        );
        if let Some(minutes) = minutes[place] {
            let _ = writeln!(text, "cooling_minutes = {minutes:.0}");
        }
        if drawn.calibration_c != 0.0 {
            let _ = write!(text, "\n[machine.channel.chocolate]\noffset = {:.1}\n", drawn.calibration_c);
        }
    }
    text
}

const HEAD: &str =
    "[plant]\nname = \"Quay Lane works\"\ntime_zone = \"Europe/Lisbon\"\n\n[mqtt]\nurl = \"embedded\"\n";
