//! Limits: each by itself, then the whole ladder from the floor up to the scorch limit.

use model::{Band, Span};

use crate::fault::{At, Faults};
use crate::meaning::words;
use crate::raw::RawLimits;
use crate::{LimitOverrides, Limits};

/// No couverture is held outside these; a figure beyond them is in another unit (88 °F is 31 °C).
const PLAUSIBLE_C: std::ops::RangeInclusive<f64> = 0.0..=80.0;

/// Up to a week without a test: whoever makes none for longer does without the reminder.
const MAX_HOLD_MINUTES: [f64; 2] = [1.0, 10_080.0];

/// What the file sets for a couverture or a machine. A faulty limit is left out here, and told.
pub(crate) fn mean(raw: &RawLimits, faults: &mut Faults<'_>) -> LimitOverrides {
    LimitOverrides {
        melt: temperatures(raw.melt.as_ref(), "melt", faults),
        scorch: temperature(raw.scorch.as_ref(), "scorch", faults),
        floor: temperature(raw.floor.as_ref(), "floor", faults),
        working: temperatures(raw.working.as_ref(), "working", faults),
        temper_loss: temperature(raw.temper_loss.as_ref(), "temper_loss", faults),
        seed_share: shares(raw.seed_share.as_ref(), faults),
        max_hold: words::within(raw.max_hold.as_ref(), "max_hold", MAX_HOLD_MINUTES, faults)
            .map(Span::from_mins_f64),
    }
}

/// Checks that `limits`, of which `raw` set some, climb from the floor to the scorch limit. A pair of which `raw` set
/// neither is not its fault and is passed over.
pub(crate) fn check_ladder(raw: &RawLimits, limits: &Limits, faults: &mut Faults<'_>) {
    let floor = Rung::new("floor", line(&raw.floor), limits.floor);
    let working_low = Rung::new("the lower end of `working`", line(&raw.working), limits.working.low());
    let working_high = Rung::new("the upper end of `working`", line(&raw.working), limits.working.high());
    let temper_loss = Rung::new("temper_loss", line(&raw.temper_loss), limits.temper_loss);
    let melt_low = Rung::new("the lower end of `melt`", line(&raw.melt), limits.melt.low());
    let melt_high = Rung::new("the upper end of `melt`", line(&raw.melt), limits.melt.high());
    let scorch = Rung::new("scorch", line(&raw.scorch), limits.scorch);
    floor.must_be_below(&working_low, faults);
    working_high.must_be_below(&temper_loss, faults);
    temper_loss.must_be_below(&melt_low, faults);
    melt_high.must_be_below(&scorch, faults);
}

/// One step of the ladder; `line` where the file sets it.
struct Rung {
    name: String,
    line: Option<usize>,
    celsius: f64,
}

impl Rung {
    fn new(name: &str, line: Option<usize>, celsius: f64) -> Rung {
        let name = if name.contains('`') { name.to_owned() } else { format!("`{name}`") };
        Rung { name, line, celsius }
    }

    fn must_be_below(&self, upper: &Rung, faults: &mut Faults<'_>) {
        if self.celsius < upper.celsius {
            return;
        }
        let Some(line) = self.line.max(upper.line) else { return };
        let says = format!(
            "{} ({} °C) must lie below {} ({} °C); one of them is to be changed",
            self.name, self.celsius, upper.name, upper.celsius
        );
        faults.add(line, says);
    }
}

fn line<T>(raw: &Option<At<T>>) -> Option<usize> {
    raw.as_ref().map(|at| at.line)
}

fn temperature(raw: Option<&At<f64>>, key: &str, faults: &mut Faults<'_>) -> Option<f64> {
    let raw = raw?;
    if PLAUSIBLE_C.contains(&raw.value) {
        return Some(raw.value);
    }
    let (low, high) = (PLAUSIBLE_C.start(), PLAUSIBLE_C.end());
    let says = format!("`{key}`: {} cannot be a limit in °C; write a figure from {low} to {high}", raw.value);
    faults.add(raw.line, says);
    None
}

fn temperatures(raw: Option<&At<(f64, f64)>>, key: &str, faults: &mut Faults<'_>) -> Option<Band> {
    let (low, high) = upright(raw?, key, faults)?;
    let line = raw?.line;
    let low = temperature(Some(&At { line, value: low }), key, faults);
    let high = temperature(Some(&At { line, value: high }), key, faults);
    Band::new(low?, high?)
}

fn shares(raw: Option<&At<(f64, f64)>>, faults: &mut Faults<'_>) -> Option<(f64, f64)> {
    let (low, high) = upright(raw?, "seed_share", faults)?;
    if 0.0 < low && high < 1.0 {
        return Some((low, high));
    }
    let says = format!(
        "`seed_share = [{low}, {high}]` cannot be; shares lie between 0 and 1, so that 0.2 means 20 %"
    );
    faults.add(raw?.line, says);
    None
}

fn upright(raw: &At<(f64, f64)>, key: &str, faults: &mut Faults<'_>) -> Option<(f64, f64)> {
    let (low, high) = raw.value;
    if low <= high {
        return Some((low, high));
    }
    faults.add(raw.line, format!("`{key} = [{low}, {high}]` is upside down; write [{high}, {low}]"));
    None
}

#[cfg(test)]
mod tests {
    use expect_test::{Expect, expect};

    use crate::meaning::tests::{SMALLEST, check, check_with};
    use crate::parse_plant;

    /// A milk couverture with these limits, in lines 15 and on.
    fn check_limits(limits: &str, expected: Expect) {
        check_with(&format!("[[couverture]]\nid = \"milk-38\"\nfamily = \"milk\"\n{limits}"), expected);
    }

    #[test]
    fn every_limit_can_be_set() {
        let all = "melt = [44, 48]\nscorch = 52\nfloor = 26.5\nworking = [30.0, 31.0]\ntemper_loss = 32.5\n\
                   seed_share = [0.1, 0.25]\nmax_hold = 90\n";
        check_limits(all, expect!["no fault"]);
        check_with(all, expect!["no fault"]);
    }

    #[test]
    fn ranges_stand_the_right_way_up() {
        check_limits(
            "melt = [46, 42]\nworking = [30.5, 29.5]\nseed_share = [0.3, 0.2]\n",
            expect![[r#"
            line 15: `melt = [46, 42]` is upside down; write [42, 46]
            line 16: `working = [30.5, 29.5]` is upside down; write [29.5, 30.5]
            line 17: `seed_share = [0.3, 0.2]` is upside down; write [0.2, 0.3]"#]],
        );
    }

    #[test]
    fn limits_are_finite_numbers_in_degrees_celsius() {
        check_limits(
            "scorch = inf\nfloor = nan\nworking = [85.0, 87.0]\ntemper_loss = \"32\"\n",
            expect![[r#"
            line 15: `scorch` must be a finite number of ordinary size
            line 16: `floor` must be a finite number of ordinary size
            line 17: `working`: 85 cannot be a limit in °C; write a figure from 0 to 80
            line 17: `working`: 87 cannot be a limit in °C; write a figure from 0 to 80
            line 18: `temper_loss` takes a number, not a text"#]],
        );
        check_limits(
            "melt = [42]\nworking = 30\nmax_hold = 0\nseed_share = [20, 30]\n",
            expect![[r#"
            line 15: `melt` takes two numbers such as [31.0, 32.0], not 1 values
            line 16: `working` takes two numbers such as [31.0, 32.0], not a number
            line 17: `max_hold = 0` cannot be; it is between 1 and 10080
            line 18: `seed_share = [20, 30]` cannot be; shares lie between 0 and 1, so that 0.2 means 20 %"#]],
        );
    }

    #[test]
    fn limits_climb_from_the_floor_to_the_scorch_limit() {
        check_limits(
            "floor = 29.5\n",
            expect![
                "line 15: `floor` (29.5 °C) must lie below the lower end of `working` (29.5 °C); one of them is to be changed"
            ],
        );
        check_limits(
            "working = [29.5, 32.0]\n",
            expect![
                "line 15: the upper end of `working` (32 °C) must lie below `temper_loss` (32 °C); one of them is to be changed"
            ],
        );
        check_limits(
            "temper_loss = 42\n",
            expect![
                "line 15: `temper_loss` (42 °C) must lie below the lower end of `melt` (42 °C); one of them is to be changed"
            ],
        );
        check_limits(
            "melt = [45.0, 51.0]\nscorch = 50.5\n",
            expect![
                "line 16: the upper end of `melt` (51 °C) must lie below `scorch` (50.5 °C); one of them is to be changed"
            ],
        );
    }

    #[test]
    fn a_machine_is_checked_with_its_own_couverture() {
        check_with(
            "working = [31.0, 34.0]\n",
            expect![
                "line 12: the upper end of `working` (34 °C) must lie below `temper_loss` (33.5 °C); one of them is to be changed"
            ],
        );
        check_with("working = [31.0, 34.0]\ntemper_loss = 35.0\n", expect!["no fault"]);
    }

    #[test]
    fn a_machine_wins_over_the_couverture_and_that_over_the_family() {
        let text = SMALLEST.replace("family = \"dark\"", "family = \"dark\"\nscorch = 54\nfloor = 27.5")
            + "scorch = 53\n";
        let plant = parse_plant(&text).unwrap();
        let limits = plant.limits(&plant.machines[0], &plant.couvertures[0].id);
        assert_eq!((limits.scorch, limits.floor, limits.temper_loss), (53.0, 27.5, 33.5));
        let unknown = "ruby-1".parse().unwrap();
        assert_eq!(plant.limits(&plant.machines[0], &unknown), limits);
    }

    #[test]
    fn a_faulty_limit_is_told_once() {
        check(
            &SMALLEST.replace("family = \"dark\"", "family = \"dark\"\nscorch = 10"),
            expect![
                "line 8: the upper end of `melt` (50 °C) must lie below `scorch` (10 °C); one of them is to be changed"
            ],
        );
    }
}
