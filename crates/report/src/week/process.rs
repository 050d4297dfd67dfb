//! The process: curves, holds with their capability, control charts, trends, probes.

use history::week::{Charted, Hold, TauTrend};

use super::{Cell, Holds, Reviewed, Section, Table, pictures};

/// Name and unit of a charted figure.
pub(super) fn charted(charted: Charted) -> (&'static str, &'static str) {
    match charted {
        Charted::CoolingMinutes => ("cooling", "min"),
        Charted::Settled => ("settled at", "°C"),
        Charted::CoolingTau => ("cooling time constant", "min"),
        Charted::Within => ("scatter while working", "°C"),
    }
}

pub(super) fn gallery(reviewed: &Reviewed<'_>) -> Section {
    let pictures = pictures::galleries(reviewed);
    let says = if pictures.is_empty() {
        "No curves are drawn here."
    } else {
        "All batches of a machine and couverture on one scale, laid at the start of cooling. Behind each the working range and the usual course (median, 10 to 90 %). A heavier frame marks what stands in the list above."
    };
    Section { key: "curves", title: "Curves", says: vec![says.to_owned()], table: None, pictures }
}

pub(super) fn holds(reviewed: &Reviewed<'_>) -> Section {
    let rows = reviewed.review.holds.iter().map(|hold| hold_row(reviewed, hold)).collect();
    Section {
        key: "holds",
        title: "Holds and capability",
        says: vec![
            "Capability compares the spread between batches with the working range: one value a batch, this week and up to 60 batches before. With fewer than 50 values read the interval, not the figure; with fewer than five there is none. A probe that is wrong by 0.3 °C takes more than half of it, and no formula sees that."
                .to_owned(),
        ],
        table: Some(Table {
            columns: vec![
                ("Machine", Holds::Words),
                ("Couverture", Holds::Words),
                ("Range, °C", Holds::Words),
                ("Batches", Holds::Numbers),
                ("Mean, °C", Holds::Numbers),
                ("Between batches, °C", Holds::Numbers),
                ("Within, °C", Holds::Numbers),
                ("Drift, °C/h", Holds::Numbers),
                ("Unknown, %", Holds::Numbers),
                ("Cpk", Holds::Numbers),
                ("95 % from", Holds::Numbers),
                ("to", Holds::Numbers),
                ("n", Holds::Numbers),
            ],
            rows,
        }),
        pictures: Vec::new(),
    }
}

fn hold_row(reviewed: &Reviewed<'_>, hold: &Hold) -> Vec<Cell> {
    let capability = hold.capability;
    vec![
        Cell::text(reviewed.names.machine(&hold.machine)),
        Cell::text(reviewed.names.couverture(&hold.couverture)),
        hold.working
            .map_or(Cell::Nothing, |band| Cell::text(format!("{:.1}–{:.1}", band.low(), band.high()))),
        Cell::count(hold.batches),
        Cell::number(hold.mean_c, 2),
        Cell::number(hold.between_c, 2),
        Cell::number(hold.within_c, 2),
        Cell::number(hold.drift_c_per_h, 2),
        Cell::number(hold.unknown_percent, 1),
        Cell::number(capability.map(|c| c.cpk), 2),
        Cell::number(capability.map(|c| c.cpk_interval.low), 2),
        Cell::number(capability.map(|c| c.cpk_interval.high), 2),
        Cell::count(hold.capability_n),
    ]
}

pub(super) fn charts(reviewed: &Reviewed<'_>) -> Section {
    let pictures = pictures::control(reviewed);
    let signals: Vec<String> = reviewed
        .review
        .charts
        .iter()
        .filter(|chart| 0 < chart.signals())
        .map(|chart| format!("{}, {}", reviewed.names.machine(&chart.machine), charted(chart.charted).0))
        .collect();
    let mut says = vec![
        "Limits come from the machine's own good batches before this week (mean ± 3 σ from the moving range, and no narrower than a least width that keeps batches which happen to agree from making the next one a signal), never from the week itself. Marked: a value beyond three sigma, and a lasting shift by CUSUM (k ½ σ, h 5 σ). A chart says that something changed, not what."
            .to_owned(),
    ];
    says.push(match signals.as_slice() {
        [] if reviewed.review.charts.is_empty() => "There is nothing to chart.".to_owned(),
        [] => "None signals; the charts with limits are drawn all the same.".to_owned(),
        some => format!("Signals on: {}.", some.join("; ")),
    });
    Section { key: "charts", title: "Control charts", says, table: None, pictures }
}

pub(super) fn trends(reviewed: &Reviewed<'_>) -> Section {
    let row = |trend: &TauTrend| {
        let told = match (trend.is_told(), trend.percent_a_week) {
            (true, Some(_)) if trend.has_faded() => "slower, look at jacket, valve, fan and scale",
            (true, Some((slope, ..))) if slope < 0.0 => "faster",
            (true, _) => "about the same",
            (false, Some(_)) => "no trend",
            (false, None) => "too few batches",
        };
        vec![
            Cell::text(reviewed.names.machine(&trend.machine)),
            Cell::text(reviewed.names.couverture(&trend.couverture)),
            Cell::number(trend.week.map(|(median, _)| median), 1),
            Cell::number(trend.week.map(|(_, n)| n as f64), 0),
            Cell::number(trend.before, 1),
            Cell::number(trend.ratio(), 2),
            Cell::number(trend.percent_a_week.map(|(slope, ..)| slope), 1),
            Cell::number(trend.percent_a_week.map(|(_, low, _)| low), 1),
            Cell::number(trend.percent_a_week.map(|(.., high)| high), 1),
            Cell::number(trend.p, 3),
            Cell::count(trend.batches),
            Cell::text(told),
        ]
    };
    Section {
        key: "trends",
        title: "Cooling over the weeks",
        says: vec![
            "The time constant of cooling, which tells of the machine and its mass rather than of the day. Slope by Theil–Sen with its 95 % interval, chance by Mann–Kendall."
                .to_owned(),
        ],
        table: Some(Table {
            columns: vec![
                ("Machine", Holds::Words),
                ("Couverture", Holds::Words),
                ("This week, min", Holds::Numbers),
                ("of n", Holds::Numbers),
                ("Before, min", Holds::Numbers),
                ("Ratio", Holds::Numbers),
                ("% a week", Holds::Numbers),
                ("from", Holds::Numbers),
                ("to", Holds::Numbers),
                ("p", Holds::Numbers),
                ("n", Holds::Numbers),
                ("Says", Holds::Sentence),
            ],
            rows: reviewed.review.trends.iter().map(row).collect(),
        }),
        pictures: Vec::new(),
    }
}

pub(super) fn probes(reviewed: &Reviewed<'_>) -> Section {
    let rows: Vec<Vec<Cell>> = reviewed
        .review
        .probes
        .iter()
        .map(|probe| {
            let says = match probe.apart_c.map(f64::abs) {
                None => "not compared in a hold this week",
                Some(apart) if apart <= 0.3 => "agrees",
                Some(apart) if apart <= 1.0 => "correct the offset",
                Some(_) => "replace, after a second comparison",
            };
            vec![
                Cell::text(reviewed.names.machine(&probe.machine)),
                Cell::count(probe.week),
                Cell::number(probe.apart_c, 2),
                Cell::text(says),
            ]
        })
        .collect();
    Section {
        key: "probes",
        title: "Probes against hand thermometers",
        says: vec![
            "Hand value less the mean of the hold that it was taken in. Up to 0.3 °C counts as agreement, up to 1.0 °C as an offset to correct; these are starting values, not a standard."
                .to_owned(),
        ],
        table: Some(Table {
            columns: vec![
                ("Machine", Holds::Words),
                ("Hand values", Holds::Numbers),
                ("Apart, °C", Holds::Numbers),
                ("Says", Holds::Sentence),
            ],
            rows,
        }),
        pictures: Vec::new(),
    }
}
