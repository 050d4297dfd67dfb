//! Courses laid over each other at the start of cooling, drawn for a page or a report.

use charts::{BandAt, Laid, Overlay};
use history::day::{DayRecord, MachineDay, Moved, STEP};
use history::{Course, reference_band};
use jiff::tz::TimeZone;
use model::{Batch, Channel, MachineId, Timestamp};
use plant::Plant;
use report::Names;
use serde::Serialize;

/// From the end of the soak on, minutes, to the longest that is still a shift.
const FROM_MIN: f64 = -30.0;
const LONGEST_MIN: f64 = 600.0;
const SHORTEST_MIN: f64 = 120.0;

/// Machines drawn on one page; more is a wall.
const MOST_MACHINES: usize = 6;

/// Channels drawn for each machine: the chocolate, and what moved before it.
const MOST_CHANNELS: usize = 3;

const SIZE: (u32, u32) = (1100, 340);

/// A drawing with its sentence.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Picture {
    pub name: String,
    pub says: String,
    pub svg: String,
}

/// What drawings of a day or a comparison need.
#[derive(Clone, Copy)]
pub(crate) struct Overlays<'a> {
    pub plant: &'a Plant,
    pub names: &'a Names,
    pub zone: &'a TimeZone,
}

impl Overlays<'_> {
    /// One drawing a machine and channel: today's batches against the usual course. Only these machines, if any are named.
    pub(crate) fn of_day(
        &self,
        days: &[MachineDay],
        only: Option<&[MachineId]>,
        moved: &[Moved],
    ) -> Vec<Picture> {
        let wanted = days.iter().filter(|day| only.is_none_or(|only| only.contains(&day.machine)));
        let mut pictures = Vec::new();
        for day in wanted.take(MOST_MACHINES) {
            let mut channels = vec![Channel::Chocolate];
            for moved in moved.iter().filter(|moved| moved.machine == day.machine) {
                if !channels.contains(&moved.channel) {
                    channels.push(moved.channel);
                }
            }
            channels.truncate(MOST_CHANNELS);
            pictures.extend(channels.into_iter().filter_map(|channel| self.of_machine(day, channel)));
        }
        pictures
    }

    fn of_machine(&self, day: &MachineDay, channel: Channel) -> Option<Picture> {
        let courses: Vec<Laid> = day
            .today
            .iter()
            .filter(|record| has_cooled(&record.batch))
            .map(|record| Laid {
                name: self.clock(record.anchor()),
                points: points(record, channel),
                is_main: true,
            })
            .filter(|laid| !laid.points.is_empty())
            .collect();
        let first = day.today.iter().find(|record| has_cooled(&record.batch))?;
        if courses.is_empty() {
            return None;
        }
        let same: Vec<&DayRecord> =
            day.past.iter().filter(|record| record.batch.couverture == first.batch.couverture).collect();
        let band = band(&same, channel);
        let name = self.names.machine(&day.machine);
        let title = match same.len() {
            0 => format!("{name}, {channel}"),
            n => format!("{name}, {channel}, against {n} earlier batches (median, 10–90 %)"),
        };
        let says = format!("Course of {name}, {channel}, laid over its usual one at the start of cooling.");
        Some(self.draw(
            &title,
            &format!("{}-{channel}", day.machine),
            says,
            channel,
            &courses,
            &band,
            Some(&first.batch),
        ))
    }

    /// Any batches over each other.
    pub(crate) fn of_batches(
        &self,
        records: &[DayRecord],
        labels: &[String],
        channel: Channel,
    ) -> Option<Picture> {
        let courses: Vec<Laid> = records
            .iter()
            .zip(labels)
            .map(|(record, label)| Laid {
                name: label.clone(),
                points: points(record, channel),
                is_main: false,
            })
            .filter(|laid| !laid.points.is_empty())
            .collect();
        let first = records.first()?;
        let says = format!(
            "{} courses of the {channel}, laid over each other at the start of cooling.",
            courses.len()
        );
        let is_one = records.iter().all(|record| record.batch.couverture == first.batch.couverture);
        let title = channel.as_str();
        let worked = is_one.then_some(&first.batch);
        let mut picture = self.draw(title, channel.as_str(), says, channel, &courses, &[], worked);
        if !is_one {
            picture.says += " The couvertures differ, and so do their working ranges, so that none is drawn.";
        }
        (!courses.is_empty()).then_some(picture)
    }

    #[expect(
        clippy::too_many_arguments,
        reason = "a drawing has as many parts, and both callers have them at hand"
    )]
    fn draw(
        &self,
        title: &str,
        name: &str,
        says: String,
        channel: Channel,
        courses: &[Laid],
        band: &[BandAt],
        worked: Option<&Batch>,
    ) -> Picture {
        let working = worked.and_then(|batch| {
            let machine = self.plant.machine(&batch.machine)?;
            Some(self.plant.limits(machine, &batch.couverture).working)
        });
        let longest = courses
            .iter()
            .filter_map(|laid| laid.points.last())
            .map(|(x, _)| *x)
            .fold(SHORTEST_MIN, f64::max);
        let overlay = Overlay {
            title,
            unit: channel.unit(),
            courses,
            band,
            working: working.filter(|_| channel == Channel::Chocolate),
            minutes: (FROM_MIN, longest.min(LONGEST_MIN)),
            size: SIZE,
        };
        Picture { name: name.to_owned(), says, svg: overlay.svg() }
    }

    fn clock(&self, at: Timestamp) -> String {
        self.zone.to_datetime(at.to_jiff()).strftime("%H:%M").to_string()
    }
}

fn has_cooled(batch: &Batch) -> bool {
    batch.first(model::Phase::Cooling).or(batch.first(model::Phase::Working)).is_some()
}

fn points(record: &DayRecord, channel: Channel) -> Vec<(f64, f64)> {
    let anchor = record.anchor();
    let means = record.courses.of(channel).iter();
    let minutes = means.map(|(at, value)| (at.since(anchor).as_mins_f64(), *value));
    minutes.filter(|(minute, _)| FROM_MIN <= *minute && *minute <= LONGEST_MIN).collect()
}

/// Too little past has no band; that is no fault.
fn band(past: &[&DayRecord], channel: Channel) -> Vec<BandAt> {
    let course = |record: &&DayRecord| Course {
        cooling_start: record.anchor(),
        readings: record.courses.of(channel).iter().map(|(at, value)| (*at, Some(*value))).collect(),
    };
    let courses: Vec<Course> = past.iter().map(course).collect();
    let band = reference_band(&courses, STEP).ok().flatten();
    let points = band.iter().flat_map(|band| &band.points);
    points.map(|point| (point.after.as_mins_f64(), point.low, point.median, point.high)).collect()
}
