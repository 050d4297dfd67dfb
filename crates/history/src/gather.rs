//! Brings together what a day or a week is worked out from: batches, findings and events from the records, courses from
//! the store.
//!
//! Pages and the program ask in the same way, so that both say the same. Everything here blocks.

use model::{Batch, Channel, CouvertureId, Event, Finding, MachineId, Phase, Span, Timestamp};
use plant::Plant;
use records::{BatchQuery, EventQuery, FindingQuery, Records, RecordsError};
use store::{StoreError, StoreReader};

use crate::day::{Courses, DayRecord, MachineDay};
use crate::stands::stood_over;
use crate::week::{IsoWeek, RoomWeek, WeekData, anchor};
use crate::{Course, HistoryError, ReferenceBand, reference_band};

/// The usual of a machine is that of its last weeks, not of its youth.
pub const EARLIER_BATCHES: usize = 10;

/// Looked through to find as many of the same couverture.
const LOOKED_THROUGH: usize = 60;

/// A review looks back so far for limits, capability and trends.
const WEEKS_BEFORE: i64 = 10;

/// More records than a plant of this size makes in the time that is asked for.
const MOST: usize = 50_000;

/// A batch that has been going on for longer than this belongs to no day any more.
const LONGEST_BATCH: Span = Span::from_hours(48);

/// Why something could not be brought together.
#[derive(Debug, thiserror::Error)]
pub enum GatherError {
    /// The records cannot be read.
    #[error("cannot read the records")]
    Records(#[from] RecordsError),
    /// The readings cannot be read.
    #[error("cannot read the readings")]
    Store(#[from] StoreError),
    /// They cannot be put together.
    #[error("cannot put the courses together")]
    History(#[from] HistoryError),
}

/// What every channel did while a batch ran, as far as `seen_to`.
///
/// # Errors
/// If the store cannot be read.
pub fn courses(store: &StoreReader, batch: &Batch, seen_to: Timestamp) -> Result<Courses, StoreError> {
    let to = batch.end.unwrap_or(seen_to);
    let all = store.read_channels(&batch.machine, &Channel::ALL, batch.start, to)?;
    Ok(all.iter().fold(Courses::default(), |courses, (channel, series)| courses.with(*channel, series)))
}

/// Every machine's batches that belong to the day from `from` to `to`, and its earlier ones to compare them with.
/// `courses_of` answers with the courses of a batch; it may remember them.
///
/// # Errors
/// If records or store cannot be read.
pub fn day(
    records: &Records,
    plant: &Plant,
    (from, to): (Timestamp, Timestamp),
    seen_to: Timestamp,
    mut courses_of: impl FnMut(&Batch) -> Result<Courses, StoreError>,
) -> Result<Vec<MachineDay>, GatherError> {
    let mut days = Vec::new();
    for machine in &plant.machines {
        let query = BatchQuery {
            machine: Some(machine.id.clone()),
            to: Some(to),
            limit: LOOKED_THROUGH,
            ..BatchQuery::default()
        };
        let mut batches = records.batches(&query)?;
        let today: Vec<Batch> = batches.extract_if(.., |batch| is_of_the_day(batch, from, to)).collect();
        if today.is_empty() {
            continue;
        }
        batches.retain(|batch| anchor(batch) < from && batch.end.is_some());
        let oldest = batches.iter().chain(&today).map(|batch| batch.start).min().unwrap_or(from);
        let about = About::read(records, &machine.id, oldest, to.max(seen_to))?;
        let mut today: Vec<DayRecord> = today
            .into_iter()
            .map(|batch| Ok(about.record(courses_of(&batch)?, batch, seen_to)))
            .collect::<Result<_, GatherError>>()?;
        today.sort_by_key(DayRecord::anchor);
        let held: Vec<CouvertureId> = today.iter().map(|record| record.batch.couverture.clone()).collect();
        let earlier = batches
            .into_iter()
            .filter(|batch| held.contains(&batch.couverture))
            .map(|batch| about.record(Courses::default(), batch, seen_to));
        let mut day = MachineDay::new(machine.id.clone(), today, earlier.collect(), EARLIER_BATCHES);
        // Courses are read only of those that stay.
        for record in &mut day.past {
            record.courses = courses_of(&record.batch)?;
        }
        days.push(day);
    }
    Ok(days)
}

/// A batch belongs to the day on which it began to cool; one that never did, to the day on which it began.
pub fn is_of_the_day(batch: &Batch, from: Timestamp, to: Timestamp) -> bool {
    let at = anchor(batch);
    let has_cooled = batch.first(Phase::Cooling).or(batch.first(Phase::Working)).is_some();
    from <= at && at < to
        || !has_cooled && batch.end.is_none_or(|end| from < end) && from - LONGEST_BATCH < at && at < to
}

/// Findings and events of one machine.
struct About {
    findings: Vec<Finding>,
    events: Vec<Event>,
}

impl About {
    fn read(
        records: &Records,
        machine: &MachineId,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<About, GatherError> {
        let machine = Some(machine.clone());
        let findings = FindingQuery {
            machine: machine.clone(),
            from: Some(from),
            to: Some(to),
            limit: MOST,
            ..FindingQuery::default()
        };
        let events = EventQuery { machine, from: Some(from), to: Some(to), limit: MOST };
        Ok(About { findings: records.findings(&findings)?, events: records.events(&events)? })
    }

    fn record(&self, courses: Courses, batch: Batch, seen_to: Timestamp) -> DayRecord {
        let to = batch.end.unwrap_or(seen_to);
        let mine = |finding: &&Finding| {
            finding.batch.as_ref() == Some(&batch.id) || stood_over(finding, &batch, seen_to)
        };
        let findings = self.findings.iter().filter(mine).cloned().collect();
        let during = |event: &&Event| batch.start <= event.at && event.at < to;
        let mut events: Vec<Event> = self.events.iter().filter(during).cloned().collect();
        events.sort_by_key(|event| event.at);
        DayRecord { batch, findings, events, courses }
    }
}

/// What the review of `week` is made from, without the rooms.
///
/// # Errors
/// If the records cannot be read.
pub fn week<'p>(
    records: &Records,
    plant: &'p Plant,
    week: IsoWeek,
    seen_to: Timestamp,
) -> Result<WeekData<'p>, GatherError> {
    let (from, to) = week.span(plant);
    let oldest = week.later_by(-WEEKS_BEFORE).span(plant).0.min(from);
    let batches = BatchQuery { from: Some(oldest), to: Some(to), limit: MOST, ..BatchQuery::default() };
    // A batch belongs to the week in which it began to cool, and is worked on into the next one.
    let told_to = (to + LONGEST_BATCH).min(seen_to.max(to));
    let findings =
        FindingQuery { from: Some(oldest), to: Some(told_to), limit: MOST, ..FindingQuery::default() };
    let events = EventQuery { machine: None, from: Some(oldest), to: Some(told_to), limit: MOST };
    Ok(WeekData {
        week,
        plant,
        batches: records.batches(&batches)?,
        findings: records.findings(&findings)?,
        events: records.events(&events)?,
        rooms: Vec::new(),
        seen: records.acknowledgements(from, told_to)?,
        asides: records.set_asides(from, to)?,
        actions: records.actions()?,
        seen_to,
    })
}

/// Warmer than this a room is no good to set in, °C; damper than this it is no good either, %RH (common practice, no source).
const WARM_C: f64 = 22.0;
const DAMP_RH: f64 = 60.0;

/// A room is looked at in so many pieces an hour.
const PIECES_AN_HOUR: i64 = 6;

/// A humidity belongs to a temperature of about the same time.
const BESIDE: Span = Span::from_mins(10);

/// What the rooms were like from `from` to `to`, one a machine that tells.
///
/// # Errors
/// If the store cannot be read.
pub fn rooms(
    store: &StoreReader,
    plant: &Plant,
    (from, to): (Timestamp, Timestamp),
) -> Result<Vec<RoomWeek>, StoreError> {
    let hours = ((to - from).as_millis() / Span::from_hours(1).as_millis()).max(1);
    let pieces = usize::try_from(hours * PIECES_AN_HOUR).unwrap_or(1);
    let hours_a_piece = (to - from).as_mins_f64() / 60.0 / pieces as f64;
    let mut rooms = Vec::new();
    for machine in &plant.machines {
        let of = |channel| store.read_envelope(&machine.id, channel, from, to, pieces);
        let room = of(Channel::Room)?;
        if room.is_empty() {
            continue;
        }
        let humidity = of(Channel::Humidity)?;
        let middle = |bucket: &store::Bucket| (bucket.lowest.value + bucket.highest.value) / 2.0;
        let dew_points = room.iter().filter_map(|bucket| {
            let first = humidity.partition_point(|damp| damp.first.at <= bucket.first.at - BESIDE);
            let damp = humidity.get(first).filter(|damp| damp.first.at < bucket.first.at + BESIDE)?;
            maths::humidity::dew_point(middle(bucket), middle(damp))
        });
        rooms.push(RoomWeek {
            machine: machine.id.clone(),
            known_h: room.len() as f64 * hours_a_piece,
            warm_h: room.iter().filter(|bucket| WARM_C < middle(bucket)).count() as f64 * hours_a_piece,
            damp_h: (!humidity.is_empty()).then(|| {
                humidity.iter().filter(|bucket| DAMP_RH < middle(bucket)).count() as f64 * hours_a_piece
            }),
            highest_c: room.iter().map(|bucket| bucket.highest.value).reduce(f64::max),
            highest_dew_point_c: dew_points.reduce(f64::max),
        });
    }
    Ok(rooms)
}

/// Points of one course on a gallery: more than its pixels can show is wasted reading.
const COURSE_BUCKETS: usize = 120;

/// Length of a course in a gallery: a shift.
const GALLERY_LASTS: Span = Span::from_hours(8);

/// Minutes since the start of cooling, and °C.
pub type ThinCourse = Vec<(f64, f64)>;

/// The chocolate of a batch as galleries draw it: from half an hour before the start of cooling to a shift after it, thinned so that
/// highest and lowest stay.
///
/// # Errors
/// If the store cannot be read.
pub fn gallery_course(
    store: &StoreReader,
    batch: &Batch,
    seen_to: Timestamp,
) -> Result<ThinCourse, StoreError> {
    let start = anchor(batch);
    let from = (start - Span::from_mins(30)).max(batch.start);
    let to = batch.end.unwrap_or(seen_to).min(start + GALLERY_LASTS);
    let envelope = store.read_envelope(&batch.machine, Channel::Chocolate, from, to, COURSE_BUCKETS)?;
    let mut points: Vec<(f64, f64)> = envelope
        .iter()
        .flat_map(|bucket| [bucket.first, bucket.lowest, bucket.highest, bucket.last])
        .map(|point| (point.at.since(start).as_mins_f64(), point.value))
        .collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    points.dedup_by(|a, b| a.0 == b.0);
    Ok(points)
}

/// A machine's and couverture's courses of a week, and the usual course behind them.
#[derive(Debug, Clone, PartialEq)]
pub struct CourseSet {
    /// Which machine.
    pub machine: MachineId,
    /// Which couverture.
    pub couverture: CouvertureId,
    /// Batches of the week in the order of time, with minutes since the start of cooling and °C.
    pub courses: Vec<(Batch, ThinCourse)>,
    /// The usual course of earlier good batches, if there are enough.
    pub band: Option<ReferenceBand>,
}

/// Earlier courses behind a gallery: enough for a band, few enough to read at once.
const BEHIND: usize = 8;

/// Steps of the band behind a gallery: about one bucket of a thinned course.
const GALLERY_STEP: Span = Span::from_mins(10);

/// The courses of the week of `data`, one set a machine and couverture, in the order of the plant file. `course_of` answers with the
/// [`gallery_course`] of a batch; it may remember them.
///
/// # Errors
/// If the store cannot be read.
pub fn galleries(
    data: &WeekData<'_>,
    mut course_of: impl FnMut(&Batch) -> Result<ThinCourse, StoreError>,
) -> Result<Vec<CourseSet>, GatherError> {
    let (from, to) = data.week.span(data.plant);
    let is_in = |batch: &&Batch| from <= anchor(batch) && anchor(batch) < to;
    let mut week: Vec<&Batch> = data.batches.iter().filter(is_in).collect();
    week.sort_by_key(|batch| anchor(batch));
    let mut sets = Vec::new();
    for machine in &data.plant.machines {
        let mine: Vec<&Batch> = week.iter().copied().filter(|batch| batch.machine == machine.id).collect();
        let mut couvertures: Vec<&CouvertureId> = mine.iter().map(|batch| &batch.couverture).collect();
        couvertures.sort();
        couvertures.dedup();
        for couverture in couvertures {
            let courses = mine
                .iter()
                .filter(|batch| batch.couverture == *couverture && batch.first(Phase::Cooling).is_some())
                .map(|batch| Ok(((*batch).clone(), course_of(batch)?)))
                .collect::<Result<Vec<_>, StoreError>>()?;
            let band = band_behind(data, &machine.id, couverture, from, &mut course_of)?;
            sets.push(CourseSet {
                machine: machine.id.clone(),
                couverture: couverture.clone(),
                courses,
                band,
            });
        }
    }
    Ok(sets)
}

fn band_behind(
    data: &WeekData<'_>,
    machine: &MachineId,
    couverture: &CouvertureId,
    from: Timestamp,
    mut course_of: impl FnMut(&Batch) -> Result<ThinCourse, StoreError>,
) -> Result<Option<ReferenceBand>, GatherError> {
    let mut earlier: Vec<&Batch> = data
        .batches
        .iter()
        .filter(|batch| batch.machine == *machine && batch.couverture == *couverture && anchor(batch) < from)
        .filter(|batch| crate::ran_as_usual(batch, &data.findings))
        .collect();
    earlier.sort_by_key(|batch| std::cmp::Reverse(batch.start));
    earlier.truncate(BEHIND);
    let mut courses = Vec::new();
    for batch in earlier {
        let at = |minutes: f64| anchor(batch) + Span::from_mins_f64(minutes);
        let readings =
            course_of(batch)?.into_iter().map(|(minutes, value)| (at(minutes), Some(value))).collect();
        courses.push(Course { cooling_start: anchor(batch), readings });
    }
    Ok(reference_band(&courses, GALLERY_STEP)?)
}

#[cfg(test)]
mod tests {
    use model::FindingKind;

    use super::*;
    use crate::good::tests::finding;
    use crate::usual::tests::batch;

    #[test]
    fn what_an_earlier_batch_raised_is_of_every_batch_that_it_stands_over() {
        let ended = |day: i64| {
            let batch = batch(day, 70.0);
            Batch { end: Some(batch.start + Span::from_hours(10)), ..batch }
        };
        let first = ended(2);
        let fade = Finding { to: Some(ended(5).start), ..finding(&first, FindingKind::CoolingFade) };
        let slow = finding(&first, FindingKind::SlowCooling);
        let drift = finding(&first, FindingKind::ProbeDrift);
        let elsewhere = Finding { machine: Some("birch".parse().unwrap()), batch: None, ..drift };
        let about = About { findings: vec![fade, slow, elsewhere], events: Vec::new() };
        let found = |day: i64| about.record(Courses::default(), ended(day), ended(9).start).findings.len();
        assert_eq!([1, 2, 3, 4, 5].map(found), [0, 2, 1, 1, 0]);
    }
}
