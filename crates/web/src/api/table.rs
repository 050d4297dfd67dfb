//! The table: what each address takes and answers, in files by what they are about.

mod alarms;
mod kept;
mod works;

use super::operation::Operation;

/// Every row.
pub(super) fn operations() -> impl Iterator<Item = &'static Operation> {
    [works::ROWS, kept::ROWS, alarms::ROWS].into_iter().flatten()
}
