//! What people have to look at, what they took upon themselves, and how the batches went.

use history::week::{ActionRow, Charted, Effect, Group, Reason, Review, Share};
use model::Priority;

use super::{Cell, Holds, Reviewed, Section, Table};
use crate::saying::{capital, count, day_and_hour, hour, percent as percent_said, plain};

pub(super) fn headline(review: &Review) -> String {
    let so_far = if review.is_over { "" } else { " so far" };
    let urgent = review.exceptions.iter().filter(|exception| exception.reasons.iter().any(is_urgent)).count();
    let others = review.exceptions.len() - urgent;
    let all = format!("{}{so_far}", batches_said(review.all.batches));
    let needs = |n: usize| if n == 1 { "needs" } else { "need" };
    match (review.all.batches, urgent, others) {
        (0, ..) => format!("No batch was seen in this week{so_far}."),
        (_, 0, 0) => format!("{all}, and none of them needs a look."),
        (_, 0, n) => format!(
            "{all}; none needs a look at once, {} {} listed.",
            count(n),
            if n == 1 { "is" } else { "are" }
        ),
        (_, n, 0) => format!("{all}; {} of them {} a look.", count(n), needs(n)),
        (_, n, m) => format!(
            "{all}; {} of them {} a look, and {} more {} listed.",
            count(n),
            needs(n),
            count(m),
            if m == 1 { "is" } else { "are" }
        ),
    }
}

/// Sold without a passed test, or something that asked for somebody at once.
fn is_urgent(reason: &Reason) -> bool {
    match reason {
        Reason::FailedTest { .. } | Reason::NoTest | Reason::Found(_, Priority::High) => true,
        Reason::AboveLoss(_)
        | Reason::Found(_, Priority::Medium | Priority::Low)
        | Reason::Stood { .. }
        | Reason::Unknown(_)
        | Reason::Recovered { .. } => false,
    }
}

fn batches_said(n: usize) -> String {
    match n {
        1 => "One batch".to_owned(),
        n => format!("{} batches", capital(&count(n))),
    }
}

pub(super) fn lead(reviewed: &Reviewed<'_>) -> Vec<String> {
    let review = reviewed.review;
    if review.all.batches == 0 {
        return vec!["There is nothing to review; actions and the state of the data stand below.".to_owned()];
    }
    let Share { n, of } = review.all.tested;
    let mut about_tests = vec![match of - n.min(of) {
        0 if of == 0 => "No batch has been worked with yet.".to_owned(),
        0 => format!("All {} worked batches have a temper test.", count(of)),
        1 => format!("One of {} worked batches has no temper test.", count(of)),
        untested => {
            format!("{} of {} worked batches have no temper test.", capital(&count(untested)), count(of))
        }
    }];
    if 0 < review.all.first_pass.of {
        about_tests.push(format!("First test passed: {}.", share_said(review.all.first_pass)));
    }
    if 0 < review.all.off_temper {
        about_tests.push(format!(
            "{} {} off temper by the last test.",
            capital(&count(review.all.off_temper)),
            if review.all.off_temper == 1 { "batch is" } else { "batches are" }
        ));
    }
    let signals = review.charts.iter().filter(|chart| 0 < chart.signals()).count();
    let about_process = match signals {
        0 => "No control chart signals.".to_owned(),
        1 => "One control chart signals.".to_owned(),
        n => format!("{} control charts signal.", capital(&count(n))),
    };
    let overdue = review.actions.iter().filter(|row| row.is_overdue).count();
    let about_actions = match overdue {
        0 => String::new(),
        1 => " One action is overdue.".to_owned(),
        n => format!(" {} actions are overdue.", capital(&count(n))),
    };
    vec![about_tests.join(" "), format!("{about_process}{about_actions}"), crate::TEMPER_CAUTION.to_owned()]
}

/// `12 of 14 (86 %, 60 to 96 %)`; counts alone where there are too few.
pub(super) fn share_said(share: Share) -> String {
    let Share { n, of } = share;
    match share.percent().zip(share.interval()) {
        Some((percent, (low, high))) => {
            let (share, high) = (percent_said(percent), percent_said(high));
            format!("{n} of {of} ({share}, true share {:.0} to {high})", low.round())
        }
        None => format!("{n} of {of}"),
    }
}

pub(super) fn exceptions(reviewed: &Reviewed<'_>) -> Section {
    let rows: Vec<Vec<Cell>> = reviewed
        .review
        .exceptions
        .iter()
        .map(|exception| {
            let reasons: Vec<String> =
                exception.reasons.iter().map(|reason| said(reason, reviewed)).collect();
            vec![
                reviewed.batch(&exception.batch),
                Cell::text(reviewed.names.couverture(&exception.batch.couverture)),
                Cell::text(capital(&reasons.join("; "))),
            ]
        })
        .collect();
    let says = if reviewed.review.all.batches == 0 {
        "There was no batch to look at."
    } else if rows.is_empty() {
        "Every batch that was worked with has a passed test, and nothing was found that asked for somebody soon."
    } else {
        "The riskiest first: sold without a passed test, then what was found, then what is not known."
    };
    Section {
        key: "exceptions",
        title: "Look at these first",
        says: vec![says.to_owned()],
        table: Some(Table {
            columns: vec![("Batch", Holds::Words), ("Couverture", Holds::Words), ("Why", Holds::Sentence)],
            rows,
        }),
        pictures: Vec::new(),
    }
}

fn said(reason: &Reason, reviewed: &Reviewed<'_>) -> String {
    match reason {
        Reason::FailedTest { at } => format!("the last temper test failed, {}", hour(*at, reviewed.zone)),
        Reason::NoTest => "worked with, and no temper test was reported".to_owned(),
        Reason::AboveLoss(area) => format!("{area:.1} °C·min above the temper-loss limit"),
        Reason::Found(kind, Priority::High) => format!("{} (high)", plain(kind.as_str())),
        Reason::Found(kind, Priority::Medium | Priority::Low) => plain(kind.as_str()),
        Reason::Stood { kind, since } => {
            format!("{}, standing since {}", plain(kind.as_str()), day_and_hour(*since, reviewed.zone))
        }
        Reason::Unknown(minutes) => format!("{minutes:.0} min of the hold unknown"),
        Reason::Recovered { at } => {
            format!("a temper test failed, {}, and a later one passed", hour(*at, reviewed.zone))
        }
    }
}

pub(super) fn actions(reviewed: &Reviewed<'_>) -> Section {
    let row = |row: &ActionRow| {
        let action = &row.action;
        let machine = action.machine.as_ref().map(|machine| reviewed.names.machine(machine));
        let state = match (action.done, row.is_overdue) {
            (Some(_), _) => "done",
            (None, true) => "overdue",
            (None, false) => "open",
        };
        vec![
            Cell::text(&action.id),
            Cell::text(&action.what),
            machine.map_or(Cell::Nothing, Cell::text),
            Cell::text(&action.who),
            Cell::moment(action.due),
            Cell::text(state),
            Cell::moment(action.done),
            effects_said(reviewed, &row.effects),
        ]
    };
    let rows: Vec<Vec<Cell>> = reviewed.review.actions.iter().map(row).collect();
    let says = if rows.is_empty() {
        "No action is open, and none was closed lately."
    } else {
        "Did it work? The median of the figure before against after, with the number of batches; each couverture by itself. A change is called one where chance makes so large a difference less than once in twenty (exact Wilcoxon–Mann–Whitney test)."
    };
    Section {
        key: "actions",
        title: "Actions, and whether they worked",
        says: vec![says.to_owned()],
        table: Some(Table {
            columns: vec![
                ("No.", Holds::Words),
                ("What", Holds::Sentence),
                ("Machine", Holds::Words),
                ("Who", Holds::Words),
                ("Due", Holds::Moments),
                ("State", Holds::Words),
                ("Done", Holds::Moments),
                ("Before and after", Holds::Sentence),
            ],
            rows,
        }),
        pictures: Vec::new(),
    }
}

fn effects_said(reviewed: &Reviewed<'_>, effects: &[Effect]) -> Cell {
    let said = |effect: &Effect| {
        format!("{}: {}", reviewed.names.couverture(&effect.couverture), effect_said(effect))
    };
    match effects {
        [] => Cell::Nothing,
        some => Cell::text(some.iter().map(said).collect::<Vec<_>>().join("; ")),
    }
}

/// `cooling 84 min (n 14) → 61 min (n 6), changed (p 0.003)`.
fn effect_said(effect: &Effect) -> String {
    let decimals = match effect.charted {
        Charted::CoolingMinutes => 0,
        Charted::CoolingTau => 1,
        Charted::Settled | Charted::Within => 2,
    };
    let (name, unit) = super::process::charted(effect.charted);
    let side = |side: Option<(f64, usize)>| match side {
        Some((median, n)) => format!("{median:.decimals$} {unit} (n {n})"),
        None => "unknown".to_owned(),
    };
    let verdict = match effect.changed().zip(effect.p) {
        Some((true, p)) => format!("changed (p {p:.3})"),
        Some((false, p)) => format!("no change that chance would not make (p {p:.2})"),
        None => "too few to tell".to_owned(),
    };
    format!("{name} {} → {}, {verdict}", side(effect.before), side(effect.after))
}

pub(super) fn batches(reviewed: &Reviewed<'_>) -> Section {
    let review = reviewed.review;
    let mut rows: Vec<Vec<Cell>> = Vec::new();
    for group in &review.by_machine {
        rows.push(row("machine", name(reviewed, group, true), group));
    }
    for group in &review.by_couverture {
        rows.push(row("couverture", name(reviewed, group, false), group));
    }
    if 0 < review.all.batches {
        rows.push(row("all", "All".to_owned(), &review.all));
    }
    Section {
        key: "batches",
        title: "Batches",
        says: vec![
            "In the order of the plant file; machines are not ranked. First pass: the first temper test was good or fair. Shares of fewer than five are counts."
                .to_owned(),
        ],
        table: Some(Table {
            columns: vec![
                ("By", Holds::Words),
                ("Which", Holds::Words),
                ("Batches", Holds::Numbers),
                ("Tested", Holds::Words),
                ("First pass", Holds::Words),
                ("Failed, then passed", Holds::Numbers),
                ("Off temper", Holds::Numbers),
                ("Cooling, median min", Holds::Numbers),
                ("of n", Holds::Numbers),
                ("Working, h", Holds::Numbers),
            ],
            rows,
        }),
        pictures: Vec::new(),
    }
}

fn name(reviewed: &Reviewed<'_>, group: &Group, is_machine: bool) -> String {
    if is_machine {
        group.id.parse().map_or_else(|_| group.id.clone(), |id| reviewed.names.machine(&id).to_owned())
    } else {
        group.id.parse().map_or_else(|_| group.id.clone(), |id| reviewed.names.couverture(&id).to_owned())
    }
}

fn row(by: &str, name: String, group: &Group) -> Vec<Cell> {
    vec![
        Cell::text(by),
        Cell::Text(name),
        Cell::count(group.batches),
        Cell::text(format!("{} of {}", group.tested.n, group.tested.of)),
        Cell::text(match group.first_pass.percent() {
            Some(percent) => {
                format!("{} of {} ({})", group.first_pass.n, group.first_pass.of, percent_said(percent))
            }
            None => format!("{} of {}", group.first_pass.n, group.first_pass.of),
        }),
        Cell::count(group.recovered),
        Cell::count(group.off_temper),
        Cell::number(group.cooling_minutes.map(|(median, _)| median), 0),
        Cell::number(group.cooling_minutes.map(|(_, n)| n as f64), 0),
        Cell::number(Some(group.working_hours), 1),
    ]
}
