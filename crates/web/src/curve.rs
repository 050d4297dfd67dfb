//! The curve sheets: gathers what belongs on a sheet and lets `charts` draw it.

use charts::{ReferencePoint, Sheet};
use model::{Batch, Channel, Event, Finding, MachineId, Phase, PhaseSpan, Span, Timestamp};

use records::{BatchQuery, EventQuery, FindingQuery};

use crate::app::App;
use crate::archive::{Series, blocking};
use crate::curve_query::CurveQuery;
use crate::problem::Problem;
use crate::reader::Reader;

/// More batches, findings or events than this on one sheet hide the curve.
const MOST_MARKS: usize = 200;

/// Shown before a batch begins and after it has ended.
const MARGIN: Span = Span::from_mins(10);

/// How much newer the newest readings may be than what has been worked through of the machine: a service that has just been started again
/// is behind by less.
const AHEAD_OF_THE_WATCH: Span = Span::from_hours(1);

/// From so long on, a curve is read as first, lowest, highest and last of each bucket instead of every reading.
const READ_THINNED: Span = Span::from_hours(26);

/// Buckets of a thinned curve: as many as a wall screen has columns.
const BUCKETS: usize = 4 * 960;

/// What is to be drawn.
pub(crate) struct Wanted {
    pub title: String,
    pub machine: MachineId,
    pub couverture: model::CouvertureId,
    pub query: CurveQuery,
    pub span: (Timestamp, Timestamp),
    pub reference: Vec<ReferencePoint>,
}

/// For where a drawing goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Place {
    /// Alone in a window, a file or a letter.
    Document,
    /// In a page, which colours it.
    Page,
}

/// The time that the sheet of a batch covers: all of it, and a little on either side. The machine's readings have been worked
/// through up to `seen_to`.
pub(crate) fn span_of(batch: &Batch, seen_to: Timestamp, now: Timestamp) -> (Timestamp, Timestamp) {
    let open_to = || known_until(seen_to.max(batch.start), now);
    let to = batch.end.map_or_else(open_to, |end| (end + MARGIN).min(now));
    (batch.start - MARGIN, to)
}

/// How far something that goes on is known. Readings may be those of a day long past, played again, and a machine may have
/// been put out of use in mid-charge.
pub(crate) fn known_until(seen_to: Timestamp, now: Timestamp) -> Timestamp {
    now.min(seen_to + AHEAD_OF_THE_WATCH)
}

/// Draws a sheet, as its reader reads.
pub(crate) async fn draw(app: &App, wanted: Wanted, place: Place) -> Result<String, Problem> {
    let Wanted { title, machine, couverture, query, span: (from, to), reference } = wanted;
    let mut curves = app.curve_series(&machine, &query.channels, (from, to)).await?;
    // Without any reading of the chocolate the sheet says that nothing is known.
    curves.retain(|(channel, series)| !series.is_empty() || *channel == Channel::Chocolate);
    let phases = phases_between(app, &machine, from, to).await?;
    let findings = findings_between(app, &machine, from, to).await?;
    let events = events_between(app, &machine, from, to).await?;
    let known = app.state.plant.machine(&machine);
    let limits = known.map(|machine| app.state.plant.limits(machine, &couverture));
    let zone = app.local().rules().clone();
    let degrees = Reader::now().degrees;
    let seen_to = app.now();
    blocking(move || {
        let mut sheet = Sheet::new(title, from, to, &zone)
            .width(query.width)
            .degrees(degrees)
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
        match place {
            Place::Document => sheet.svg(),
            Place::Page => sheet.figure(),
        }
    })
    .await
}

impl App {
    /// The readings of `channels` for a drawing, in that order; a channel without any has an empty series.
    pub(crate) async fn curve_series(
        &self,
        machine: &MachineId,
        channels: &[Channel],
        (from, to): (Timestamp, Timestamp),
    ) -> Result<Vec<(Channel, Series)>, Problem> {
        if to - from <= READ_THINNED {
            return self.all_series(machine, channels, from, to).await;
        }
        let mut curves = Vec::new();
        for channel in channels.iter().copied() {
            curves.push((channel, self.envelope(machine, channel, from, to, BUCKETS).await?));
        }
        Ok(curves)
    }
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

#[cfg(test)]
mod tests {
    use model::Phase;

    use super::*;
    use crate::made_up::{batch, moment};

    /// Set down in the list of batches by a person, or begun in what came too late to be watched.
    #[test]
    fn a_sheet_of_an_open_batch_ends_behind_its_start_also_where_nothing_was_seen_of_it() {
        let alder = batch(&"alder".parse().unwrap(), Phase::Soak);
        let now = moment("12:00");
        assert_eq!(span_of(&alder, moment("11:30"), now), (moment("08:50"), now));
        let (from, to) = span_of(&alder, Timestamp::from_millis(0), now);
        assert_eq!((from, to), (moment("08:50"), moment("10:00")));
    }
}
