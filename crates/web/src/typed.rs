//! What was typed into a form: looked at before it becomes an event, and shown again if it is refused.
//!
//! A form that is refused stands on its page with everything that was typed, and the sentence stands at the field that is wrong. A sentence for
//! programs names fields in backticks, as their documents do (`mass_kg`); here they are called as the form calls them.

use std::collections::BTreeMap;

use model::{Channel, Span};
use plant::Machine;
use records::By;
use serde::Serialize;
use serde_json::Value;

use crate::app::App;
use crate::fields::{FieldWords, field_words};
use crate::handlers::account::sentence;
use crate::problem::Problem;
use crate::query::Params;
use crate::view::Scene;
use crate::words::kilograms;
use crate::written::{LONGEST_NAME, name_of};

/// What is typed into one line, or into the box of a note.
const LONGEST: [(&str, usize); 3] = [("by", LONGEST_NAME), ("lot", 60), ("text", 1000)];
/// Fields that are chosen, beside which no sentence has room.
const NOT_TYPED: [&str; 2] = ["method", "cooled"];
/// Filled to the brim: a machine takes this much more than the plant file says. Common practice, no source.
const BRIM: f64 = 1.2;
/// An entry is made within so long of what it tells; common practice, no source.
const ENTERED_WITHIN: Span = Span::from_mins(30);
/// A room in which somebody works, °C.
const ROOM_C: std::ops::RangeInclusive<f64> = 0.0..=50.0;

/// A form that was refused; empty where none was.
#[derive(Debug, Clone, Default, Serialize)]
pub(crate) struct Typed {
    /// The kind of event, `clean`, or the way in which a test is entered.
    form: String,
    fields: BTreeMap<String, String>,
    /// What is wrong, at its field.
    faults: BTreeMap<String, String>,
}

impl Typed {
    /// The form again, and the sentence that stands above it because it belongs to no field.
    pub(crate) fn refused(scene: Scene<'_>, fields: &Params, problem: &Problem) -> (Typed, Option<String>) {
        let form = form_of(fields);
        let (field, says) = in_words(&form, &scene.sentence(&problem.sentence));
        let field = field.filter(|field| !form.is_empty() && !NOT_TYPED.contains(&field.as_str()));
        let mut typed = Typed { form, ..Typed::default() };
        typed.fields = fields.pairs().map(|(name, text)| (name.to_owned(), text.to_owned())).collect();
        match field {
            Some(field) => {
                typed.faults.insert(field, says);
                (typed, None)
            }
            None => (typed, Some(says)),
        }
    }
}

fn form_of(fields: &Params) -> String {
    let named = if fields.text("clean").is_some() { Some("clean") } else { fields.text("form") };
    named.or_else(|| fields.text("event")).unwrap_or_default().to_owned()
}

/// The sentence with the labels of the form for the names of fields, and the first field that it names.
pub(crate) fn in_words(form: &str, said: &str) -> (Option<String>, String) {
    let mut first = None;
    let mut words = String::with_capacity(said.len());
    for (place, part) in said.split('`').enumerate() {
        match field_words(form, part).filter(|_| place % 2 == 1) {
            Some(FieldWords { label, .. }) => {
                first.get_or_insert_with(|| part.to_owned());
                let before =
                    ["The field ", "The parameter "].iter().find_map(|lead| words.strip_suffix(lead));
                words.truncate(before.map_or(words.len(), str::len));
                words += &format!("“{label}”");
            }
            None if place % 2 == 1 => words += &format!("`{part}`"),
            None => words += part,
        }
    }
    let stop = if words.ends_with(['.', '!', '?']) { "" } else { "." };
    (first, sentence(&(words + stop)))
}

/// Refuses what a hand has slipped on, as far as it is known here what the machine holds and how warm it is.
pub(crate) async fn check(app: &App, machine: &Machine, by: &By, event: &Value) -> Result<(), Problem> {
    let text = |name: &str| event.get(name).and_then(Value::as_str);
    let number = |name: &str| event.get(name).and_then(Value::as_f64);
    for (name, longest) in LONGEST {
        let typed = text(name).map_or(0, |typed| typed.chars().count());
        if longest < typed {
            return refused(format!("`{name}` has {typed} characters, and at most {longest} are kept"));
        }
    }
    if let Some(room) = number("room_c").filter(|room| !ROOM_C.contains(room)) {
        return refused(format!(
            "`room_c` is {room:.1} °C, and a room is between {:.1} and {:.1} °C",
            ROOM_C.start(),
            ROOM_C.end()
        ));
    }
    match text("event").unwrap_or_default() {
        "charge" => mass(machine, number("mass_kg")),
        "seed" => {
            mass(machine, number("mass_kg"))?;
            seed(app, machine, number("temperature")).await
        }
        "top-up" => {
            mass(machine, number("mass_kg"))?;
            top_up(app, machine, number("temperature"))
        }
        "temper-test" if event.get("curve").is_none() => smear(event),
        "note" if event.get("clean").is_some() && text("by").is_none() && name_of(by).is_none() => {
            refused("`by` is missing; a clean counts for nothing until somebody signs it".to_owned())
        }
        _ => Ok(()),
    }
}

fn mass(machine: &Machine, kg: Option<f64>) -> Result<(), Problem> {
    let Some(kg) = kg else {
        return refused("`mass_kg` is missing; weigh it, and enter it in kg".to_owned());
    };
    match machine.capacity_kg {
        Some(holds) if holds * BRIM < kg => refused(format!(
            "`mass_kg` is {}, and {} holds {}; look at the figure again, or at the machine in the plant file",
            kilograms(kg),
            machine.name,
            kilograms(holds)
        )),
        Some(_) | None => Ok(()),
    }
}

/// Seed is cooler than what it seeds.
async fn seed(app: &App, machine: &Machine, celsius: Option<f64>) -> Result<(), Problem> {
    let Some(celsius) = celsius else { return Ok(()) };
    let (from, to) = (app.now() - ENTERED_WITHIN, app.now() + Span::from_millis(1));
    let lately = app.series(&machine.id, Channel::Chocolate, from, to).await?;
    match lately.into_iter().filter_map(|(_, value)| value).max_by(f64::total_cmp) {
        Some(warmest) if warmest < celsius => refused(format!(
            "`temperature` is {celsius:.1} °C, and the charge was at {warmest:.1} °C or below in the last half hour; seed is cooler than the \
             charge"
        )),
        Some(_) | None => Ok(()),
    }
}

fn top_up(app: &App, machine: &Machine, celsius: Option<f64>) -> Result<(), Problem> {
    let scorch = app.state.plant.limits(machine, &machine.couverture).scorch;
    match celsius {
        Some(celsius) if scorch < celsius => refused(format!(
            "`temperature` is {celsius:.1} °C, above the scorch limit of {scorch:.1} °C; what was so hot does not go in, and if it did, write \
             a note"
        )),
        Some(_) | None => Ok(()),
    }
}

fn smear(event: &Value) -> Result<(), Problem> {
    match ["gloss", "contraction", "snap"].iter().find(|name| event.get(**name).is_none()) {
        Some(name) => refused(format!("`{name}` is missing; a smear is judged by all three")),
        None => Ok(()),
    }
}

fn refused(says: String) -> Result<(), Problem> {
    Err(Problem::refused("bad-event", says))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sentence_for_programs_is_told_in_the_words_of_the_form() {
        let told = in_words("seed", "`temperature` is `hot`, and must be above zero");
        let says = "“Temperature of the seed” is `hot`, and must be above zero.".to_owned();
        assert_eq!(told, (Some("temperature".to_owned()), says));
        let told = in_words("decision", "The field `reason` should be why it was decided.").1;
        assert_eq!(told, "“Why” should be why it was decided.");
        assert_eq!(in_words("shelve", "`minutes` is 0").1, "“For how long” is 0.");
        assert_eq!(in_words("note", "it is late.").1, "It is late.");
    }
}
