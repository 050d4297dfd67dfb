//! The table: what each address takes and answers.

use std::sync::Arc;

use axum::routing::{MethodRouter, get, post};

use super::document;
use crate::app::App;
use crate::handlers::{
    alarms, api, audit, baselines, decisions, entries, live, lots, phases, readings, setup, smears,
};

/// What can be asked of an address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Verb {
    Get,
    Post,
}

/// What a parameter may hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Takes {
    Text,
    /// The id of a machine.
    Machine,
    Time,
    /// A whole number, from and to.
    Count(usize, usize),
    Words(&'static [&'static str]),
    /// One of the channels.
    Channel,
    /// One of the kinds of finding.
    FindingKind,
}

/// A parameter of the query.
#[derive(Debug, Clone, Copy)]
pub(super) struct Parameter {
    pub name: &'static str,
    pub takes: Takes,
    pub required: bool,
    pub says: &'static str,
}

/// What comes back when all is well.
#[derive(Debug, Clone, Copy)]
pub(super) struct Answer {
    pub status: u16,
    pub media_type: &'static str,
    /// Of the document; `None` for what has no shape of ours.
    pub schema: Option<&'static str>,
    pub says: &'static str,
}

/// One row.
pub(super) struct Operation {
    pub verb: Verb,
    pub path: &'static str,
    /// The name that generated clients use.
    pub id: &'static str,
    pub says: &'static str,
    /// What the `{…}` of the path is.
    pub named: Option<(&'static str, &'static str)>,
    pub parameters: &'static [Parameter],
    /// The shape of the body.
    pub body: Option<&'static str>,
    pub answers: &'static [Answer],
    /// Faults besides those that any address may have.
    pub faults: &'static [(u16, &'static str)],
    /// The answer goes on.
    pub lasts: bool,
    pub route: fn() -> MethodRouter<Arc<App>>,
}

const fn optional(name: &'static str, takes: Takes, says: &'static str) -> Parameter {
    Parameter { name, takes, required: false, says }
}

const fn required(name: &'static str, takes: Takes, says: &'static str) -> Parameter {
    Parameter { name, takes, required: true, says }
}

const fn json(status: u16, schema: &'static str, says: &'static str) -> Answer {
    Answer { status, media_type: "application/json", schema: Some(schema), says }
}

const MACHINE: Parameter =
    optional("machine", Takes::Machine, "Only of this machine: its id in the plant file.");
const OPEN: Parameter =
    optional("open", Takes::Words(&["yes", "no"]), "`yes` for what goes on, `no` for what is over.");
const LIMIT: Parameter =
    optional("limit", Takes::Count(1, api::MOST_LISTED), "At most so many; 100 if nothing is said.");
const AFTER: Parameter = optional(
    "after",
    Takes::Text,
    "The `next` of the page before: the list goes on behind its last record, whatever has come in since.",
);

const NO_SUCH_MACHINE: (u16, &str) = (404, "There is no such machine in the plant file.");
const NO_SUCH_ALARM: (u16, &str) = (404, "There is no such alarm now.");
const NO_SUCH_BATCH: (u16, &str) = (404, "There is no such batch.");
const NOT_DURABLE: (u16, &str) =
    (503, "It could not be put on disk, and is not entered; or the records are busy.");
const BUSY: (u16, &str) = (503, "Records or readings cannot be read just now; try again in a minute.");
const SENSELESS: (u16, &str) = (422, "It can be read, and makes no sense.");

pub(super) const OPERATIONS: &[Operation] = &[
    Operation {
        verb: Verb::Get,
        path: "/api/v1/openapi.json",
        id: "describe",
        says: "This document.",
        named: None,
        parameters: &[],
        body: None,
        answers: &[json(200, "Description", "An OpenAPI 3.1 document.")],
        faults: &[],
        lasts: false,
        route: || get(document::answer),
    },
    Operation {
        verb: Verb::Get,
        path: "/api/v1/machines",
        id: "listMachines",
        says: "Every machine as it stands, and what is open about the whole plant.",
        named: None,
        parameters: &[],
        body: None,
        answers: &[json(200, "Machines", "In the order of the plant file.")],
        faults: &[],
        lasts: false,
        route: || get(api::machines),
    },
    Operation {
        verb: Verb::Get,
        path: "/api/v1/batches",
        id: "listBatches",
        says: "Batches, the newest first.",
        named: None,
        parameters: &[
            MACHINE,
            optional("from", Takes::Time, "Not over before this moment."),
            optional("to", Takes::Time, "Begun before this moment."),
            OPEN,
            AFTER,
            LIMIT,
        ],
        body: None,
        answers: &[json(200, "Batches", "A page of them.")],
        faults: &[NO_SUCH_MACHINE, BUSY],
        lasts: false,
        route: || get(api::batches),
    },
    Operation {
        verb: Verb::Get,
        path: "/api/v1/batches/{id}",
        id: "getBatch",
        says: "A batch with its statement, findings and events.",
        named: Some(("id", "The batch's id, such as `alder-2026-03-01T17:02`.")),
        parameters: &[],
        body: None,
        answers: &[json(200, "BatchReport", "The batch.")],
        faults: &[NO_SUCH_BATCH, BUSY],
        lasts: false,
        route: || get(api::batch),
    },
    Operation {
        verb: Verb::Post,
        path: "/api/v1/batches/{id}/phases",
        id: "correctPhase",
        says: "A person's word on a phase. The program's own phases are kept beside it.",
        named: Some(("id", "The batch's id.")),
        parameters: &[],
        body: Some("PhaseCorrection"),
        answers: &[json(201, "Correction", "It is on disk.")],
        faults: &[NO_SUCH_BATCH, NOT_DURABLE],
        lasts: false,
        route: || post(phases::correct),
    },
    Operation {
        verb: Verb::Post,
        path: "/api/v1/batches/{id}/decisions",
        id: "decide",
        says: "What becomes of a batch. It stands beside the standing; a later decision takes its place, and both are kept.",
        named: Some(("id", "The batch's id.")),
        parameters: &[],
        body: Some("DecisionEntry"),
        answers: &[json(201, "Decision", "It is on disk.")],
        faults: &[NO_SUCH_BATCH, NOT_DURABLE],
        lasts: false,
        route: || post(decisions::json),
    },
    Operation {
        verb: Verb::Get,
        path: "/api/v1/lots",
        id: "listLots",
        says: "Lots that were told with charges, seed and top-ups, the newest first.",
        named: None,
        parameters: &[],
        body: None,
        answers: &[json(200, "Lots", "At most two hundred.")],
        faults: &[BUSY],
        lasts: false,
        route: || get(lots::list),
    },
    Operation {
        verb: Verb::Get,
        path: "/api/v1/lots/{id}",
        id: "traceLot",
        says: "The batches and times into which a lot went.",
        named: Some(("id", "The lot, as it was told.")),
        parameters: &[],
        body: None,
        answers: &[json(200, "LotTrace", "Its uses, the latest first.")],
        faults: &[(404, "Nobody has told of that lot."), BUSY],
        lasts: false,
        route: || get(lots::trace),
    },
    Operation {
        verb: Verb::Post,
        path: "/api/v1/smears",
        id: "takeSmear",
        says: "A smear was taken for a temper test, and cools.",
        named: None,
        parameters: &[],
        body: Some("SmearEntry"),
        answers: &[json(201, "SmearTaken", "It is on disk, and counted down.")],
        faults: &[NO_SUCH_MACHINE, NOT_DURABLE],
        lasts: false,
        route: || post(smears::json),
    },
    Operation {
        verb: Verb::Get,
        path: "/api/v1/probe-checks",
        id: "listProbeChecks",
        says: "Checks of probes, the newest first.",
        named: None,
        parameters: &[MACHINE],
        body: None,
        answers: &[json(200, "ProbeChecks", "The newest two thousand.")],
        faults: &[NO_SUCH_MACHINE, BUSY],
        lasts: false,
        route: || get(setup::list),
    },
    Operation {
        verb: Verb::Post,
        path: "/api/v1/probe-checks",
        id: "checkProbe",
        says: "What a probe showed beside melting ice or a reference thermometer. One that failed leaves batches in doubt.",
        named: None,
        parameters: &[],
        body: Some("ProbeCheckEntry"),
        answers: &[json(201, "ProbeCheck", "It is on disk.")],
        faults: &[NO_SUCH_MACHINE, NOT_DURABLE],
        lasts: false,
        route: || post(setup::json),
    },
    Operation {
        verb: Verb::Get,
        path: "/api/v1/findings",
        id: "listFindings",
        says: "Findings, the newest first.",
        named: None,
        parameters: &[
            MACHINE,
            optional("batch", Takes::Text, "Only of this batch."),
            optional("kind", Takes::FindingKind, "Only of this kind."),
            OPEN,
            optional("from", Takes::Time, "Not over before this moment."),
            optional("to", Takes::Time, "Raised before this moment."),
            AFTER,
            LIMIT,
        ],
        body: None,
        answers: &[json(200, "Findings", "A page of them.")],
        faults: &[NO_SUCH_MACHINE, BUSY],
        lasts: false,
        route: || get(api::findings),
    },
    Operation {
        verb: Verb::Get,
        path: "/api/v1/alarms",
        id: "listAlarms",
        says: "Alarms that are not over, what rings first, and what is set aside.",
        named: None,
        parameters: &[],
        body: None,
        answers: &[json(200, "Alarms", "All of them.")],
        faults: &[BUSY],
        lasts: false,
        route: || get(alarms::list),
    },
    Operation {
        verb: Verb::Get,
        path: "/api/v1/alarms/reasons",
        id: "listAlarmReasons",
        says: "For each kind of finding whether it is an alarm: cause, consequence, action, and minutes to act.",
        named: None,
        parameters: &[],
        body: None,
        answers: &[json(200, "AlarmReasons", "One a kind.")],
        faults: &[],
        lasts: false,
        route: || get(alarms::reasons),
    },
    Operation {
        verb: Verb::Post,
        path: "/api/v1/alarms/acknowledge",
        id: "acknowledgeAlarm",
        says: "Somebody has seen an alarm, and those that share its cause. It does not end them.",
        named: None,
        parameters: &[],
        body: Some("AlarmSeen"),
        answers: &[json(201, "AlarmsAcknowledged", "It is on disk.")],
        faults: &[NO_SUCH_ALARM, NOT_DURABLE],
        lasts: false,
        route: || post(alarms::acknowledge),
    },
    Operation {
        verb: Verb::Post,
        path: "/api/v1/alarms/shelve",
        id: "shelveAlarm",
        says: "Keeps an alarm of a machine from ringing for some minutes.",
        named: None,
        parameters: &[],
        body: Some("AlarmShelving"),
        answers: &[json(201, "SetAside", "It is on disk.")],
        faults: &[NO_SUCH_MACHINE, SENSELESS, NOT_DURABLE],
        lasts: false,
        route: || post(alarms::shelve),
    },
    Operation {
        verb: Verb::Post,
        path: "/api/v1/alarms/out-of-service",
        id: "takeAlarmOutOfService",
        says: "Keeps alarms of a machine from ringing while somebody works on it.",
        named: None,
        parameters: &[],
        body: Some("AlarmOutOfService"),
        answers: &[json(201, "SetAside", "It is on disk.")],
        faults: &[NO_SUCH_MACHINE, SENSELESS, NOT_DURABLE],
        lasts: false,
        route: || post(alarms::take_out),
    },
    Operation {
        verb: Verb::Post,
        path: "/api/v1/alarms/take-back",
        id: "takeBackAlarm",
        says: "Lets what was set aside ring again.",
        named: None,
        parameters: &[],
        body: Some("AlarmTakeBack"),
        answers: &[json(201, "SetAside", "It is on disk.")],
        faults: &[(404, "Nothing is set aside under that number."), NOT_DURABLE],
        lasts: false,
        route: || post(alarms::take_back),
    },
    Operation {
        verb: Verb::Get,
        path: "/api/v1/readings",
        id: "listReadings",
        says: "The readings of a channel, whole or thinned so that highest and lowest stay.",
        named: None,
        parameters: &[
            required("machine", Takes::Machine, "The machine's id in the plant file."),
            required("channel", Takes::Channel, "Which quantity."),
            required("from", Takes::Time, "The first moment."),
            required("to", Takes::Time, "The moment after the last; at most 31 days later."),
            optional(
                "points",
                Takes::Count(2, api::MOST_POINTS),
                "Thinned to so many; 2,000 in JSON if nothing is said.",
            ),
            optional("format", Takes::Words(&["json", "csv", "parquet"]), "JSON if nothing is said."),
        ],
        body: None,
        answers: &[
            json(200, "Readings", "The readings, the oldest first."),
            Answer { status: 200, media_type: "text/csv", schema: None, says: "A line a reading." },
            Answer {
                status: 200,
                media_type: "application/vnd.apache.parquet",
                schema: None,
                says: "A column of times and one of values.",
            },
        ],
        faults: &[NO_SUCH_MACHINE, (422, "A longer time, or more readings, than one answer holds."), BUSY],
        lasts: false,
        route: || get(api::readings),
    },
    Operation {
        verb: Verb::Post,
        path: "/api/v1/readings",
        id: "enterReading",
        says: "A reading, as it would come through the broker: what a hand thermometer shows, say.",
        named: None,
        parameters: &[],
        body: Some("ReadingEntry"),
        answers: &[json(201, "ReadingEntered", "It is on disk.")],
        faults: &[NO_SUCH_MACHINE, SENSELESS, NOT_DURABLE],
        lasts: false,
        route: || post(readings::json),
    },
    Operation {
        verb: Verb::Get,
        path: "/api/v1/baselines",
        id: "listBaselines",
        says: "What is usual for machines and couvertures.",
        named: None,
        parameters: &[MACHINE],
        body: None,
        answers: &[json(200, "Baselines", "In the order of the plant file.")],
        faults: &[NO_SUCH_MACHINE],
        lasts: false,
        route: || get(baselines::list),
    },
    Operation {
        verb: Verb::Post,
        path: "/api/v1/baselines",
        id: "orderBaseline",
        says: "Has a baseline frozen, learned on, or learned anew.",
        named: None,
        parameters: &[],
        body: Some("BaselineOrder"),
        answers: &[json(201, "BaselineOrdered", "It is on disk.")],
        faults: &[NO_SUCH_MACHINE, NOT_DURABLE],
        lasts: false,
        route: || post(baselines::order),
    },
    Operation {
        verb: Verb::Post,
        path: "/api/v1/events",
        id: "enterEvent",
        says: "What somebody did: the same events as on the broker's event topic.",
        named: None,
        parameters: &[],
        body: Some("EventEntry"),
        answers: &[json(201, "EventEntered", "It is on disk.")],
        faults: &[NO_SUCH_MACHINE, SENSELESS, NOT_DURABLE],
        lasts: false,
        route: || post(entries::json),
    },
    Operation {
        verb: Verb::Get,
        path: "/api/v1/audit",
        id: "listAudit",
        says: "The audit trail, the newest entry first: who changed what, when, what it was and is.",
        named: None,
        parameters: &[
            optional("kind", Takes::Words(&audit::KINDS), "Only about this; together with `id`."),
            optional(
                "id",
                Takes::Text,
                "The id of the machine, batch, week or user; `plant` for the plant itself.",
            ),
            optional(
                "after",
                Takes::Count(1, usize::MAX >> 1),
                "The `next` of the page before: only older entries.",
            ),
            optional("limit", Takes::Count(1, audit::MOST), "At most so many; 100 if nothing is said."),
        ],
        body: None,
        answers: &[json(200, "Audit", "A page of it.")],
        faults: &[BUSY],
        lasts: false,
        route: || get(audit::list),
    },
    Operation {
        verb: Verb::Get,
        path: "/api/v1/live",
        id: "live",
        says: "The parts of a page that have changed, as server-sent events, for as long as the caller listens.",
        named: None,
        parameters: &[
            optional("page", Takes::Text, "A page of the works; the floor if nothing is said."),
            optional("machine", Takes::Machine, "The page of this machine."),
            optional("bowl", Takes::Text, "The page of this bowl on the bench."),
            optional("alarms", Takes::Words(&["yes"]), "The page of alarms."),
        ],
        body: None,
        answers: &[Answer {
            status: 200,
            media_type: "text/event-stream",
            schema: None,
            says: "`parts`: a JSON object a message.",
        }],
        faults: &[NO_SUCH_MACHINE, (503, "Too many pages are kept alive at once.")],
        lasts: true,
        route: || get(live::live),
    },
];
