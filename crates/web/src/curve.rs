//! The curve sheets: gathers what belongs on a sheet and lets `charts` draw it.

use charts::{ReferencePoint, Sheet, Width};
use model::{Batch, Channel, Event, Finding, MachineId, Phase, PhaseSpan, Span, Timestamp};

use records::{BatchQuery, EventQuery, FindingQuery};

use crate::app::App;
use crate::archive::{Series, blocking};
use crate::problem::Problem;
use crate::query::{Params, wrong};

/// More batches, findings or events than this on one sheet hide the curve.
const MOST_MARKS: usize = 200;

/// Shown before a batch begins and after it has ended.
const MARGIN: Span = Span::from_mins(10);

/// Curves on a sheet, in the order in which they are drawn. The others have no place beside a temperature.
const CURVES: [Channel; 3] = [Channel::Jacket, Channel::Setpoint, Channel::Chocolate];

/// What is to be drawn.
pub(crate) struct Wanted {
    pub title: String,
    pub machine: MachineId,
    pub couverture: model::CouvertureId,
    pub from: Timestamp,
    pub to: Timestamp,
    pub width: Width,
    pub reference: Vec<ReferencePoint>,
}

/// The room that a request names.
pub(crate) fn width(params: &Params) -> Result<Width, Problem> {
    match params.text("width") {
        None | Some("wide") => Ok(Width::Wide),
        Some("narrow") => Ok(Width::Narrow),
        Some(other) => Err(wrong("width", other, "wide or narrow")),
    }
}

/// The time that the sheet of a batch covers: all of it, and a little on either side.
pub(crate) fn span_of(batch: &Batch, now: Timestamp) -> (Timestamp, Timestamp) {
    (batch.start - MARGIN, batch.end.map_or(now, |end| (end + MARGIN).min(now)))
}

/// Draws a sheet.
pub(crate) async fn draw(app: &App, wanted: Wanted) -> Result<String, Problem> {
    let Wanted { title, machine, couverture, from, to, width, reference } = wanted;
    let mut curves: Vec<(Channel, Series)> = Vec::new();
    for channel in CURVES {
        let series = app.series(&machine, channel, from, to).await?;
        if !series.is_empty() {
            curves.push((channel, series));
        }
    }
    let phases = phases_between(app, &machine, from, to).await?;
    let findings = findings_between(app, &machine, from, to).await?;
    let events = events_between(app, &machine, from, to).await?;
    let known = app.state.plant.machine(&machine);
    let limits = known.map(|machine| app.state.plant.limits(machine, &couverture));
    let zone = app.state.plant.time_zone.rules().clone();
    let seen_to = app.now();
    blocking(move || {
        let mut sheet = Sheet::new(title, from, to, &zone)
            .width(width)
            .seen_to(seen_to)
            .phases(&phases)
            .findings(&findings)
            .events(&events)
            .reference(reference)
            .close_up();
        if let Some(limits) = limits {
            sheet = sheet.working(limits.working).melt(limits.melt);
            sheet = sheet.limit("temper-loss limit", limits.temper_loss).limit("scorch limit", limits.scorch);
        }
        for (channel, series) in &curves {
            sheet = sheet.curve(*channel, series);
        }
        sheet.svg()
    })
    .await
}

async fn phases_between(
    app: &App,
    machine: &MachineId,
    from: Timestamp,
    to: Timestamp,
) -> Result<Vec<PhaseSpan>, Problem> {
    let query = BatchQuery {
        machine: Some(machine.clone()),
        from: Some(from),
        to: Some(to),
        limit: MOST_MARKS,
        ..BatchQuery::default()
    };
    let mut phases: Vec<PhaseSpan> =
        app.batches(query).await?.iter().flat_map(|batch| batch.phases.iter().copied()).collect();
    phases.sort_by_key(|span| span.from);
    phases.retain(|span| span.from < to && span.to.is_none_or(|end| from < end) && span.phase != Phase::Idle);
    Ok(phases)
}

/// Without those that a worse finding took over: one cause, one mark.
pub(crate) async fn findings_between(
    app: &App,
    machine: &MachineId,
    from: Timestamp,
    to: Timestamp,
) -> Result<Vec<Finding>, Problem> {
    let query = FindingQuery {
        machine: Some(machine.clone()),
        from: Some(from),
        to: Some(to),
        limit: MOST_MARKS,
        ..FindingQuery::default()
    };
    let mut findings = app.findings(query).await?;
    findings.retain(|finding| finding.superseded_by.is_none());
    Ok(findings)
}

/// Everything that was entered, notes included, in the order of time.
pub(crate) async fn events_between(
    app: &App,
    machine: &MachineId,
    from: Timestamp,
    to: Timestamp,
) -> Result<Vec<Event>, Problem> {
    let query =
        EventQuery { machine: Some(machine.clone()), from: Some(from), to: Some(to), limit: MOST_MARKS };
    let mut events = app.events(query).await?;
    events.sort_by_key(|event| event.at);
    Ok(events)
}
