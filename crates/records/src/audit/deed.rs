//! What can be done, by its word in the trail.

use std::fmt;
use std::str::FromStr;

macro_rules! deeds {
    ($($(#[$doc:meta])* $name:ident = $word:literal),* $(,)?) => {
        /// What was done. Its word is kept in the file and never changes its meaning.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        pub enum Deed {
            $($(#[$doc])* $name),*
        }

        impl Deed {
            /// Every deed.
            pub const ALL: &[Deed] = &[$(Deed::$name),*];

            /// Its word.
            pub fn as_str(self) -> &'static str {
                match self {
                    $(Deed::$name => $word),*
                }
            }
        }
    };
}

deeds! {
    /// An event was entered, or came through the broker.
    EventEntered = "event-entered",
    /// A reading was typed, or taken back.
    ReadingEntered = "reading-entered",
    /// A phase of a batch was corrected.
    PhaseCorrected = "phase-corrected",
    /// A baseline was frozen, learned again or reset.
    BaselineOrdered = "baseline-ordered",
    /// A smear was taken for a temper test.
    SmearTaken = "smear-taken",
    /// A photo of a smear was kept.
    PhotoKept = "photo-kept",
    /// Somebody decided what becomes of a batch.
    BatchDecided = "batch-decided",
    /// A probe was checked.
    ProbeChecked = "probe-checked",
    /// Somebody has seen an alarm.
    AlarmAcknowledged = "alarm-acknowledged",
    /// An alarm was shelved for some minutes.
    AlarmShelved = "alarm-shelved",
    /// Alarms were taken out of service.
    AlarmOutOfService = "alarm-out-of-service",
    /// Alarms that were set aside ring again.
    AlarmTakenBack = "alarm-taken-back",
    /// An action was opened in a review.
    ActionOpened = "action-opened",
    /// An action was said to be done, or not done after all.
    ActionClosed = "action-closed",
    /// A week was signed.
    WeekSigned = "week-signed",
    /// A user was added.
    UserAdded = "user-added",
    /// A user got another role.
    RoleChanged = "role-changed",
    /// A user may sign in again.
    UserEnabled = "user-enabled",
    /// A user may no longer sign in.
    UserDisabled = "user-disabled",
    /// A user got another password.
    PasswordChanged = "password-changed",
    /// A user got another PIN.
    PinChanged = "pin-changed",
    /// A user has no PIN any more.
    PinRemoved = "pin-removed",
    /// A key for programs was made.
    TokenMade = "key-made",
    /// A key for programs was withdrawn.
    TokenWithdrawn = "key-withdrawn",
    /// Somebody signed in.
    SignedIn = "signed-in",
    /// Somebody took over a device by PIN.
    TookOver = "took-over",
    /// Somebody signed out.
    SignedOut = "signed-out",
    /// Somebody tried to sign in, with a wrong name, password or PIN.
    SignInFailed = "sign-in-failed",
}

impl fmt::Display for Deed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

impl FromStr for Deed {
    type Err = ();

    fn from_str(text: &str) -> Result<Deed, ()> {
        // As earlier versions wrote them.
        let text = match text {
            "token-made" => "key-made",
            "token-withdrawn" => "key-withdrawn",
            text => text,
        };
        Deed::ALL.iter().copied().find(|deed| deed.as_str() == text).ok_or(())
    }
}
