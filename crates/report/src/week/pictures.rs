//! The review's pictures: small multiples of curves, and control charts.

use charts::{BandAt, ControlChart, ControlPoint, Field, Multiples};
use history::gather::CourseSet;
use history::week::{Chart, Charted, Rule};
use jiff::tz::TimeZone;
use model::{Band, BatchId, CouvertureId, MachineId};

use super::Reviewed;
use super::process::charted;

/// From the end of the soak to the end of a shift, minutes.
const MINUTES: (f64, f64) = (-30.0, 480.0);

/// Fields in a row of a gallery, and its width in pixels.
const COLUMNS: usize = 7;
const WIDTH: u32 = 1100;

/// Charts drawn although they do not signal; more is a wall.
const MOST_QUIET: usize = 6;

/// One batch's curve from the start of cooling on.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    /// Which batch.
    pub batch: BatchId,
    /// When it began to cool, as people say it: `Mon 23`.
    pub label: String,
    /// Minutes since the start of cooling, and °C.
    pub points: Vec<(f64, f64)>,
}

/// The curves of a machine and couverture.
#[derive(Debug, Clone, PartialEq)]
pub struct Gallery {
    /// Which machine.
    pub machine: MachineId,
    /// Which couverture.
    pub couverture: CouvertureId,
    /// Where it is worked.
    pub working: Option<Band>,
    /// Minutes, low, median, high of the usual course.
    pub band: Vec<BandAt>,
    /// In the order of time.
    pub courses: Vec<Course>,
}

impl Gallery {
    /// The gallery of a set of courses; `working` is where they are worked.
    pub fn of(set: &CourseSet, working: Option<Band>, zone: &TimeZone) -> Gallery {
        let label = |at: model::Timestamp| zone.to_datetime(at.to_jiff()).strftime("%a %-d").to_string();
        let course = |(batch, points): &(model::Batch, Vec<(f64, f64)>)| Course {
            batch: batch.id.clone(),
            label: label(history::week::anchor(batch)),
            points: points.clone(),
        };
        let points = set.band.iter().flat_map(|band| &band.points);
        Gallery {
            machine: set.machine.clone(),
            couverture: set.couverture.clone(),
            working,
            band: points.map(|p| (p.after.as_mins_f64(), p.low, p.median, p.high)).collect(),
            courses: set.courses.iter().map(course).collect(),
        }
    }
}

/// A picture with its name and the sentence that it carries.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// For addresses and files: `curves-cedar-milk-38`.
    pub name: String,
    /// What it shows.
    pub says: String,
    /// SVG.
    pub svg: String,
    /// Does it fill a row by itself?
    pub is_wide: bool,
}

pub(super) fn galleries(reviewed: &Reviewed<'_>) -> Vec<Picture> {
    reviewed
        .galleries
        .iter()
        .filter(|gallery| !gallery.courses.is_empty())
        .map(|g| of_gallery(reviewed, g))
        .collect()
}

fn of_gallery(reviewed: &Reviewed<'_>, gallery: &Gallery) -> Picture {
    let mark = |batch: &BatchId| {
        let exception = reviewed.review.exceptions.iter().find(|exception| exception.batch.id == *batch)?;
        exception.reasons.first().map(short)
    };
    let fields: Vec<Field> = gallery
        .courses
        .iter()
        .map(|course| Field {
            label: course.label.clone(),
            mark: mark(&course.batch),
            points: course.points.clone(),
        })
        .collect();
    let (machine, couverture) =
        (reviewed.names.machine(&gallery.machine), reviewed.names.couverture(&gallery.couverture));
    let title = format!("{machine}, {couverture}");
    let multiples = Multiples {
        title: &title,
        unit: "°C",
        fields: &fields,
        band: &gallery.band,
        working: gallery.working,
        minutes: MINUTES,
        columns: COLUMNS,
        width: WIDTH,
    };
    Picture {
        name: format!("curves-{}-{}", gallery.machine, gallery.couverture),
        says: format!("{title}: {} courses on one scale.", fields.len()),
        svg: multiples.svg(),
        is_wide: true,
    }
}

/// A reason in a word or two, for the frame of a field.
fn short(reason: &history::week::Reason) -> String {
    use history::week::Reason;
    match reason {
        Reason::FailedTest { .. } => "test failed".to_owned(),
        Reason::NoTest => "no test".to_owned(),
        Reason::AboveLoss(_) => "temper loss".to_owned(),
        Reason::Found(kind, _) | Reason::Stood { kind, .. } => crate::saying::plain(kind.as_str()),
        Reason::Unknown(_) => "gap".to_owned(),
        Reason::Recovered { .. } => "failed once".to_owned(),
    }
}

/// Charts that signal, and some that do not.
pub(super) fn control(reviewed: &Reviewed<'_>) -> Vec<Picture> {
    let charts = &reviewed.review.charts;
    let signals = charts.iter().filter(|chart| 0 < chart.signals());
    let main = |chart: &&Chart| matches!(chart.charted, Charted::CoolingMinutes | Charted::Settled);
    let quiet = charts.iter().filter(|chart| chart.signals() == 0 && chart.limits.is_some()).filter(main);
    signals.chain(quiet.take(MOST_QUIET)).map(|chart| of_chart(reviewed, chart)).collect()
}

fn of_chart(reviewed: &Reviewed<'_>, chart: &Chart) -> Picture {
    let (what, unit) = charted(chart.charted);
    let (machine, couverture) =
        (reviewed.names.machine(&chart.machine), reviewed.names.couverture(&chart.couverture));
    let title = format!("{machine}, {couverture}: {what}");
    let points: Vec<ControlPoint> = chart
        .points
        .iter()
        .map(|point| ControlPoint {
            label: reviewed.zone.to_datetime(point.at.to_jiff()).strftime("%a %-d").to_string(),
            value: point.value,
            signal: point.signal.map(|rule| match rule {
                Rule::Beyond => "beyond 3σ".to_owned(),
                Rule::Shift => "shift (CUSUM)".to_owned(),
            }),
            is_new: point.is_new,
        })
        .collect();
    let hold = reviewed
        .review
        .holds
        .iter()
        .find(|hold| hold.machine == chart.machine && hold.couverture == chart.couverture);
    let wanted = hold
        .and_then(|hold| hold.working)
        .filter(|_| chart.charted == Charted::Settled)
        .map(|band| (band.low(), band.high()));
    let least_height = match chart.charted {
        Charted::CoolingMinutes | Charted::CoolingTau => 10.0,
        Charted::Settled => 1.0,
        Charted::Within => 0.1,
    };
    let drawn = ControlChart {
        title: &title,
        unit,
        points: &points,
        limits: chart.limits,
        learned_from: chart.learned_from,
        wanted,
        least_height,
    };
    let signals = points.iter().filter(|point| point.signal.is_some()).count();
    Picture {
        name: format!("chart-{}-{}-{}", chart.machine, chart.couverture, chart.charted.key()),
        says: format!("Control chart of {title}: {} values, {signals} signals.", points.len()),
        svg: drawn.svg(),
        is_wide: false,
    }
}
