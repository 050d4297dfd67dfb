//! `[mail]`, `[[contact]]` and `[[reach]]` as they were written.

use crate::fault::{At, Faults};
use crate::table::Table;

/// Who is told of alarms, and how.
#[derive(Debug, Default)]
pub(crate) struct RawReach {
    pub(crate) mail: Option<RawMail>,
    pub(crate) contacts: Vec<RawContact>,
    pub(crate) rules: Vec<RawRule>,
}

/// `[mail]`.
#[derive(Debug)]
pub(crate) struct RawMail {
    pub(crate) server: Option<At<String>>,
    pub(crate) from: Option<At<String>>,
    pub(crate) user: Option<At<String>>,
    pub(crate) password_file: Option<At<String>>,
    pub(crate) password_env: Option<At<String>>,
}

/// One `[[contact]]`.
#[derive(Debug)]
pub(crate) struct RawContact {
    pub(crate) line: usize,
    pub(crate) id: Option<At<String>>,
    pub(crate) name: Option<At<String>>,
    pub(crate) mail: Option<At<String>>,
    pub(crate) webhook: Option<At<String>>,
    pub(crate) secret_file: Option<At<String>>,
    pub(crate) secret_env: Option<At<String>>,
    pub(crate) quiet_hours: Option<At<String>>,
}

/// One `[[reach]]`.
#[derive(Debug)]
pub(crate) struct RawRule {
    pub(crate) line: usize,
    pub(crate) machines: Option<Vec<At<String>>>,
    pub(crate) alarms: Option<Vec<At<String>>>,
    pub(crate) priority: Option<At<String>>,
    pub(crate) first: Option<Vec<At<String>>>,
    pub(crate) next: Vec<RawStep>,
}

/// One `[[reach.next]]`.
#[derive(Debug)]
pub(crate) struct RawStep {
    pub(crate) line: usize,
    pub(crate) after_minutes: Option<At<f64>>,
    pub(crate) contacts: Option<Vec<At<String>>>,
}

impl RawReach {
    pub(super) fn read(file: &mut Table<'_>, faults: &mut Faults<'_>) -> RawReach {
        RawReach {
            mail: file.table("mail", faults).map(|table| RawMail::read(table, faults)),
            contacts: file
                .tables("contact", faults)
                .into_iter()
                .map(|table| RawContact::read(table, faults))
                .collect(),
            rules: file
                .tables("reach", faults)
                .into_iter()
                .map(|table| RawRule::read(table, faults))
                .collect(),
        }
    }
}

impl RawMail {
    fn read(mut table: Table<'_>, faults: &mut Faults<'_>) -> RawMail {
        let raw = RawMail {
            server: table.required_text("server", faults),
            from: table.required_text("from", faults),
            user: table.text("user", faults),
            password_file: table.text("password_file", faults),
            password_env: table.text("password_env", faults),
        };
        table.finish(faults);
        raw
    }
}

impl RawContact {
    fn read(mut table: Table<'_>, faults: &mut Faults<'_>) -> RawContact {
        let raw = RawContact {
            line: table.line(),
            id: table.required_text("id", faults),
            name: table.text("name", faults),
            mail: table.text("mail", faults),
            webhook: table.text("webhook", faults),
            secret_file: table.text("secret_file", faults),
            secret_env: table.text("secret_env", faults),
            quiet_hours: table.text("quiet_hours", faults),
        };
        table.finish(faults);
        raw
    }
}

impl RawRule {
    fn read(mut table: Table<'_>, faults: &mut Faults<'_>) -> RawRule {
        let raw = RawRule {
            line: table.line(),
            machines: table.texts("machines", faults),
            alarms: table.texts("alarms", faults),
            priority: table.text("priority", faults),
            first: table.texts("first", faults),
            next: table
                .tables("next", faults)
                .into_iter()
                .map(|table| RawStep::read(table, faults))
                .collect(),
        };
        table.finish(faults);
        raw
    }
}

impl RawStep {
    fn read(mut table: Table<'_>, faults: &mut Faults<'_>) -> RawStep {
        let raw = RawStep {
            line: table.line(),
            after_minutes: table.number("after_minutes", faults),
            contacts: table.texts("contacts", faults),
        };
        table.finish(faults);
        raw
    }
}
