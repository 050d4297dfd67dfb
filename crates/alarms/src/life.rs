//! The life of one alarm, as ISA-18.2 and IEC 62682 draw it: which state follows from what has happened.
//!
//! ```text
//!              raised                 seen
//!   normal ──────────▶ unacknowledged ────▶ acknowledged
//!     ▲                   │ returns            │ returns
//!     │        seen       ▼                    │
//!     ├───────────── returned-unacknowledged   │   (without latching)
//!     └────────────────────────────────────────┘
//!                         │ returns, latching  │ returns, latching
//!                         ▼                    ▼
//!              latched-unacknowledged ──▶ latched-acknowledged ──▶ normal
//!                         │          seen                     tested
//!                         └─ tested ─▶ returned-unacknowledged
//! ```
//! One of low priority that does not latch goes straight to normal when it returns: nobody has to look at what could wait.
//! Over all of these lie three that keep it from ringing: out of service, suppressed by design, shelved.
//!
//! A state is worked out from moments that lie on record, never stored: what is on record cannot be lost by a restart,
//! and no order in which it is learned can lead astray.
//!
//! **Invariant:** what is shelved, suppressed or out of service does not ring; what latches is not over before a test
//! that was made after it came back to normal.

use model::{Aside, Priority, Timestamp};

/// What has happened to an alarm so far.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Life {
    /// How urgent it is now.
    pub(crate) priority: Priority,
    /// When it came back to normal.
    pub(crate) returned: Option<Timestamp>,
    /// The priority at which somebody has seen it.
    pub(crate) seen: Option<Priority>,
    /// Does it wait for a temper test?
    pub(crate) latches: bool,
    /// The latest temper test of the machine.
    pub(crate) tested: Option<Timestamp>,
    /// Somebody set it aside.
    pub(crate) aside: Option<Aside>,
    /// It stands in a phase in which nobody has to act.
    pub(crate) is_suppressed: bool,
    /// A worse one has taken it over, and rings in its place.
    pub(crate) is_taken_over: bool,
}

/// A state of the standard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum State {
    /// There is no alarm any more.
    Normal,
    /// It stands, and nobody has seen it.
    Unacknowledged,
    /// It stands, and somebody has seen it.
    Acknowledged,
    /// It has gone by itself before anybody had seen it.
    ReturnedUnacknowledged,
    /// The temperature is back; a test is needed, and nobody has seen it.
    LatchedUnacknowledged,
    /// The temperature is back and somebody has seen it; a test is needed.
    LatchedAcknowledged,
    /// Set aside for some minutes.
    Shelved,
    /// Quiet by design in this phase.
    Suppressed,
    /// Set aside while somebody works on the machine.
    OutOfService,
}

impl Life {
    /// Has somebody seen it as urgent as it is?
    fn is_seen(&self) -> bool {
        self.seen.is_some_and(|priority| self.priority <= priority)
    }

    /// Its state.
    pub(crate) fn state(&self) -> State {
        let beneath = self.without_aside();
        if beneath == State::Normal {
            return State::Normal;
        }
        match self.aside {
            Some(Aside::OutOfService) => State::OutOfService,
            Some(Aside::Shelved) if !self.is_suppressed => State::Shelved,
            Some(Aside::Shelved) | None if self.is_suppressed => State::Suppressed,
            Some(Aside::Shelved) | None => beneath,
        }
    }

    fn without_aside(&self) -> State {
        if self.is_taken_over {
            return State::Normal;
        }
        let Some(returned) = self.returned else {
            return if self.is_seen() { State::Acknowledged } else { State::Unacknowledged };
        };
        let is_tested = self.tested.is_some_and(|tested| returned <= tested);
        // What could wait and has gone by itself asks nobody to look.
        let is_settled = self.is_seen() || self.priority == Priority::Low;
        match (self.latches && !is_tested, is_settled) {
            (true, true) => State::LatchedAcknowledged,
            (true, false) => State::LatchedUnacknowledged,
            (false, false) => State::ReturnedUnacknowledged,
            (false, true) => State::Normal,
        }
    }
}

impl State {
    /// Every state.
    pub const ALL: [State; 9] = [
        State::Normal,
        State::Unacknowledged,
        State::Acknowledged,
        State::ReturnedUnacknowledged,
        State::LatchedUnacknowledged,
        State::LatchedAcknowledged,
        State::Shelved,
        State::Suppressed,
        State::OutOfService,
    ];

    /// As programs say it.
    pub fn as_str(self) -> &'static str {
        match self {
            State::Normal => "normal",
            State::Unacknowledged => "unacknowledged",
            State::Acknowledged => "acknowledged",
            State::ReturnedUnacknowledged => "returned-unacknowledged",
            State::LatchedUnacknowledged => "latched-unacknowledged",
            State::LatchedAcknowledged => "latched-acknowledged",
            State::Shelved => "shelved",
            State::Suppressed => "suppressed",
            State::OutOfService => "out-of-service",
        }
    }

    /// Does it call for somebody now?
    pub fn rings(self) -> bool {
        match self {
            State::Unacknowledged | State::LatchedUnacknowledged => true,
            State::Normal
            | State::Acknowledged
            | State::ReturnedUnacknowledged
            | State::LatchedAcknowledged
            | State::Shelved
            | State::Suppressed
            | State::OutOfService => false,
        }
    }

    /// Is it kept from ringing?
    pub fn is_aside(self) -> bool {
        match self {
            State::Shelved | State::Suppressed | State::OutOfService => true,
            State::Normal
            | State::Unacknowledged
            | State::Acknowledged
            | State::ReturnedUnacknowledged
            | State::LatchedUnacknowledged
            | State::LatchedAcknowledged => false,
        }
    }

    /// May somebody still say that they have seen it?
    pub fn waits_for_somebody(self) -> bool {
        match self {
            State::Unacknowledged | State::ReturnedUnacknowledged | State::LatchedUnacknowledged => true,
            State::Normal
            | State::Acknowledged
            | State::LatchedAcknowledged
            | State::Shelved
            | State::Suppressed
            | State::OutOfService => false,
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// What can happen, one thing after the other.
    #[derive(Debug, Clone, Copy)]
    enum Step {
        Seen,
        Returns,
        Tested,
        MoreUrgent,
        TakenOver,
        Shelve,
        Unshelve,
        TakeOut,
        PutBack,
        Suppress,
        Release,
    }

    const STEPS: [Step; 11] = [
        Step::Seen,
        Step::Returns,
        Step::Tested,
        Step::MoreUrgent,
        Step::TakenOver,
        Step::Shelve,
        Step::Unshelve,
        Step::TakeOut,
        Step::PutBack,
        Step::Suppress,
        Step::Release,
    ];

    /// The diagram at the head of this file, arrow by arrow.
    fn arrow(from: State, step: Step, latches: bool) -> State {
        match (from, step) {
            (State::Unacknowledged, Step::Seen) => State::Acknowledged,
            (State::Unacknowledged, Step::Returns) if latches => State::LatchedUnacknowledged,
            (State::Unacknowledged, Step::Returns) => State::ReturnedUnacknowledged,
            (State::Acknowledged, Step::Returns) if latches => State::LatchedAcknowledged,
            (State::Acknowledged, Step::Returns) => State::Normal,
            (State::Acknowledged, Step::MoreUrgent) => State::Unacknowledged,
            (State::ReturnedUnacknowledged, Step::Seen) => State::Normal,
            (State::LatchedUnacknowledged, Step::Seen) => State::LatchedAcknowledged,
            (State::LatchedUnacknowledged, Step::Tested) => State::ReturnedUnacknowledged,
            (State::LatchedAcknowledged, Step::Tested) => State::Normal,
            (_, Step::TakenOver) => State::Normal,
            (same, _) => same,
        }
    }

    fn life(latches: bool) -> Life {
        Life {
            priority: Priority::Medium,
            returned: None,
            seen: None,
            latches,
            tested: None,
            aside: None,
            is_suppressed: false,
            is_taken_over: false,
        }
    }

    fn happens(life: &mut Life, step: Step, at: Timestamp) {
        match step {
            Step::Seen => life.seen = Some(life.priority),
            Step::Returns => life.returned = life.returned.or(Some(at)),
            Step::Tested => life.tested = Some(at),
            // Only an open finding becomes more urgent.
            Step::MoreUrgent if life.returned.is_none() => life.priority = Priority::High,
            Step::MoreUrgent => {}
            Step::TakenOver => life.is_taken_over = true,
            Step::Shelve => life.aside = life.aside.or(Some(Aside::Shelved)),
            Step::Unshelve => life.aside = life.aside.filter(|way| *way != Aside::Shelved),
            Step::TakeOut => life.aside = Some(Aside::OutOfService),
            Step::PutBack => life.aside = life.aside.filter(|way| *way != Aside::OutOfService),
            Step::Suppress => life.is_suppressed = true,
            Step::Release => life.is_suppressed = false,
        }
    }

    #[test]
    fn what_could_wait_and_has_gone_asks_nobody() {
        let mut life = Life { priority: Priority::Low, ..life(false) };
        assert_eq!(life.state(), State::Unacknowledged);
        life.returned = Some(Timestamp::from_millis(1));
        assert_eq!(life.state(), State::Normal);
    }

    proptest! {
        /// No transition is lost: whatever happens in whatever order, the state is the one that the diagram leads to.
        #[test]
        fn the_state_is_where_the_arrows_lead(latches: bool, steps in prop::collection::vec(0..STEPS.len(), 0..40)) {
            let (mut life, mut drawn, mut urgent) = (life(latches), State::Unacknowledged, false);
            for (n, step) in steps.into_iter().map(|n| STEPS[n]).enumerate() {
                let at = Timestamp::from_millis(1_000 * (n as i64 + 1));
                let is_open = life.returned.is_none();
                happens(&mut life, step, at);
                // It can become more urgent once, and only while it is open.
                let is_more_urgent = matches!(step, Step::MoreUrgent);
                if !is_more_urgent || (is_open && !urgent) {
                    drawn = arrow(drawn, step, latches);
                }
                urgent |= is_more_urgent && is_open;
                let expected = match (drawn, life.aside, life.is_suppressed) {
                    (State::Normal, ..) => State::Normal,
                    (_, Some(Aside::OutOfService), _) => State::OutOfService,
                    (_, _, true) => State::Suppressed,
                    (_, Some(Aside::Shelved), false) => State::Shelved,
                    (beneath, None, false) => beneath,
                };
                prop_assert_eq!(life.state(), expected);
            }
        }

        #[test]
        fn what_is_aside_never_rings(latches: bool, steps in prop::collection::vec(0..STEPS.len(), 0..40)) {
            let mut life = life(latches);
            for (n, step) in steps.into_iter().enumerate() {
                happens(&mut life, STEPS[step], Timestamp::from_millis(1_000 * (n as i64 + 1)));
                if life.aside.is_some() || life.is_suppressed {
                    prop_assert!(!life.state().rings());
                }
            }
        }

        /// A loss of temper that nobody has tested since never becomes normal by itself, and no test before its end counts.
        #[test]
        fn what_latches_is_over_only_after_a_test(steps in prop::collection::vec(0..STEPS.len(), 0..40)) {
            let (mut life, mut tested_since) = (life(true), false);
            for (n, step) in steps.into_iter().map(|n| STEPS[n]).enumerate() {
                happens(&mut life, step, Timestamp::from_millis(1_000 * (n as i64 + 1)));
                tested_since |= matches!(step, Step::Tested) && life.returned.is_some();
                if !tested_since && !life.is_taken_over {
                    prop_assert_ne!(life.state(), State::Normal);
                    prop_assert_ne!(life.state(), State::ReturnedUnacknowledged);
                }
            }
        }
    }
}
