//! The life of alarms: too many, too long, unanswered, set aside.

use history::week::AlarmRow;

use super::{Cell, Holds, Reviewed, Section, Table};
use crate::saying::{capital, count, counted, length, list};

pub(super) fn alarms(reviewed: &Reviewed<'_>) -> Section {
    let review = &reviewed.review.alarms;
    let week = &review.week;
    let mut says = Vec::new();
    if week.raised == 0 {
        says.push("No alarm was raised in this week.".to_owned());
    }
    if 0 < week.standing {
        says.push(standing(week.standing, reviewed.review.is_over));
    }
    if 0 < week.raised {
        says.push(format!(
            "{}, of which {} acknowledged. A shop floor should stay at one or two a machine and shift (a start value, no source).",
            counted(week.raised, "alarm", "alarms"),
            counted(week.seen, "was", "were")
        ));
        says.push(match week.floods.len() {
            0 => "At no time were there more than ten in ten minutes.".to_owned(),
            1 => "Once there were more than ten in ten minutes.".to_owned(),
            n => format!("{n} times there were more than ten in ten minutes."),
        });
    }
    Section {
        key: "alarms",
        title: "Alarms and their answers",
        says,
        table: Some(Table {
            columns: vec![
                ("Machine", Holds::Words),
                ("Raised", Holds::Numbers),
                ("A day worked", Holds::Numbers),
                ("Most often", Holds::Sentence),
                ("Stood longest", Holds::Sentence),
                ("Came again and again", Holds::Sentence),
                ("Longer than a day", Holds::Numbers),
                ("Not acknowledged", Holds::Numbers),
                ("Acknowledged after, middle", Holds::Words),
                ("Shelved", Holds::Numbers),
                ("Out of service", Holds::Numbers),
                ("Standing from before", Holds::Numbers),
            ],
            rows: review.rows.iter().map(|row| cells(reviewed, row)).collect(),
        }),
        pictures: Vec::new(),
    }
}

/// A quiet week is not quiet where earlier alarms stand through it.
fn standing(alarms: usize, is_over: bool) -> String {
    let those = match alarms {
        1 => "One of an earlier week".to_owned(),
        n => format!("{} of earlier weeks", capital(&count(n))),
    };
    match (is_over, alarms) {
        (true, _) => format!("{those} still stood at its end."),
        (false, 1) => format!("{those} still stands."),
        (false, _) => format!("{those} still stand."),
    }
}

fn cells(reviewed: &Reviewed<'_>, row: &AlarmRow) -> Vec<Cell> {
    let figures = &row.figures;
    let words = |words: Option<String>| words.map_or(Cell::Nothing, Cell::Text);
    let chattering: Vec<String> = figures.chattering.iter().map(|kind| kind.title().to_owned()).collect();
    vec![
        Cell::text(
            figures
                .machine
                .as_ref()
                .map_or("The works".to_owned(), |id| reviewed.names.machine(id).to_owned()),
        ),
        Cell::count(figures.raised),
        Cell::number(row.per_day, 1),
        words(figures.most_frequent.map(|(kind, n)| format!("{}, {n}", kind.title()))),
        words(figures.longest.map(|longest| {
            let goes_on = if longest.goes_on { " and goes on" } else { "" };
            format!("{}, {}{goes_on}", longest.kind.title(), length(longest.lasted))
        })),
        words((!chattering.is_empty()).then(|| list(&chattering))),
        Cell::count(figures.stale),
        Cell::count(figures.unseen),
        words(figures.median_until_seen.map(length)),
        Cell::count(figures.shelved),
        Cell::count(figures.out_of_service),
        Cell::count(figures.standing),
    ]
}

#[cfg(test)]
mod tests {
    use super::standing;

    #[test]
    fn what_stands_from_before_is_said_of_its_time() {
        assert_eq!(standing(1, false), "One of an earlier week still stands.");
        assert_eq!(standing(2, false), "Two of earlier weeks still stand.");
        assert_eq!(standing(2, true), "Two of earlier weeks still stood at its end.");
    }
}
