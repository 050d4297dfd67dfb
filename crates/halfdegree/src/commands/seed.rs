//! `halfdegree seed`: works out where a mass lands with seed or a top-up, and what melting it again takes. Starts nothing.

use std::process::ExitCode;

use handwork::{ASSUMES, Amount, Figure, Mass, Refusal, Remelt, Seed, TopUp, Vessel};
use plant::Family;

use crate::args::seed::{MeltArgs, RemeltArgs, SeedArgs, SeedSum, ShareOf, TopUpArgs, VesselArgs};
use crate::say::say;

/// As wide as the sentences of `analyse`.
const WIDTH: usize = 78;

pub(crate) fn run(args: &SeedArgs) -> anyhow::Result<ExitCode> {
    let told = match &args.sum {
        SeedSum::Share(sum) => {
            let amount = match sum.of {
                ShareOf::Melt => Amount::OfMelt(sum.share),
                ShareOf::Total => Amount::OfTotal(sum.share),
            };
            seeded(&sum.melt, amount)
        }
        SeedSum::Mass(sum) => seeded(&sum.melt, Amount::Kilograms(sum.seed_kg)),
        SeedSum::To(sum) => seeded(&sum.melt, Amount::ToLandAt(sum.land_c)),
        SeedSum::TopUp(sum) => topped_up(sum),
        SeedSum::Remelt(sum) => remelted(sum),
    };
    say!("{}", told?);
    Ok(ExitCode::SUCCESS)
}

fn seeded(melt: &MeltArgs, amount: Amount) -> Result<String, Refusal> {
    let family = Family::from(melt.family);
    let mass = match (melt.melt_kg, melt.total_kg) {
        (Some(melt_kg), _) => Mass::Melt(melt_kg),
        (None, Some(total_kg)) => Mass::Total(total_kg),
        (None, None) => return Err(Refusal("Give --melt-kg or --total-kg.".to_owned())),
    };
    let question = Seed {
        family,
        limits: family.default_limits(),
        mass,
        melt_c: melt.melt_c,
        seed_c: melt.seed_c,
        amount,
        vessel: vessel(&melt.vessel),
    };
    let answer = question.answer()?;
    Ok(page(&answer.figures(), &answer.says))
}

fn topped_up(sum: &TopUpArgs) -> Result<String, Refusal> {
    let family = Family::from(sum.family);
    let question = TopUp {
        family,
        limits: family.default_limits(),
        charge_kg: sum.charge_kg,
        charge_c: sum.charge_c,
        added_kg: sum.add_kg,
        added_c: sum.add_c,
        state: sum.state.into(),
        vessel: vessel(&sum.vessel),
    };
    let answer = question.answer()?;
    Ok(page(&answer.figures(), &answer.says))
}

fn remelted(sum: &RemeltArgs) -> Result<String, Refusal> {
    let family = Family::from(sum.family);
    let question = Remelt {
        family,
        limits: family.default_limits(),
        mass_kg: sum.mass_kg,
        now_c: sum.now_c,
        to_c: sum.to_c,
        heater_w: sum.heater_w,
        vessel: vessel(&sum.vessel),
    };
    let answer = question.answer()?;
    Ok(page(&answer.figures(), &answer.says))
}

fn vessel(args: &VesselArgs) -> Option<Vessel> {
    let (mass_kg, material) = args.vessel_kg.zip(args.vessel)?;
    Some(Vessel { mass_kg, material })
}

/// Figures, what they mean, what was assumed.
fn page(figures: &[Figure], says: &str) -> String {
    let mut lines: Vec<String> = figures.iter().map(|(name, value)| format!("{name:<10}{value}")).collect();
    lines.push(String::new());
    lines.extend(wrapped(says, ""));
    lines.push(String::new());
    lines.push("It assumes:".to_owned());
    for assumed in ASSUMES {
        lines.extend(wrapped(assumed, "  "));
    }
    lines.push(String::new());
    lines.push("Temperature alone never proves temper; only a temper test does.".to_owned());
    lines.join("\n")
}

fn wrapped(text: &str, indent: &str) -> Vec<String> {
    let mut lines = vec![indent.to_owned()];
    for word in text.split_whitespace() {
        let line = lines.last_mut().expect("there is always a line");
        if line.chars().count() + word.chars().count() >= WIDTH && line.trim() != "" {
            lines.push(format!("{indent}{word}"));
        } else {
            if line.len() > indent.len() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines
}
