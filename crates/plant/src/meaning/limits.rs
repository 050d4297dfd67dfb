//! Limits: each by itself, then the whole ladder from the floor up to the scorch limit.

use model::{Band, Span};

use crate::fault::{At, Faults};
use crate::meaning::words;
use crate::raw::RawLimits;
use crate::{LimitOverrides, Limits};

/// No couverture is held outside these; a figure beyond them is in another unit (88 °F is 31 °C).
const PLAUSIBLE_C: std::ops::RangeInclusive<f64> = 0.0..=80.0;

/// What the file sets for a couverture or a machine. A faulty limit is left out here, and told.
pub(crate) fn mean(raw: &RawLimits, faults: &mut Faults<'_>) -> LimitOverrides {
    LimitOverrides {
        melt: temperatures(raw.melt.as_ref(), "melt", faults),
        scorch: temperature(raw.scorch.as_ref(), "scorch", faults),
        floor: temperature(raw.floor.as_ref(), "floor", faults),
        working: temperatures(raw.working.as_ref(), "working", faults),
        temper_loss: temperature(raw.temper_loss.as_ref(), "temper_loss", faults),
        seed_share: shares(raw.seed_share.as_ref(), faults),
        max_hold: words::above_zero(raw.max_hold.as_ref(), "max_hold", faults).map(Span::from_mins_f64),
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
