//! Numbers and moments as people say them: the plant's own local time, 24 hours, one decimal for a temperature.
//!
//! Every figure on a page goes through here, so that the same quantity reads the same everywhere. A number and its
//! unit are joined by a no-break space.
//!
//! Never reads a clock: `now` is an argument.

use charts::Degrees;
use jiff::tz::TimeZone;
use model::{Event, EventKind, Grade, Phase, Priority, Span, Standing, Timestamp};

/// Slower than this the temperature counts as steady: a third of a degree in ten minutes cannot be acted upon.
const STEADY_C_PER_MIN: f64 = 0.03;

/// The plant's local time.
#[derive(Debug, Clone)]
pub(crate) struct LocalTime(TimeZone);

impl LocalTime {
    pub(crate) fn new(zone: TimeZone) -> LocalTime {
        LocalTime(zone)
    }

    /// `14:35`
    pub(crate) fn clock(&self, at: Timestamp) -> String {
        self.format(at, "%H:%M")
    }

    /// `14:35:07`
    pub(crate) fn clock_with_seconds(&self, at: Timestamp) -> String {
        self.format(at, "%H:%M:%S")
    }

    /// `14:35` on the day of `now`, `Tue 3 Mar, 14:35` on any other.
    pub(crate) fn moment(&self, at: Timestamp, now: Timestamp) -> String {
        if self.day(at) == self.day(now) { self.clock(at) } else { self.format(at, "%a %-d %b, %H:%M") }
    }

    /// `Tue 3 March 2026, 14:35`
    pub(crate) fn full(&self, at: Timestamp) -> String {
        self.format(at, "%a %-d %B %Y, %H:%M")
    }

    /// The moment for programs, with the plant's offset: `2026-03-03T14:35:07+00:00`.
    pub(crate) fn machine_readable(&self, at: Timestamp) -> String {
        self.format(at, "%Y-%m-%dT%H:%M:%S%:z")
    }

    /// Its rules, for drawings.
    pub(crate) fn rules(&self) -> &TimeZone {
        &self.0
    }

    fn day(&self, at: Timestamp) -> jiff::civil::Date {
        at.to_jiff().to_zoned_datetime(self.0.clone()).date()
    }

    fn format(&self, at: Timestamp, how: &str) -> String {
        at.to_jiff().to_zoned_datetime(self.0.clone()).strftime(how).to_string()
    }
}

/// `31.4`, without the unit: it stands beside in its own size.
pub(crate) fn bare_temperature(celsius: f64, degrees: Degrees) -> String {
    format!("{:.1}", degrees.of(celsius))
}

/// `31.4 °C`
pub(crate) fn temperature(celsius: f64, degrees: Degrees) -> String {
    format!("{:.1}\u{a0}{}", degrees.of(celsius), degrees.unit())
}

/// `0.45 °C/min`, `8.7 °C/min`
pub(crate) fn rate(c_per_min: f64, degrees: Degrees) -> String {
    let read = degrees.of_difference(c_per_min);
    let places = if read < 1.0 { 2 } else { 1 };
    format!("{read:.places$}\u{a0}{}/min", degrees.unit())
}

/// Some sentence with its numbers tied to their units so that no line breaks between them.
pub(crate) fn tied(sentence: &str) -> String {
    [" °C", " min", " h", " kg", " %"].iter().fold(sentence.to_owned(), |text, unit| {
        let mut tied = String::with_capacity(text.len());
        let mut rest = text.as_str();
        while let Some(place) = rest.find(unit) {
            let after_number = rest[..place].ends_with(|c: char| c.is_ascii_digit());
            let ends = !rest[place + unit.len()..].starts_with(char::is_alphabetic);
            tied.push_str(&rest[..place]);
            tied.push(if after_number && ends { '\u{a0}' } else { ' ' });
            rest = &rest[place + 1..];
        }
        tied + rest
    })
}

/// `45 s`, `25 min`, `2 h 10 min`, `3 days`, to the nearest of its smallest unit. A negative length counts as none.
pub(crate) fn length(span: Span) -> String {
    let seconds = span.as_millis().max(0) / 1000;
    let minutes = (seconds + 30) / 60;
    match (seconds, minutes) {
        (..60, _) => format!("{seconds}\u{a0}s"),
        (_, ..60) => format!("{minutes}\u{a0}min"),
        (_, ..2880) if minutes % 60 == 0 => format!("{}\u{a0}h", minutes / 60),
        (_, ..2880) => format!("{}\u{a0}h {}\u{a0}min", minutes / 60, minutes % 60),
        _ => format!("{}\u{a0}days", (minutes + 720) / 1440),
    }
}

/// `just now`, `25 min ago`.
pub(crate) fn ago(span: Span) -> String {
    if span < Span::from_secs(20) { "just now".to_owned() } else { format!("{} ago", length(span)) }
}

/// Which way the temperature goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Trend {
    Rising,
    Steady,
    Falling,
}

impl Trend {
    /// The trend of a slope in °C/min.
    pub(crate) fn of(slope_c_per_min: f64) -> Trend {
        if slope_c_per_min.abs() < STEADY_C_PER_MIN {
            Trend::Steady
        } else if slope_c_per_min > 0.0 {
            Trend::Rising
        } else {
            Trend::Falling
        }
    }

    pub(crate) fn word(self) -> &'static str {
        match self {
            Trend::Rising => "rising",
            Trend::Steady => "steady",
            Trend::Falling => "falling",
        }
    }
}

/// The phase as a heading: `Working`.
pub(crate) fn phase(phase: Phase) -> &'static str {
    match phase {
        Phase::Idle => "Idle",
        Phase::Melting => "Melting",
        Phase::Soak => "Soak",
        Phase::Cooling => "Cooling",
        Phase::Settling => "Settling",
        Phase::Working => "Working",
        Phase::Rewarming => "Rewarming",
    }
}

/// The standing as people say it: `in temper`.
pub(crate) fn standing(standing: Standing) -> &'static str {
    match standing {
        Standing::InTemper => "in temper",
        Standing::Doubtful => "doubtful",
        Standing::OffTemper => "off temper",
        Standing::Unproven => "unproven",
    }
}

/// How soon somebody is needed.
pub(crate) fn priority(priority: Priority) -> &'static str {
    match priority {
        Priority::High => "Now",
        Priority::Medium => "Soon",
        Priority::Low => "Later",
    }
}

/// What a temper test said, by its worst grade.
pub(crate) fn grade(worst: Grade) -> &'static str {
    match worst {
        Grade::Good => "passed",
        Grade::Fair => "leaves doubt",
        Grade::Poor => "failed",
    }
}

/// An event in one line, without its time: `Seed, 1.5 kg at 20.0 °C`.
pub(crate) fn event(event: &Event, degrees: Degrees) -> String {
    match &event.kind {
        EventKind::Charge { couverture, lot, mass_kg, method } => joined(
            "Charge",
            [
                mass_kg.map(kilograms),
                couverture.as_ref().map(|id| id.to_string()),
                lot.as_ref().map(|lot| format!("lot {lot}")),
                method.map(|method| method.to_string()),
            ],
        ),
        EventKind::Seed { mass_kg, temperature, lot } => {
            addition("Seed", *mass_kg, *temperature, lot.as_deref(), degrees)
        }
        EventKind::TopUp { mass_kg, temperature, lot } => {
            addition("Top-up", *mass_kg, *temperature, lot.as_deref(), degrees)
        }
        EventKind::TemperTest(test) if is_by_curve(event) => {
            format!("Temper test by a sample's cooling curve {}", grade(test.worst()))
        }
        EventKind::TemperTest(test) => format!(
            "Temper test {}: gloss {}, contraction {}, snap {}",
            grade(test.worst()),
            test.gloss.as_str(),
            test.contraction.as_str(),
            test.snap.as_str()
        ),
        EventKind::Reference { temperature: shown } => {
            format!("Hand thermometer showed {}", temperature(*shown, degrees))
        }
        EventKind::Note { text } => format!("Note: {text}"),
        EventKind::End => "End of the batch".to_owned(),
    }
}

/// Does it rest on a sample's cooling curve alone, without a smear?
pub(crate) fn is_by_curve(event: &Event) -> bool {
    let told = wire::further(event);
    told.has_curve && !told.has_smear
}

fn addition(
    what: &str,
    mass_kg: Option<f64>,
    celsius: Option<f64>,
    lot: Option<&str>,
    degrees: Degrees,
) -> String {
    joined(
        what,
        [
            mass_kg.map(kilograms),
            celsius.map(|celsius| format!("at {}", temperature(celsius, degrees))),
            lot.map(|lot| format!("lot {lot}")),
            None,
        ],
    )
}

fn joined(first: &str, rest: [Option<String>; 4]) -> String {
    std::iter::once(first.to_owned()).chain(rest.into_iter().flatten()).collect::<Vec<_>>().join(", ")
}

/// `18.69 kg`
pub(crate) fn kilograms(mass: f64) -> String {
    tied(&charts::kilograms(mass))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_said_in_the_unit_that_people_use() {
        let said = [5, 59, 60, 1500, 3600, 7790, 200_000, 220_000]
            .map(|s| length(Span::from_secs(s)).replace('\u{a0}', " "));
        assert_eq!(said, ["5 s", "59 s", "1 min", "25 min", "1 h", "2 h 10 min", "2 days", "3 days"]);
        assert_eq!(length(Span::from_secs(-90)), "0\u{a0}s");
        assert_eq!(ago(Span::from_secs(3)), "just now");
    }

    #[test]
    fn moments_are_in_the_plants_own_time() {
        let lisbon = LocalTime::new(TimeZone::get("Europe/Lisbon").unwrap());
        let summer: Timestamp = "2026-07-01T13:35:07Z".parse().unwrap();
        assert_eq!(lisbon.clock(summer), "14:35");
        assert_eq!(lisbon.moment(summer, summer + Span::from_hours(2)), "14:35");
        assert_eq!(lisbon.moment(summer, summer + Span::from_hours(12)), "Wed 1 Jul, 14:35");
        assert_eq!(lisbon.machine_readable(summer), "2026-07-01T14:35:07+01:00");
    }

    #[test]
    fn numbers_stay_with_their_units() {
        let said = tied("Above 33.5 °C for 9 min, 2 minutes more; 4 hours and 3 h.").replace('\u{a0}', "_");
        assert_eq!(said, "Above 33.5_°C for 9_min, 2 minutes more; 4 hours and 3_h.");
    }

    #[test]
    fn a_third_of_a_degree_in_ten_minutes_is_steady() {
        assert_eq!([0.029, 0.031, -0.2].map(Trend::of), [Trend::Steady, Trend::Rising, Trend::Falling]);
    }

    #[test]
    fn an_event_is_one_line() {
        let seed = Event {
            machine: "alder".parse().unwrap(),
            at: Timestamp::default(),
            by: None,
            kind: EventKind::Seed { mass_kg: Some(1.5), temperature: Some(20.0), lot: Some("L2207".into()) },
            raw: String::new(),
        };
        assert_eq!(
            event(&seed, Degrees::Celsius).replace('\u{a0}', " "),
            "Seed, 1.5 kg, at 20.0 °C, lot L2207"
        );
    }
}
