//! The zone that decides which day and which ISO week a batch belongs to.

use model::Timestamp;

/// A time zone of the IANA database, with its name.
#[derive(Debug, Clone, PartialEq)]
pub struct TimeZone {
    name: String,
    zone: jiff::tz::TimeZone,
}

impl TimeZone {
    /// `None` if the database knows no zone of that name.
    pub fn named(name: &str) -> Option<TimeZone> {
        let zone = jiff::tz::TimeZone::get(name).ok().filter(|zone| !zone.is_unknown())?;
        Some(TimeZone { name: zone.iana_name().unwrap_or(name).to_owned(), zone })
    }

    /// Its name, such as `Europe/Lisbon`.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Its rules.
    pub fn rules(&self) -> &jiff::tz::TimeZone {
        &self.zone
    }

    /// What clock and calendar on the wall show at `at`.
    pub fn local(&self, at: Timestamp) -> jiff::civil::DateTime {
        self.zone.to_datetime(at.to_jiff())
    }
}

/// The names of all zones, for a hint.
pub(crate) fn all_names() -> Vec<String> {
    jiff::tz::db().available().map(|name| name.as_str().to_owned()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_zone_moves_the_day() {
        let lisbon = TimeZone::named("Europe/Lisbon").unwrap();
        // Summer time in Portugal is UTC+1 (IANA time zone database).
        let late = "2026-07-01T23:30:00Z".parse().unwrap();
        assert_eq!(lisbon.local(late).date().to_string(), "2026-07-02");
        assert_eq!(TimeZone::named("Europe/Tern"), None);
        assert_eq!(TimeZone::named("Etc/Unknown"), None);
    }
}
