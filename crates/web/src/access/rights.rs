//! Who may do what: one table, and the sentences that follow from it.
//!
//! A role may do what the roles before it may. Two things lower what somebody may do, whatever their role: a PIN is four digits that a
//! neighbour can see, so it makes a worker of whoever uses it; and a program's key signs nothing, because a signature is a person's.

use records::{Role, Way};
use serde::Serialize;

use crate::access::visitor::Visitor;
use crate::problem::Problem;

/// Something that not everybody may do. Reading needs no right.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Right {
    /// Enter events: charges, seed, top-ups, temper tests, hand thermometers, notes.
    Enter,
    /// Acknowledge and shelve alarms.
    Answer,
    /// Take alarms out of service.
    TakeOut,
    /// Say what a phase really was.
    CorrectPhases,
    /// Freeze, learn and reset baselines.
    OrderBaselines,
    /// Open actions of a review, and say that they are done.
    Act,
    /// Decide what becomes of a batch.
    Decide,
    /// Sign a week.
    Sign,
    /// Say who may sign in, and as what.
    ManageUsers,
}

/// A right, the lowest role that has it, and what it is to do it.
pub(crate) const TABLE: [(Right, Role, &str); 9] = [
    (Right::Enter, Role::Worker, "make entries and temper tests"),
    (Right::Answer, Role::Worker, "acknowledge and shelve alarms"),
    (Right::TakeOut, Role::Engineer, "take alarms out of service"),
    (Right::CorrectPhases, Role::Engineer, "correct phases"),
    (Right::OrderBaselines, Role::Engineer, "freeze or reset baselines"),
    (Right::Act, Role::Engineer, "open and close actions"),
    (Right::Decide, Role::Quality, "decide what becomes of a batch"),
    (Right::Sign, Role::Quality, "sign a week"),
    (Right::ManageUsers, Role::Quality, "manage users"),
];

/// What somebody known in this way may do at most.
fn at_most(way: &Way) -> Role {
    match way {
        Way::Password => Role::Quality,
        Way::Pin => Role::Worker,
        Way::Token(_) => Role::Engineer,
    }
}

fn row(right: Right) -> (Role, &'static str) {
    let row = TABLE.iter().find(|(of, _, _)| *of == right);
    let (_, role, what) = row.expect("every right has its row");
    (*role, what)
}

/// What the visitor lacks for a right.
enum Lacks {
    /// A role.
    Role(Role),
    /// They are known by a PIN.
    Password,
    /// It is no person.
    Person,
}

fn lacks(visitor: &Visitor, right: Right) -> Option<Lacks> {
    let (needed, _) = row(right);
    if visitor.role < needed {
        return Some(Lacks::Role(needed));
    }
    (at_most(&visitor.way) < needed).then_some(match visitor.way {
        Way::Pin => Lacks::Password,
        Way::Token(_) | Way::Password => Lacks::Person,
    })
}

/// Has the visitor the right?
pub(crate) fn check(visitor: &Visitor, right: Right) -> Result<(), Problem> {
    let ((_, what), name) = (row(right), &visitor.name);
    let sentence = match lacks(visitor, right) {
        None => return Ok(()),
        Some(Lacks::Role(needed)) => format!(
            "{name} is signed in as {}, and to {what} one has to be {}.",
            a_role(visitor.role),
            needed_role(needed)
        ),
        Some(Lacks::Password) => format!(
            "{name} has taken over this device by PIN. To {what}, sign in with the password: a PIN is good for entries alone."
        ),
        Some(Lacks::Person) => {
            format!("A program's key cannot {what}; a person does that, signed in with the password.")
        }
    };
    Err(Problem::role_may_not(sentence))
}

/// What the visitor needs to do that, for a list of what one may: `To sign a week one has to be quality.`
pub(crate) fn needs(visitor: &Visitor, right: Right) -> Option<String> {
    let (_, what) = row(right);
    Some(match lacks(visitor, right)? {
        Lacks::Role(needed) => format!("To {what} one has to be {}.", needed_role(needed)),
        Lacks::Password | Lacks::Person => format!("To {what}, sign in with the password."),
    })
}

/// `a worker`
pub(crate) fn a_role(role: Role) -> &'static str {
    match role {
        Role::Viewer => "a viewer",
        Role::Worker => "a worker",
        Role::Engineer => "an engineer",
        Role::Quality => "quality",
    }
}

fn needed_role(role: Role) -> &'static str {
    match role {
        Role::Viewer => "a viewer or more",
        Role::Worker => "a worker or more",
        Role::Engineer => "an engineer or quality",
        Role::Quality => "quality",
    }
}

/// For templates: what this reader may not do, and why; `None` where they may.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct RightsView {
    pub enter: Option<String>,
    pub answer: Option<String>,
    pub take_out: Option<String>,
    pub correct_phases: Option<String>,
    pub order_baselines: Option<String>,
    pub act: Option<String>,
    pub decide: Option<String>,
    pub sign: Option<String>,
    pub manage_users: Option<String>,
}

impl RightsView {
    /// `refused` says why somebody may not, if they may not.
    pub(crate) fn new(refused: impl Fn(Right) -> Option<String>) -> RightsView {
        RightsView {
            enter: refused(Right::Enter),
            answer: refused(Right::Answer),
            take_out: refused(Right::TakeOut),
            correct_phases: refused(Right::CorrectPhases),
            order_baselines: refused(Right::OrderBaselines),
            act: refused(Right::Act),
            decide: refused(Right::Decide),
            sign: refused(Right::Sign),
            manage_users: refused(Right::ManageUsers),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn may(role: Role, way: Way) -> String {
        let visitor = Visitor::made_up("ana", role, way);
        let rows = TABLE.iter().map(|(right, _, what)| match check(&visitor, *right) {
            Ok(()) => format!("may {what}\n"),
            Err(problem) => format!("{}\n", problem.sentence),
        });
        rows.collect()
    }

    #[test]
    fn each_role_may_what_the_table_says() {
        assert_eq!(
            may(Role::Viewer, Way::Password),
            "ana is signed in as a viewer, and to make entries and temper tests one has to be a worker or more.\n\
             ana is signed in as a viewer, and to acknowledge and shelve alarms one has to be a worker or more.\n\
             ana is signed in as a viewer, and to take alarms out of service one has to be an engineer or quality.\n\
             ana is signed in as a viewer, and to correct phases one has to be an engineer or quality.\n\
             ana is signed in as a viewer, and to freeze or reset baselines one has to be an engineer or quality.\n\
             ana is signed in as a viewer, and to open and close actions one has to be an engineer or quality.\n\
             ana is signed in as a viewer, and to decide what becomes of a batch one has to be quality.\n\
             ana is signed in as a viewer, and to sign a week one has to be quality.\n\
             ana is signed in as a viewer, and to manage users one has to be quality.\n"
        );
        let count = |role, way| may(role, way).lines().filter(|line| line.starts_with("may ")).count();
        let by = |way: fn() -> Way| Role::ALL.map(|role| count(role, way()));
        assert_eq!(by(|| Way::Password), [0, 2, 6, 9]);
        assert_eq!(by(|| Way::Pin), [0, 2, 2, 2], "a PIN makes a worker of everybody");
        assert_eq!(by(|| Way::Token("scale".to_owned())), [0, 2, 6, 6], "a key signs nothing");
    }

    #[test]
    fn a_pin_and_a_key_have_their_own_sentences() {
        let pin = may(Role::Quality, Way::Pin);
        assert!(
            pin.contains("To sign a week, sign in with the password: a PIN is good for entries alone."),
            "{pin}"
        );
        let key = may(Role::Quality, Way::Token("scale".to_owned()));
        assert!(key.contains("A program's key cannot sign a week; a person does that"), "{key}");
    }
}
