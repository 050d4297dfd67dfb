//! When the works works: local days, hours and weekends.

use jiff::civil;
use model::{Span, Timestamp};
use plant::TimeZone;

/// How moments become days and hours.
#[derive(Debug, Clone)]
pub(crate) enum Calendar {
    /// The plant's own time zone, with Saturdays and Sundays off.
    Zone(TimeZone),
    /// Days of 24 hours from `midnight` on, all of them working days: the demo's, whose day is where it wants it.
    Shifted {
        /// A moment that counts as midnight.
        midnight: Timestamp,
    },
}

impl Calendar {
    /// The local day that holds `at`, counted from a fixed one.
    pub(crate) fn day_of(&self, at: Timestamp) -> i64 {
        match self {
            Calendar::Zone(zone) => days_since_1970(zone.local(at).date()),
            Calendar::Shifted { midnight } => {
                at.since(*midnight).as_millis().div_euclid(Span::from_hours(24).as_millis())
            }
        }
    }

    /// The moment `minutes` after midnight of `day`, by the clock on the wall.
    pub(crate) fn moment(&self, day: i64, minutes: f64) -> Timestamp {
        match self {
            Calendar::Zone(zone) => {
                let span = jiff::Span::new().days(day).milliseconds((minutes * 60_000.0) as i64);
                let clock = civil::date(1970, 1, 1).at(0, 0, 0, 0).saturating_add(span);
                match zone.rules().to_ambiguous_timestamp(clock).compatible() {
                    Ok(at) => Timestamp::from(at),
                    Err(_) => Timestamp::from_millis(i64::MAX),
                }
            }
            Calendar::Shifted { midnight } => {
                *midnight + Span::from_hours(24) * day + Span::from_mins_f64(minutes)
            }
        }
    }

    /// Hour of the local day, with a fraction.
    pub(crate) fn hour(&self, at: Timestamp) -> f64 {
        match self {
            Calendar::Zone(zone) => {
                let time = zone.local(at).time();
                f64::from(time.hour()) + f64::from(time.minute()) / 60.0
            }
            Calendar::Shifted { midnight } => {
                let day = Span::from_hours(24).as_millis();
                at.since(*midnight).as_millis().rem_euclid(day) as f64 / 3_600_000.0
            }
        }
    }

    /// Is `day` worked?
    pub(crate) fn is_workday(&self, day: i64) -> bool {
        match self {
            // 1970-01-01 was a Thursday.
            Calendar::Zone(_) => (day + 3).rem_euclid(7) < 5,
            Calendar::Shifted { .. } => true,
        }
    }

    /// The first working day after `day`.
    pub(crate) fn next_workday(&self, day: i64) -> i64 {
        (day + 1..).find(|d| self.is_workday(*d)).expect("a week has working days")
    }
}

fn days_since_1970(date: civil::Date) -> i64 {
    let hours = date.duration_since(civil::date(1970, 1, 1)).as_hours();
    hours.div_euclid(24)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_zone_keeps_wall_time_across_the_change_of_clocks() {
        let lisbon = Calendar::Zone(TimeZone::named("Europe/Lisbon").unwrap());
        // Clocks went forward on 2026-03-29 at 01:00 UTC.
        let day = lisbon.day_of("2026-03-28T12:00:00Z".parse().unwrap());
        assert_eq!(lisbon.moment(day, 6.0 * 60.0).to_string(), "2026-03-28T06:00:00Z");
        assert_eq!(lisbon.moment(day + 1, 6.0 * 60.0).to_string(), "2026-03-29T05:00:00Z");
        assert!(!lisbon.is_workday(day));
        assert!(lisbon.is_workday(lisbon.next_workday(day)));
        assert_eq!(lisbon.next_workday(day), day + 2);
    }

    #[test]
    fn a_shifted_day_begins_where_it_was_told() {
        let midnight: Timestamp = "2026-03-02T17:30:00Z".parse().unwrap();
        let shifted = Calendar::Shifted { midnight };
        assert_eq!(shifted.hour(midnight + Span::from_hours(9)), 9.0);
        assert_eq!(shifted.day_of(midnight - Span::from_secs(1)), -1);
        assert_eq!(shifted.moment(1, 60.0), midnight + Span::from_hours(25));
    }
}
