//! Where alarms are answered: what people say goes into the records, and what is on record is kept at hand.
//!
//! Pages ask every second and many at a time, so the facts are held in memory; they are read again when somebody writes, and
//! every few seconds, because the watch writes findings on its own.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError, RwLock};

use model::{
    Acknowledgement, Aside, Board, FindingId, FindingKind, MachineId, Priority, SetAside, Span, Timestamp,
};
use records::{By, Records, RecordsError};

use crate::life::State;
use crate::list::{Alarm, Facts, LISTED_AFTER_RETURN, Listing, listing};
use crate::rationale::latching;

/// More than these are no list that people work through; the newest are looked at.
const MOST_FINDINGS: usize = 500;

/// The longest time on the shelf. A charge that is worked can be lost in it, so it is short (start values, no source).
const LONGEST_SHELF: Span = Span::from_mins(60);
/// The same for what is urgent.
const LONGEST_SHELF_HIGH: Span = Span::from_mins(30);
/// The longest time out of service: whoever needs more says so again (a start value, no source).
const LONGEST_OUT: Span = Span::from_hours(31 * 24);

/// Why something cannot be done with an alarm.
#[derive(Debug, thiserror::Error)]
pub enum DeskError {
    /// It is over, or there never was one.
    #[error("There is no such alarm now; it may be over already.")]
    NoSuchAlarm,
    /// Somebody has said so before.
    #[error("{by} has acknowledged it already.")]
    AlreadySeen {
        /// Who.
        by: String,
    },
    /// Longer than alarms may be kept from ringing.
    #[error("That is too long: at most {most}.")]
    TooLong {
        /// `30 min`
        most: &'static str,
    },
    /// Somebody has done it before, and it still holds.
    #[error("{by} has {done} already. Let it ring again first, if something about that is to change.")]
    AlreadyAside {
        /// Who.
        by: String,
        /// `shelved it`
        done: &'static str,
    },
    /// It would be over before it began.
    #[error("That time has passed already; say one that is still to come.")]
    Passed,
    /// Nothing is set aside under that number, or no longer.
    #[error("Nothing is set aside under that number now; it may be over already.")]
    NotAside,
    /// The records cannot be read or written.
    #[error(transparent)]
    Records(#[from] RecordsError),
}

/// What is to be set aside.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wanted {
    /// In which way.
    pub way: Aside,
    /// Of this machine; `None` for alarms of the plant.
    pub machine: Option<MachineId>,
    /// Of this kind; `None` for all of the machine.
    pub kind: Option<FindingKind>,
    /// Why.
    pub reason: String,
    /// Until when.
    pub until: Timestamp,
}

impl Wanted {
    /// Is everything of it set aside in the same way by `before`?
    fn is_within(&self, before: &SetAside) -> bool {
        let is_of_kind = before.kind.is_none() || before.kind == self.kind;
        before.way == self.way && before.machine == self.machine && is_of_kind
    }
}

/// The desk.
pub struct Desk {
    records: Arc<Records>,
    facts: RwLock<Arc<Facts>>,
    /// One answer after the other, so that of two taps the second sees what the first has done.
    answering: Mutex<()>,
}

impl Desk {
    /// A desk with what is on record. There is none without: what somebody has acknowledged would ring until it was read.
    ///
    /// # Errors
    /// If the records cannot be read.
    pub fn open(records: Arc<Records>, now: Timestamp) -> Result<Desk, RecordsError> {
        let desk = Desk { records, facts: RwLock::default(), answering: Mutex::default() };
        desk.refresh(now)?;
        Ok(desk)
    }

    /// Reads the records again.
    ///
    /// # Errors
    /// If they cannot be read; then what was known stays.
    pub fn refresh(&self, now: Timestamp) -> Result<(), RecordsError> {
        let since = now - LISTED_AFTER_RETURN;
        let findings = self.records.alarm_findings(&latching(), since, MOST_FINDINGS)?;
        let ids: Vec<FindingId> = findings.iter().map(|finding| finding.id.clone()).collect();
        let mut seen: BTreeMap<FindingId, Acknowledgement> = BTreeMap::new();
        for told in self.records.acknowledgements_of(&ids)? {
            seen.insert(told.finding.clone(), told);
        }
        let asides = self.records.set_asides(since, Timestamp::from_millis(i64::MAX))?;
        let tests = self.records.newest_tests()?;
        *self.facts.write().unwrap_or_else(PoisonError::into_inner) =
            Arc::new(Facts { findings, seen, asides, tests });
        Ok(())
    }

    /// What needs somebody now.
    pub fn listing(&self, board: &Board, now: Timestamp) -> Listing {
        listing(&self.facts(), board, now)
    }

    /// What is set aside now, the newest first.
    pub fn aside(&self, now: Timestamp) -> Vec<SetAside> {
        self.facts().asides.iter().filter(|aside| aside.holds_at(now)).cloned().collect()
    }

    /// Somebody has seen an alarm, and with it those that share its cause. On disk when it returns.
    ///
    /// # Errors
    /// If there is no such alarm, somebody has seen it before, or it cannot be written.
    pub fn acknowledge(
        &self,
        by: &By,
        name: &str,
        board: &Board,
        id: &FindingId,
    ) -> Result<Vec<Acknowledgement>, DeskError> {
        let _turn = self.answering.lock().unwrap_or_else(PoisonError::into_inner);
        self.refresh(by.at)?;
        let listing = self.listing(board, by.at);
        let alarm = listing.of(id).ok_or(DeskError::NoSuchAlarm)?;
        let is_unseen =
            |alarm: &&Alarm| alarm.seen.as_ref().is_none_or(|seen| seen.priority < alarm.finding.priority);
        let members = listing.alarms.iter().filter(|other| other.shared.as_ref() == Some(id));
        let unseen: Vec<&Alarm> = std::iter::once(alarm).chain(members).filter(is_unseen).collect();
        if let (true, Some(seen)) = (unseen.is_empty(), &alarm.seen) {
            return Err(DeskError::AlreadySeen { by: seen.by.clone() });
        }
        self.write_down(by, name, &unseen)
    }

    /// Somebody has seen everything that came back to normal by itself. On disk when it returns.
    ///
    /// # Errors
    /// If it cannot be written.
    pub fn acknowledge_returned(
        &self,
        by: &By,
        name: &str,
        board: &Board,
    ) -> Result<Vec<Acknowledgement>, DeskError> {
        self.refresh(by.at)?;
        let listing = self.listing(board, by.at);
        let returned = |alarm: &&Alarm| alarm.state == State::ReturnedUnacknowledged;
        self.write_down(by, name, &listing.alarms.iter().filter(returned).collect::<Vec<_>>())
    }

    fn write_down(&self, by: &By, name: &str, seen: &[&Alarm]) -> Result<Vec<Acknowledgement>, DeskError> {
        let told = |alarm: &&Alarm| Acknowledgement {
            finding: alarm.finding.id.clone(),
            priority: alarm.finding.priority,
            by: name.to_owned(),
            at: by.at,
        };
        let told: Vec<Acknowledgement> = seen.iter().map(told).collect();
        for (alarm, told) in seen.iter().zip(&told) {
            self.records.acknowledge(by, &alarm.finding, told)?;
        }
        self.refresh(by.at)?;
        Ok(told)
    }

    /// Sets alarms aside. On disk when it returns.
    ///
    /// # Errors
    /// If it is for too long, is set aside in that way already, or cannot be written.
    pub fn set_aside(
        &self,
        by: &By,
        name: &str,
        board: &Board,
        wanted: Wanted,
    ) -> Result<SetAside, DeskError> {
        let _turn = self.answering.lock().unwrap_or_else(PoisonError::into_inner);
        self.refresh(by.at)?;
        let (longest, most) = match wanted.way {
            Aside::OutOfService => (LONGEST_OUT, "31 days"),
            Aside::Shelved if self.is_urgent(board, by.at, &wanted) => {
                (LONGEST_SHELF_HIGH, "30 min for what is urgent")
            }
            Aside::Shelved => (LONGEST_SHELF, "60 min"),
        };
        if wanted.until <= by.at {
            return Err(DeskError::Passed);
        }
        if longest < wanted.until.since(by.at) {
            return Err(DeskError::TooLong { most });
        }
        if let Some(before) = self.aside(by.at).into_iter().find(|aside| wanted.is_within(aside)) {
            let done = match wanted.way {
                Aside::Shelved => "shelved it",
                Aside::OutOfService => "taken it out of service",
            };
            return Err(DeskError::AlreadyAside { by: before.by, done });
        }
        let Wanted { way, machine, kind, reason, until } = wanted;
        let aside = SetAside {
            number: 0,
            way,
            machine,
            kind,
            reason,
            by: name.to_owned(),
            from: by.at,
            until,
            ended: None,
            ended_by: None,
        };
        let aside = self.records.set_aside(by, aside)?;
        self.refresh(by.at)?;
        Ok(aside)
    }

    /// Takes back what was set aside. On disk when it returns.
    ///
    /// # Errors
    /// If nothing is set aside under that number now, or it cannot be written.
    pub fn take_back(&self, by: &By, name: &str, number: u64) -> Result<SetAside, DeskError> {
        let ended = self.records.take_back(by, name, number)?;
        self.refresh(by.at)?;
        ended.ok_or(DeskError::NotAside)
    }

    /// The way in which something is set aside under that number now.
    pub fn way_of(&self, number: u64, now: Timestamp) -> Option<Aside> {
        self.aside(now).iter().find(|aside| aside.number == number).map(|aside| aside.way)
    }

    fn is_urgent(&self, board: &Board, now: Timestamp, wanted: &Wanted) -> bool {
        let listing = self.listing(board, now);
        let about = |finding: &model::Finding| {
            finding.machine == wanted.machine && wanted.kind.is_none_or(|kind| kind == finding.kind)
        };
        listing.alarms.iter().any(|alarm| alarm.finding.priority == Priority::High && about(&alarm.finding))
    }

    fn facts(&self) -> Arc<Facts> {
        self.facts.read().unwrap_or_else(PoisonError::into_inner).clone()
    }
}

#[cfg(test)]
mod tests {
    use model::Phase;
    use records::{Actor, Update};

    use super::*;
    use crate::made_up::{at, board, finding};

    fn by(minutes: i64) -> By {
        By::new(Actor::Loopback, at(minutes))
    }

    fn shelve(minutes: i64) -> Wanted {
        Wanted {
            way: Aside::Shelved,
            machine: Some("alder".parse().unwrap()),
            kind: Some(FindingKind::WarmHold),
            reason: "the valve is being changed".to_owned(),
            until: at(minutes),
        }
    }

    #[test]
    fn what_people_say_outlives_the_service() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(records::FILE_NAME);
        let open = |minutes| Desk::open(Arc::new(Records::open(&path).unwrap()), at(minutes)).unwrap();
        let warm = finding(FindingKind::WarmHold, 0, None);
        let board = board(Phase::Working, std::slice::from_ref(&warm));
        let desk = open(0);
        desk.records.commit(&Update { findings: vec![warm.clone()], ..Update::default() }).unwrap();
        let state = |desk: &Desk, minutes| desk.listing(&board, at(minutes)).alarms[0].state.as_str();
        assert_eq!(state(&desk, 1), "unacknowledged");
        desk.acknowledge(&by(1), "ana", &board, &warm.id).unwrap();
        let again = desk.acknowledge(&by(2), "rui", &board, &warm.id).unwrap_err();
        assert_eq!(again.to_string(), "ana has acknowledged it already.");
        let shelved = desk.set_aside(&by(3), "ana", &board, shelve(33)).unwrap();
        drop(desk);
        let desk = open(4);
        assert_eq!(state(&desk, 4), "shelved");
        assert_eq!(desk.way_of(shelved.number, at(4)), Some(Aside::Shelved));
        desk.take_back(&by(5), "ana", shelved.number).unwrap();
        assert_eq!(state(&desk, 5), "acknowledged");
        assert!(matches!(desk.take_back(&by(6), "ana", shelved.number), Err(DeskError::NotAside)));
    }

    /// Two taps on a wet screen, or a second person who saw the list a moment ago.
    #[test]
    fn what_is_aside_is_not_set_aside_again() {
        let folder = tempfile::tempdir().unwrap();
        let records = Records::open(folder.path().join(records::FILE_NAME)).unwrap();
        let desk = Desk::open(Arc::new(records), at(0)).unwrap();
        let board = board(Phase::Working, &[finding(FindingKind::WarmHold, 0, None)]);
        let shelved = desk.set_aside(&by(1), "ana", &board, shelve(16)).unwrap();
        let again = desk.set_aside(&by(1), "ana", &board, shelve(31)).unwrap_err();
        assert_eq!(
            again.to_string(),
            "ana has shelved it already. Let it ring again first, if something about that is to change."
        );
        assert_eq!(desk.aside(at(2)), std::slice::from_ref(&shelved));
        let out = |kind| Wanted { way: Aside::OutOfService, kind, ..shelve(100) };
        desk.set_aside(&by(2), "rui", &board, out(None)).unwrap();
        let again = desk.set_aside(&by(3), "rui", &board, out(Some(FindingKind::Scorch))).unwrap_err();
        assert!(again.to_string().starts_with("rui has taken it out of service already."), "{again}");
        desk.take_back(&by(4), "ana", shelved.number).unwrap();
        desk.set_aside(&by(5), "ana", &board, shelve(31)).unwrap();
        desk.set_aside(&by(31), "ana", &board, shelve(46)).expect("the first is over");
    }

    #[test]
    fn nothing_is_shelved_for_long_and_what_is_urgent_for_less() {
        let folder = tempfile::tempdir().unwrap();
        let records = Records::open(folder.path().join(records::FILE_NAME)).unwrap();
        let desk = Desk::open(Arc::new(records), at(0)).unwrap();
        let mut warm = finding(FindingKind::WarmHold, 0, None);
        let with = |warm: &model::Finding| board(Phase::Working, std::slice::from_ref(warm));
        let too_long = desk.set_aside(&by(0), "ana", &with(&warm), shelve(61)).unwrap_err();
        assert_eq!(too_long.to_string(), "That is too long: at most 60 min.");
        assert!(matches!(desk.set_aside(&by(0), "ana", &with(&warm), shelve(0)), Err(DeskError::Passed)));
        desk.set_aside(&by(0), "ana", &with(&warm), shelve(60)).unwrap();
        warm.priority = Priority::High;
        let too_long = desk.set_aside(&by(0), "ana", &with(&warm), shelve(31)).unwrap_err();
        assert_eq!(too_long.to_string(), "That is too long: at most 30 min for what is urgent.");
        let none = desk.acknowledge(&by(1), "ana", &with(&warm), &FindingId::from_lookup("x")).unwrap_err();
        assert_eq!(none.to_string(), "There is no such alarm now; it may be over already.");
    }
}
