//! The figures of a batch for people: a label, a unit, and what is usual beside them.
//!
//! One table of what there is, so that page, text and export call the same figure by the same name.

use model::Measures;

/// One figure of a batch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasureRow {
    /// The contract's name.
    pub key: &'static str,
    /// What people call it.
    pub label: &'static str,
    /// `°C`, `min` and so on.
    pub unit: &'static str,
    /// As many decimals as mean something.
    pub decimals: usize,
    /// What it is and what it tells, in a sentence.
    pub meaning: &'static str,
    /// `None` if it could not be measured.
    pub value: Option<f64>,
    /// Median of earlier batches, where there are enough.
    pub usual: Option<f64>,
}

struct Figure {
    key: &'static str,
    label: &'static str,
    unit: &'static str,
    decimals: usize,
    meaning: &'static str,
    of: fn(&Measures) -> Option<f64>,
}

const fn figure(
    (key, label): (&'static str, &'static str),
    (unit, decimals): (&'static str, usize),
    of: fn(&Measures) -> Option<f64>,
    meaning: &'static str,
) -> Figure {
    Figure { key, label, unit, decimals, meaning, of }
}

const FIGURES: [Figure; 12] = [
    figure(
        ("soak_max_c", "highest in the soak"),
        ("°C", 1),
        |m| m.soak_max_c,
        "Warm enough, and no old crystals are left.",
    ),
    figure(
        ("cooling_minutes", "cooling"),
        ("min", 0),
        |m| m.cooling_minutes,
        "From leaving the soak until the working range was first reached.",
    ),
    figure(
        ("cooling_tau_min", "cooling time constant"),
        ("min", 1),
        |m| m.cooling_tau_min,
        "How slowly the machine gives off heat; it grows with the mass in it.",
    ),
    figure(
        ("lowest_c", "lowest on the way down"),
        ("°C", 1),
        |m| m.lowest_c,
        "From the start of cooling to the start of working.",
    ),
    figure(
        ("seed_dip_c", "dip when seed went in"),
        ("°C", 1),
        |m| m.seed_dip_c,
        "How far cold seed pulled the temperature down; none may mean that none went in.",
    ),
    figure(("settled_c", "settled at"), ("°C", 2), |m| m.settled_c, "Mean of minutes 10 to 30 of working."),
    figure(("working_minutes", "working"), ("min", 0), |m| m.working_minutes, "How long it was worked with."),
    figure(
        ("working_mean_c", "mean while working"),
        ("°C", 2),
        |m| m.working_mean_c,
        "Over the good readings.",
    ),
    figure(
        ("working_sd_c", "scatter while working"),
        ("°C", 2),
        |m| m.working_sd_c,
        "Standard deviation of the good readings.",
    ),
    figure(
        ("drift_c_per_h", "drift while working"),
        ("°C/h", 2),
        |m| m.drift_c_per_h,
        "A slow one-way move of the hold.",
    ),
    figure(
        ("above_loss_c_min", "above the temper-loss limit"),
        ("°C·min", 1),
        |m| m.above_loss_c_min,
        "How far and how long it was too warm for the seed crystals.",
    ),
    figure(
        ("unknown_minutes", "unknown"),
        ("min", 0),
        |m| m.unknown_minutes,
        "Minutes of settling and working for which nothing usable is known.",
    ),
];

/// The figures of `measures`, in the contract's order, beside the usual ones.
pub fn measure_rows(measures: &Measures, usual: Option<&Measures>) -> Vec<MeasureRow> {
    let row = |figure: &Figure| MeasureRow {
        key: figure.key,
        label: figure.label,
        unit: figure.unit,
        decimals: figure.decimals,
        meaning: figure.meaning,
        value: (figure.of)(measures),
        usual: usual.and_then(|usual| (figure.of)(usual)),
    };
    FIGURES.iter().map(row).collect()
}

impl MeasureRow {
    /// `31.42 °C`, or a dash where it could not be measured.
    pub fn says(&self) -> String {
        self.said(self.value)
    }

    /// The usual value in the same form.
    pub fn usual_says(&self) -> String {
        self.said(self.usual)
    }

    fn said(&self, value: Option<f64>) -> String {
        let Self { unit, decimals, .. } = self;
        // A small negative drift is rounded to 0, not to −0.
        let scale = 10_f64.powi(i32::try_from(*decimals).unwrap_or(0));
        value.map_or_else(
            || "–".to_owned(),
            |value| format!("{:.decimals$} {unit}", (value * scale).round() / scale + 0.0),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_stand_with_their_unit_and_the_usual_one() {
        let measures =
            Measures { settled_c: Some(31.416), drift_c_per_h: Some(-0.001), ..Measures::default() };
        let usual = Measures { settled_c: Some(31.5), ..Measures::default() };
        let rows = measure_rows(&measures, Some(&usual));
        let settled = rows.iter().find(|row| row.key == "settled_c").unwrap();
        assert_eq!((settled.says(), settled.usual_says()), ("31.42 °C".to_owned(), "31.50 °C".to_owned()));
        let drift = rows.iter().find(|row| row.key == "drift_c_per_h").unwrap();
        assert_eq!((drift.says(), drift.usual_says()), ("0.00 °C/h".to_owned(), "–".to_owned()));
    }
}
