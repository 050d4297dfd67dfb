//! A trial message to one contact, so that people know beforehand that it gets there.

use model::Timestamp;
use plant::{Contact, Plant};

use crate::config::{ReachConfig, ReachError, Ways};
use crate::message::Message;

/// Sends a trial message to `contact`, once.
///
/// # Errors
/// Why it did not get there.
pub async fn try_contact(
    plant: &Plant,
    config: &ReachConfig,
    contact: &Contact,
    now: Timestamp,
) -> Result<(), ReachError> {
    Ways::new(config)?.tell(contact, &Message::of_trial(plant, now)).await
}
