//! `truth.json`: the shape in which the truth leaves the program.

use model::{Measures, PhaseSpan, Timestamp};
use serde_json::{Value, json};

use crate::conditions::Condition;
use crate::deeds::Mark;
use crate::faults::Happened;
use crate::recorder::Told;
use crate::truth::{MachineTruth, TrueBatch, Truth};

/// Name and version of the shape.
const SCHEMA: &str = "halfdegree.truth/1";
/// What the phases mean, for a reader who has the file alone.
const DEFINITIONS: &str = "Phases are those of the noiseless bulk temperature, to 5 s: a level is left at the last moment \
within 0.1 °C of it; soak from the lower end of the melt range less 2 °C; settling from the working range's upper end plus \
0.5 °C; working at the end of the first five minutes within the range ± 0.5 °C and flatter than 0.05 °C/min; conditions \
are stretches past the limits without delay or deadband; faults are causes.";

impl Truth {
    /// As JSON.
    pub fn to_json(&self) -> Value {
        json!({
            "schema": SCHEMA,
            "definitions": DEFINITIONS,
            "seed": self.seed,
            "from": time(self.from),
            "to": time(self.to),
            "machines": self.machines.iter().map(machine).collect::<Vec<_>>(),
        })
    }
}

fn time(at: Timestamp) -> Value {
    Value::from(at.to_string())
}

fn maybe(at: Option<Timestamp>) -> Value {
    at.map_or(Value::Null, time)
}

/// Four digits behind the point are more than any probe has.
fn number(value: f64) -> Value {
    Value::from((value * 1e4).round() / 1e4)
}

fn figure(value: Option<f64>) -> Value {
    value.map_or(Value::Null, number)
}

fn machine(truth: &MachineTruth) -> Value {
    json!({
        "id": truth.id.as_str(),
        "batches": truth.batches.iter().map(batch).collect::<Vec<_>>(),
        "faults": truth.faults.iter().map(fault).collect::<Vec<_>>(),
        "marks": truth.marks.iter().map(|(at, m)| mark(*at, m)).collect::<Vec<_>>(),
        "told": truth.told.iter().map(told).collect::<Vec<_>>(),
    })
}

fn batch(batch: &TrueBatch) -> Value {
    json!({
        "couverture": batch.couverture.as_str(),
        "lot": batch.lot,
        "method": batch.method.as_str(),
        "mass_kg": figure(batch.mass_kg),
        "start": time(batch.start),
        "end": maybe(batch.end),
        "phases": batch.phases.iter().map(phase).collect::<Vec<_>>(),
        "measures": measures(&batch.measures),
        "conditions": batch.conditions.iter().map(condition).collect::<Vec<_>>(),
    })
}

fn phase(span: &PhaseSpan) -> Value {
    json!({ "phase": span.phase.as_str(), "from": time(span.from), "to": maybe(span.to) })
}

fn measures(measures: &Measures) -> Value {
    json!({
        "soak_max_c": figure(measures.soak_max_c),
        "cooling_minutes": figure(measures.cooling_minutes),
        "lowest_c": figure(measures.lowest_c),
        "settled_c": figure(measures.settled_c),
        "working_minutes": figure(measures.working_minutes),
        "working_mean_c": figure(measures.working_mean_c),
        "working_sd_c": figure(measures.working_sd_c),
        "above_loss_c_min": figure(measures.above_loss_c_min),
    })
}

fn condition(condition: &Condition) -> Value {
    json!({
        "kind": condition.kind.as_str(),
        "from": time(condition.from),
        "to": time(condition.to),
        "worst": number(condition.worst),
    })
}

fn fault(fault: &Happened) -> Value {
    json!({
        "fault": fault.kind.as_str(),
        "finding": fault.kind.finding().map(|kind| kind.as_str()),
        "from": time(fault.from),
        "to": maybe(fault.to),
        "strength": number(fault.strength),
    })
}

fn mark(at: Timestamp, mark: &Mark) -> Value {
    let at = time(at);
    match mark {
        Mark::Heat => json!({ "at": at, "mark": "heat" }),
        Mark::Lower => json!({ "at": at, "mark": "lower" }),
        Mark::Rewarm => json!({ "at": at, "mark": "rewarm" }),
        Mark::Charge { kg, total_kg, lot } => {
            json!({ "at": at, "mark": "charge", "kg": number(*kg), "total_kg": number(*total_kg), "lot": lot })
        }
        Mark::Seed { kg } => json!({ "at": at, "mark": "seed", "kg": number(*kg) }),
        Mark::TopUp { kg } => json!({ "at": at, "mark": "top-up", "kg": number(*kg) }),
        Mark::Lumps => json!({ "at": at, "mark": "lumps-out" }),
        Mark::Test { stable } => json!({ "at": at, "mark": "smear", "stable": number(*stable) }),
        Mark::Off => json!({ "at": at, "mark": "off" }),
    }
}

fn told(told: &Told) -> Value {
    json!({ "event": told.event, "at": maybe(told.at), "sent": time(told.sent) })
}
