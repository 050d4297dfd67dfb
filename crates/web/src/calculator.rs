//! The sums on the bench page and on a machine's page: `?sum=seed&…`, worked out by `handwork` and laid out here.
//!
//! A sum is a question in the address, so that it changes nothing and can be asked again. What is known of the charge is filled in where
//! the reader sees it; what changes the answer and is not known is asked, and never filled in by itself.

use charts::Degrees;
use handwork::{ASSUMES, Amount, Figure, Mass, Material, Refusal, Remelt, Seed, TopUp, TopUpState, Vessel};
use plant::{Family, Limits};
use serde::Serialize;

use crate::problem::Problem;
use crate::query::Params;
use crate::reader::degrees_of;
use crate::view::Scene;

/// What the forms send.
pub(crate) const SUM_PARAMETERS: [&str; 19] = [
    "sum",
    "degrees",
    "mass",
    "mass_is",
    "melt_t",
    "seed_t",
    "amount",
    "amount_is",
    "vessel_kg",
    "vessel",
    "charge_kg",
    "charge_t",
    "add_kg",
    "add_t",
    "state",
    "mass_kg",
    "now_t",
    "to_t",
    "heater_w",
];

/// What is known of the charge.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Known {
    pub family: Family,
    pub limits: Limits,
    pub mass_kg: Option<f64>,
    pub chocolate_c: Option<f64>,
}

/// The forms, what stands in them, and an answer.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct CalculatorView {
    pub action: String,
    family: &'static str,
    degrees: &'static str,
    unit: &'static str,
    /// Which form is open.
    sum: String,
    fields: Fields,
    materials: Vec<&'static str>,
    answer: Option<AnswerView>,
    fault: Option<String>,
    assumes: Vec<String>,
}

#[derive(Debug, Clone, Serialize)]
struct AnswerView {
    figures: Vec<(&'static str, String)>,
    says: String,
}

/// What stands in the fields: what was sent, or what is known of the charge.
#[derive(Debug, Clone, Serialize)]
struct Fields {
    mass: String,
    mass_is: String,
    melt_t: String,
    seed_t: String,
    amount: String,
    amount_is: String,
    vessel_kg: String,
    vessel: String,
    charge_kg: String,
    charge_t: String,
    add_kg: String,
    add_t: String,
    state: String,
    mass_kg: String,
    now_t: String,
    to_t: String,
    heater_w: String,
}

impl CalculatorView {
    /// The calculator of the page `action`, with an answer if `params` ask for one.
    pub(crate) fn new(scene: Scene<'_>, action: String, params: &Params, known: &Known) -> CalculatorView {
        let answer =
            params.text("sum").map(|sum| Sum { params, known, degrees: sent_degrees(params) }.answer(sum));
        let (answer, fault) = match answer {
            None => (None, None),
            Some(Ok(told)) => (Some(told.view(scene)), None),
            Some(Err(refusal)) => (None, Some(scene.sentence(&refusal.to_string()))),
        };
        CalculatorView {
            action,
            family: known.family.as_str(),
            degrees: crate::reader::letter(scene.degrees),
            unit: scene.degrees.unit(),
            sum: params.text("sum").unwrap_or_default().to_owned(),
            fields: Fields::new(scene, params, known),
            materials: Material::NAMED.map(Material::as_str).to_vec(),
            answer,
            fault,
            assumes: ASSUMES.iter().map(|assumed| scene.sentence(assumed)).collect(),
        }
    }

    /// Refuses what the forms do not send.
    pub(crate) fn only(params: &Params, others: &[&str]) -> Result<(), Problem> {
        let known: Vec<&str> = others.iter().copied().chain(SUM_PARAMETERS).collect();
        params.only(if params.text("sum").is_some() { &known } else { others })
    }
}

fn sent_degrees(params: &Params) -> Degrees {
    params.text("degrees").and_then(degrees_of).unwrap_or_default()
}

impl Fields {
    fn new(scene: Scene<'_>, params: &Params, known: &Known) -> Fields {
        let sent = |name: &str| params.text(name).unwrap_or_default().to_owned();
        let or = |name: &str, known: Option<String>| match params.text("sum") {
            Some(_) => sent(name),
            None => known.unwrap_or_default(),
        };
        let mass = known.mass_kg.map(|kg| charts::to_the_gram(kg).to_string());
        let warm = known.chocolate_c.map(|celsius| format!("{:.1}", scene.degrees.of(celsius)));
        Fields {
            mass: or("mass", mass.clone()),
            mass_is: sent("mass_is"),
            melt_t: or("melt_t", warm.clone()),
            seed_t: sent("seed_t"),
            amount: sent("amount"),
            amount_is: sent("amount_is"),
            vessel_kg: sent("vessel_kg"),
            vessel: sent("vessel"),
            charge_kg: or("charge_kg", mass.clone()),
            charge_t: or("charge_t", warm.clone()),
            add_kg: sent("add_kg"),
            add_t: sent("add_t"),
            state: sent("state"),
            mass_kg: or("mass_kg", mass),
            now_t: or("now_t", warm),
            to_t: sent("to_t"),
            heater_w: sent("heater_w"),
        }
    }
}

/// A question that was sent.
struct Sum<'a> {
    params: &'a Params,
    known: &'a Known,
    degrees: Degrees,
}

struct ToldSum {
    figures: Vec<Figure>,
    says: String,
}

impl ToldSum {
    fn view(self, scene: Scene<'_>) -> AnswerView {
        let figures = self.figures.into_iter().map(|(name, value)| (name, scene.sentence(&value))).collect();
        AnswerView { figures, says: scene.sentence(&self.says) }
    }
}

impl Sum<'_> {
    fn answer(&self, sum: &str) -> Result<ToldSum, Refusal> {
        match sum {
            "seed" => self.seed(),
            "top-up" => self.top_up(),
            "remelt" => self.remelt(),
            other => {
                let other: String = other.chars().take(40).collect();
                Err(Refusal(format!("There is no sum `{other}`; there are seed, top-up and remelt.")))
            }
        }
    }

    fn seed(&self) -> Result<ToldSum, Refusal> {
        let kg = self.needed("mass", "the mass in kg")?;
        let mass = match self.params.text("mass_is") {
            Some("melt") => Mass::Melt(kg),
            Some("total") => Mass::Total(kg),
            Some(_) | None => {
                return Err(Refusal(
                    "Say whether the mass is the melt before the seed, or melt and seed together.".to_owned(),
                ));
            }
        };
        let number = self.needed("amount", "how much seed")?;
        let amount = match self.params.text("amount_is") {
            Some("of-melt") => Amount::OfMelt(number / 100.0),
            Some("of-total") => Amount::OfTotal(number / 100.0),
            Some("kg") => Amount::Kilograms(number),
            Some("land") => Amount::ToLandAt(self.degrees.to_celsius(number)),
            Some(_) | None => {
                return Err(Refusal(
                    "Say what the amount is: per cent of the melt, per cent of the total, kilograms, or where it shall land.".to_owned(),
                ));
            }
        };
        let question = Seed {
            family: self.known.family,
            limits: self.known.limits,
            mass,
            melt_c: self.temperature("melt_t", "how warm the melt is")?,
            seed_c: self.temperature("seed_t", "how warm the seed is")?,
            amount,
            vessel: self.vessel()?,
        };
        let answer = question.answer()?;
        Ok(ToldSum { figures: answer.figures(), says: answer.says })
    }

    fn top_up(&self) -> Result<ToldSum, Refusal> {
        let state = match self.params.text("state") {
            Some("solid") => TopUpState::Solid,
            Some("liquid") => TopUpState::Liquid,
            Some(_) | None => return Err(Refusal("Say whether the top-up is solid or melted.".to_owned())),
        };
        let question = TopUp {
            family: self.known.family,
            limits: self.known.limits,
            charge_kg: self.needed("charge_kg", "the mass that is there, in kg")?,
            charge_c: self.temperature("charge_t", "how warm the charge is")?,
            added_kg: self.needed("add_kg", "the mass that is added, in kg")?,
            added_c: self.temperature("add_t", "how warm the top-up is")?,
            state,
            vessel: self.vessel()?,
        };
        let answer = question.answer()?;
        Ok(ToldSum { figures: answer.figures(), says: answer.says })
    }

    fn remelt(&self) -> Result<ToldSum, Refusal> {
        let question = Remelt {
            family: self.known.family,
            limits: self.known.limits,
            mass_kg: self.needed("mass_kg", "the mass in kg")?,
            now_c: self.temperature("now_t", "how warm it is")?,
            to_c: self.number("to_t")?.map(|read| self.degrees.to_celsius(read)),
            heater_w: self.number("heater_w")?,
            vessel: self.vessel()?,
        };
        let answer = question.answer()?;
        Ok(ToldSum { figures: answer.figures(), says: answer.says })
    }

    fn vessel(&self) -> Result<Option<Vessel>, Refusal> {
        match (self.number("vessel_kg")?, self.params.text("vessel")) {
            (None, _) => Ok(None),
            (Some(mass_kg), Some(material)) => Ok(Some(Vessel { mass_kg, material: material.parse()? })),
            (Some(_), None) => Err(Refusal("Say what the vessel is made of.".to_owned())),
        }
    }

    fn number(&self, name: &str) -> Result<Option<f64>, Refusal> {
        let Some(text) = self.params.text(name) else { return Ok(None) };
        let number = text.replace(',', ".").parse::<f64>().ok().filter(|number| number.is_finite());
        number.map(Some).ok_or_else(|| {
            let shown: String = text.chars().take(40).collect();
            Refusal(format!("`{shown}` is not a number; write it like 1.5."))
        })
    }

    fn needed(&self, name: &str, what: &str) -> Result<f64, Refusal> {
        self.number(name)?.ok_or_else(|| Refusal(format!("Give {what}.")))
    }

    fn temperature(&self, name: &str, what: &str) -> Result<f64, Refusal> {
        self.needed(name, what).map(|read| self.degrees.to_celsius(read))
    }
}
