//! What is on record: findings by kind, lots, rooms, and what the data can carry.

use history::week::{KindRow, LotRow, RoomWeek};

use super::{Cell, Holds, Reviewed, Section, Table};
use crate::saying::{counted, length};

pub(super) fn findings(reviewed: &Reviewed<'_>) -> Section {
    let review = reviewed.review;
    let load = review.load;
    let mut says = Vec::new();
    if let Some(per_day) = load.per_machine_day {
        says.push(format!(
            "{}, {per_day:.1} for each day on which a machine was worked. {} asked for somebody at once, {} soon, {} when there is time.",
            counted(load.raised, "alarm", "alarms"),
            load.by_priority[0],
            load.by_priority[1],
            load.by_priority[2]
        ));
    }
    let from_before: usize = review.kinds.iter().map(|row| row.from_before).sum();
    if 0 < from_before {
        says.push(format!(
            "{} raised in earlier weeks and {} still open in this one.",
            counted(from_before, "finding was", "findings were"),
            if from_before == 1 { "was" } else { "were" }
        ));
    }
    if review.kinds.is_empty() {
        says.push("Nothing was found in this week or the one before.".to_owned());
    }
    let row = |row: &KindRow| {
        vec![
            Cell::text(row.kind.title()),
            Cell::text(row.kind.as_str()),
            Cell::count(row.week),
            Cell::count(row.before),
            Cell::count(row.machines.len()),
            Cell::text(reviewed.names.list(&row.machines)),
            Cell::text(length(row.lasted)),
            Cell::count(row.open),
            Cell::count(row.from_before),
        ]
    };
    Section {
        key: "findings",
        title: "Findings by kind",
        says,
        table: Some(Table {
            columns: vec![
                ("What", Holds::Words),
                ("Kind", Holds::Words),
                ("This week", Holds::Numbers),
                ("Week before", Holds::Numbers),
                ("Machines", Holds::Numbers),
                ("Which", Holds::Sentence),
                ("Lasted, all together", Holds::Words),
                ("Still open", Holds::Numbers),
                ("Open from before", Holds::Numbers),
            ],
            rows: review.kinds.iter().map(row).collect(),
        }),
        pictures: Vec::new(),
    }
}

pub(super) fn lots(reviewed: &Reviewed<'_>) -> Section {
    let row = |row: &LotRow| {
        vec![
            Cell::text(&row.lot),
            Cell::text(reviewed.names.couverture(&row.couverture)),
            Cell::text(if row.is_new { "new" } else { "going on" }),
            Cell::Moment(row.began),
            Cell::count(row.batches),
            Cell::text(reviewed.names.list(&row.machines)),
            Cell::text(format!("{} of {}", row.first_pass.n, row.first_pass.of)),
        ]
    };
    let rows: Vec<Vec<Cell>> = reviewed.review.lots.iter().map(row).collect();
    let says = if rows.is_empty() {
        "No lot was told."
    } else {
        "As they were told with the charge; a kettle often holds more than one."
    };
    Section {
        key: "lots",
        title: "Lots",
        says: vec![says.to_owned()],
        table: Some(Table {
            columns: vec![
                ("Lot", Holds::Words),
                ("Couverture", Holds::Words),
                ("Since", Holds::Words),
                ("First batch", Holds::Moments),
                ("Batches", Holds::Numbers),
                ("Machines", Holds::Sentence),
                ("First test passed", Holds::Words),
            ],
            rows,
        }),
        pictures: Vec::new(),
    }
}

pub(super) fn rooms(reviewed: &Reviewed<'_>) -> Section {
    let row = |room: &RoomWeek| {
        vec![
            Cell::text(reviewed.names.machine(&room.machine)),
            Cell::number(Some(room.known_h), 0),
            Cell::number(Some(room.warm_h), 1),
            Cell::number(room.damp_h, 1),
            Cell::number(room.highest_c, 1),
            Cell::number(room.highest_dew_point_c, 1),
        ]
    };
    let rows: Vec<Vec<Cell>> = reviewed.review.rooms.iter().map(row).collect();
    let says = if rows.is_empty() {
        "No channel tells of a room."
    } else {
        "Goods that leave the cabinet colder than the dew point sweat; keep a degree or two above it."
    };
    Section {
        key: "rooms",
        title: "Rooms",
        says: vec![says.to_owned()],
        table: Some(Table {
            columns: vec![
                ("By machine", Holds::Words),
                ("Known, h", Holds::Numbers),
                ("Over 22 °C, h", Holds::Numbers),
                ("Over 60 %RH, h", Holds::Numbers),
                ("Highest, °C", Holds::Numbers),
                ("Highest dew point, °C", Holds::Numbers),
            ],
            rows,
        }),
        pictures: Vec::new(),
    }
}

pub(super) fn data(reviewed: &Reviewed<'_>) -> Section {
    let quality = &reviewed.review.quality;
    let share =
        |part: f64, of: f64| if 0.0 < of { format!(" ({:.1} %)", 100.0 * part / of) } else { String::new() };
    let batches = reviewed.review.all.batches;
    let mut says = Vec::new();
    says.push(if 0.0 < quality.held_h {
        format!(
            "Of {:.0} h of settling and working, {:.1} h{} are unknown; unknown is neither good nor bad.",
            quality.held_h,
            quality.unknown_h,
            share(quality.unknown_h, quality.held_h)
        )
    } else {
        "Nothing is known to have been settling or working.".to_owned()
    });
    if 0 < batches {
        says.push(format!(
            "Of {}, {} still on and {} before the record does; {} no mass and {} no lot.",
            counted(batches, "batch", "batches"),
            counted(quality.open, "goes", "go"),
            counted(quality.begun_unseen, "began", "began"),
            counted(quality.without_mass, "has", "have"),
            counted(quality.without_lot, "has", "have")
        ));
    }
    says.push(format!(
        "{}, {}, {}.",
        counted(quality.silences, "silence", "silences"),
        counted(quality.probe_faults, "fault of a probe", "faults of probes"),
        counted(quality.clocks, "wrong clock", "wrong clocks")
    ));
    if 0 < quality.tau_by_jacket.of {
        says.push(format!(
            "{} of {} cooling time constants were fitted against a measured jacket, the others against an asymptote of their own.",
            quality.tau_by_jacket.n, quality.tau_by_jacket.of
        ));
    }
    Section { key: "data", title: "What the data can carry", says, table: None, pictures: Vec::new() }
}
