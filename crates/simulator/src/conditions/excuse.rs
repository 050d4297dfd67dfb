//! Why a condition is nobody's to find, and explains a finding all the same. The contract's own freedom comes first; the rest goes beyond
//! it, and is counted by name so that nobody is excused unseen.

use std::fmt;

macro_rules! excuses {
    ($($(#[$doc:meta])* $variant:ident = $word:literal;)*) => {
        /// Why a condition is not asked for.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum Excuse { $($(#[$doc])* $variant,)* }

        impl Excuse {
            /// Its name, as tables print it.
            pub fn as_str(self) -> &'static str {
                match self { $(Excuse::$variant => $word,)* }
            }
        }
    };
}

excuses! {
    /// Met or missed by less than a margin, or by less than the probe can tell.
    NearTheLimit = "near the limit";
    /// One cause, one finding: another one says it.
    SaidByAnother = "said by another";
    /// A suspect reading feeds no temperature finding.
    InstrumentsInTrouble = "instruments in trouble";
    /// A rise on chocolate alone is held back, or decided before one can know.
    RiseAlone = "a rise on chocolate alone";
    /// Silence is none in `idle`, and where `idle` begins one may see differently.
    Idle = "idle";
    /// A sender on change, or by hand, has no usual interval.
    NoUsualInterval = "no usual interval";
    /// The usual cooling speaks of a mass that nobody told.
    MassNotTold = "mass not told";
    /// A change that makes a new level, a test or a seed was told late, or never.
    NotTold = "not told";
    /// Of the machines that make it common, some are excused.
    Members = "members excused";
    /// Met after the last message.
    AfterTheEnd = "after the end";
    /// Beyond the contract: a move within ten minutes is a step, and no slow one.
    Step = "a step";
    /// Beyond the contract: the last twenty minutes are in part those of the settled level, or follow it closely.
    EarlyInTheHold = "early in the hold";
    /// Beyond the contract: a hold that came nearer to its set-point has settled.
    SettledAtTheSetpoint = "settled at the set-point";
    /// Beyond the contract: a set-point that was changed within two minutes says nothing of what was heated before.
    SetpointJustChanged = "set-point just changed";
    /// Beyond the contract: what cools towards a lowered set-point comes up a little on the way.
    ComesUpALittle = "comes up a little";
    /// Beyond the contract: a two-point controller that brings a charge back does what the jacket's half describes.
    OrdinaryHeating = "ordinary heating";
    /// Beyond the contract: the time constant is that against a wall which nobody measures, and a controlled fall is too straight to show its own.
    JacketNotMeasured = "jacket not measured";
    /// Beyond the contract: what was kept back and comes in a burst is late, and its clock right.
    Burst = "kept back";
}

impl fmt::Display for Excuse {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}
