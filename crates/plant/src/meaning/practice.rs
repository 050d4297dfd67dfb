//! `[temper_test]` and `[probe_checks]`: how the site judges and checks. What the file does not say has a default.

use model::{Channel, Span};

use crate::fault::{At, Faults};
use crate::meaning::words;
use crate::raw::{RawProbeChecks, RawTemperTest};
use crate::{CurveRules, Follows, ProbeCheckRules, Sensor, TemperTestRules, ToleranceClass};

/// A smear cools for so long.
const COOL_MINUTES: [f64; 2] = [1.0, 240.0];
/// Tests of a charge that is worked; a day at most.
const EVERY_MINUTES: [f64; 2] = [1.0, 1_440.0];
/// A smear that takes longer does not set.
const SET_MINUTES: [f64; 2] = [0.1, 120.0];
/// Of a sample's curve, which takes some minutes.
const CURVE_SECONDS: [f64; 2] = [1.0, 600.0];
/// Either way.
const CURVE_C_PER_MIN: [f64; 2] = [-10.0, 10.0];
/// Three years at most.
const EVERY_DAYS: [f64; 2] = [1.0, 1_096.0];
/// A probe that is off by more measures something else.
const OFF_BY_C: [f64; 2] = [0.001, 20.0];
/// A rule for what follows is a sentence or two on a tablet.
const LONGEST_RULE: usize = 300;

pub(crate) fn mean_temper_test(raw: &RawTemperTest, faults: &mut Faults<'_>) -> TemperTestRules {
    let usual = TemperTestRules::default();
    let mut within = |raw: &Option<At<f64>>, key: &str, bounds: [f64; 2], otherwise: f64| {
        words::within(raw.as_ref(), key, bounds, faults).unwrap_or(otherwise)
    };
    let cool = within(&raw.cool_minutes, "cool_minutes", COOL_MINUTES, usual.cool.as_mins_f64());
    let every = within(&raw.every_minutes, "every_minutes", EVERY_MINUTES, usual.every.as_mins_f64());
    let good_minutes = within(&raw.set_good_minutes, "set_good_minutes", SET_MINUTES, usual.good_minutes);
    let slow_minutes = within(&raw.set_slow_minutes, "set_slow_minutes", SET_MINUTES, usual.slow_minutes);
    let thick_minutes = within(&raw.set_thick_minutes, "set_thick_minutes", SET_MINUTES, usual.thick_minutes);
    let later = &raw.milk_and_white_later_minutes;
    let milk_and_white_later =
        within(later, "milk_and_white_later_minutes", SET_MINUTES, usual.milk_and_white_later);
    let smooth_seconds =
        within(&raw.curve_smooth_seconds, "curve_smooth_seconds", CURVE_SECONDS, usual.curve.smooth_seconds);
    let slope_seconds =
        within(&raw.curve_slope_seconds, "curve_slope_seconds", CURVE_SECONDS, usual.curve.slope_seconds);
    let under = &raw.curve_under_above;
    let over = &raw.curve_over_below;
    let curve = CurveRules {
        under_above: within(under, "curve_under_above", CURVE_C_PER_MIN, usual.curve.under_above),
        over_below: within(over, "curve_over_below", CURVE_C_PER_MIN, usual.curve.over_below),
        smooth_seconds,
        slope_seconds,
    };
    let times = [&raw.set_thick_minutes, &raw.set_good_minutes, &raw.set_slow_minutes];
    if !(thick_minutes < good_minutes && good_minutes < slow_minutes)
        && let Some(line) = times.into_iter().flatten().map(|at| at.line).max()
    {
        let says = format!(
            "`set_thick_minutes` ({thick_minutes}), `set_good_minutes` ({good_minutes}) and `set_slow_minutes` ({slow_minutes}) must grow in this order"
        );
        faults.add(line, says);
    }
    if !(curve.over_below < curve.under_above)
        && let Some(line) = [under, over].into_iter().flatten().map(|at| at.line).max()
    {
        let says = format!(
            "`curve_over_below` ({}) must lie below `curve_under_above` ({}); both are in °C/min",
            curve.over_below, curve.under_above
        );
        faults.add(line, says);
    }
    TemperTestRules {
        cool: Span::from_mins_f64(cool),
        every: Span::from_mins_f64(every),
        good_minutes,
        slow_minutes,
        thick_minutes,
        milk_and_white_later,
        curve,
        follows: mean_follows(&raw.follows, faults),
    }
}

fn mean_follows(raw: &[Option<At<String>>; 5], faults: &mut Faults<'_>) -> Follows {
    let mut rule = |raw: &Option<At<String>>, key: &str, otherwise: String| {
        if let Some(long) = raw.as_ref().filter(|at| LONGEST_RULE < at.value.chars().count()) {
            faults.add(
                long.line,
                format!("`{key}` is longer than {LONGEST_RULE} characters; say it in a sentence or two"),
            );
        }
        words::not_blank(raw.as_ref(), key, faults).unwrap_or(otherwise)
    };
    let usual = Follows::default();
    Follows {
        a: rule(&raw[0], "a", usual.a),
        b: rule(&raw[1], "b", usual.b),
        c: rule(&raw[2], "c", usual.c),
        d: rule(&raw[3], "d", usual.d),
        e: rule(&raw[4], "e", usual.e),
    }
}

pub(crate) fn mean_probe_checks(raw: &RawProbeChecks, faults: &mut Faults<'_>) -> ProbeCheckRules {
    let usual = ProbeCheckRules::default();
    let days = words::within(raw.every_days.as_ref(), "every_days", EVERY_DAYS, faults);
    let accept_c =
        words::within(raw.accept_c.as_ref(), "accept_c", OFF_BY_C, faults).unwrap_or(usual.accept_c);
    let replace_c =
        words::within(raw.replace_c.as_ref(), "replace_c", OFF_BY_C, faults).unwrap_or(usual.replace_c);
    if !(accept_c < replace_c)
        && let Some(line) = [&raw.accept_c, &raw.replace_c].into_iter().flatten().map(|at| at.line).max()
    {
        faults.add(line, format!("`accept_c` ({accept_c} °C) must lie below `replace_c` ({replace_c} °C)"));
    }
    ProbeCheckRules {
        every: days.map_or(usual.every, |days| Span::from_mins_f64(days * 24.0 * 60.0)),
        accept_c,
        replace_c,
    }
}

/// The class of a platinum thermometer; values that are °C already may come from one, too.
pub(crate) fn mean_tolerance(
    channel: Channel,
    sensor: Option<Sensor>,
    raw: Option<&At<String>>,
    faults: &mut Faults<'_>,
) -> Option<ToleranceClass> {
    let class = words::one_of(
        raw,
        "tolerance class of IEC 60751",
        &ToleranceClass::ALL,
        ToleranceClass::as_str,
        faults,
    )?;
    let is_temperature = match channel {
        Channel::Chocolate | Channel::Jacket | Channel::Room | Channel::Setpoint => true,
        Channel::Humidity | Channel::Stirrer | Channel::Motor => false,
    };
    let is_thermocouple = match sensor {
        None | Some(Sensor::Pt100) => false,
        Some(Sensor::TypeK(_) | Sensor::TypeT(_) | Sensor::TypeJ(_)) => true,
    };
    if is_temperature && !is_thermocouple {
        return Some(class);
    }
    let says = "`tolerance` is the class of a platinum thermometer; leave it out here";
    faults.add(raw?.line, says);
    None
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::meaning::tests::{SMALLEST, check_with};
    use crate::{ProbeCheckRules, TemperTestRules, parse_plant};

    #[test]
    fn a_file_without_them_has_the_usual_practice() {
        let plant = parse_plant(SMALLEST).unwrap();
        assert_eq!(plant.temper_test, TemperTestRules::default());
        assert_eq!(plant.probe_checks, ProbeCheckRules::default());
    }

    #[test]
    fn every_rule_can_be_set() {
        let more = "[temper_test]\ncool_minutes = 12\nevery_minutes = 45\nset_good_minutes = 6\nset_slow_minutes = 9\n\
             set_thick_minutes = 2\nmilk_and_white_later_minutes = 1\ncurve_under_above = 0.2\ncurve_over_below = -0.05\n\
             curve_smooth_seconds = 10\ncurve_slope_seconds = 20\n[temper_test.follows]\nd = \"Call the shift lead.\"\n\
             [probe_checks]\nevery_days = 7\naccept_c = 0.2\nreplace_c = 0.8\n";
        let plant = parse_plant(&format!("{SMALLEST}{more}")).unwrap();
        assert_eq!((plant.temper_test.every.as_mins_f64(), plant.temper_test.curve.under_above), (45.0, 0.2));
        assert_eq!(plant.temper_test.follows.d, "Call the shift lead.");
        assert_eq!(plant.temper_test.follows.a, TemperTestRules::default().follows.a);
        assert_eq!((plant.probe_checks.every.as_mins_f64(), plant.probe_checks.accept_c), (10_080.0, 0.2));
    }

    #[test]
    fn a_platinum_probe_may_have_a_class() {
        check_with(
            "[machine.channel.chocolate]\nsensor = \"pt100\"\ntolerance = \"A\"\n",
            expect!["no fault"],
        );
        check_with(
            "[machine.channel.chocolate]\ntolerance = \"D\"\n[machine.channel.motor]\ntolerance = \"A\"\n",
            expect![[r#"
                line 13: `D` is not a tolerance class of IEC 60751 (one of AA, A, B and C); did you mean `A`?
                line 15: `tolerance` is the class of a platinum thermometer; leave it out here"#]],
        );
    }

    #[test]
    fn what_nobody_means_is_refused() {
        check_with(
            "[temper_test]\ncool_minutes = 99999999\nmilk_and_white_later_minutes = 1e9\ncurve_under_above = 400\n\
             curve_slope_seconds = 1e-9\n[probe_checks]\nevery_days = 1e6\nreplace_c = 273.15\n",
            expect![[r#"
                line 13: `cool_minutes = 99999999` cannot be; it is between 1 and 240
                line 14: `milk_and_white_later_minutes = 1000000000` cannot be; it is between 0.1 and 120
                line 15: `curve_under_above = 400` cannot be; it is between -10 and 10
                line 16: `curve_slope_seconds = 0.000000001` cannot be; it is between 1 and 600
                line 18: `every_days = 1000000` cannot be; it is between 1 and 1096
                line 19: `replace_c = 273.15` cannot be; it is between 0.001 and 20"#]],
        );
    }

    #[test]
    fn faults_are_told_in_words() {
        check_with(
            "[temper_test]\nevery_minutes = 0\nset_good_minutes = 2\ncurve_over_below = 0.3\nset_god = 1\n\
             [temper_test.follows]\na = \" \"\nx = \"repeat\"\n[probe_checks]\naccept_c = 2\nevery = 3\n",
            expect![[r#"
                line 13: `every_minutes = 0` cannot be; it is between 1 and 1440
                line 14: `set_thick_minutes` (3), `set_good_minutes` (2) and `set_slow_minutes` (8) must grow in this order
                line 15: `curve_over_below` (0.3) must lie below `curve_under_above` (0.1); both are in °C/min
                line 16: `set_god` is not known in [temper_test]; what can stand there: cool_minutes, every_minutes, set_good_minutes, set_slow_minutes, set_thick_minutes, milk_and_white_later_minutes, curve_under_above, curve_over_below, curve_smooth_seconds, curve_slope_seconds and follows
                line 18: `a` cannot be empty
                line 19: `x` is not known in [temper_test.follows]; did you mean `a`? What can stand there: a, b, c, d and e
                line 21: `accept_c` (2 °C) must lie below `replace_c` (1 °C)
                line 22: `every` is not known in [probe_checks]; what can stand there: every_days, accept_c and replace_c"#]],
        );
    }
}
