//! Newton's law against textbook examples, and the fit's intervals against what they claim.

use maths::MathsError;
use maths::cooling::{
    Jacket, NewtonFit, Surroundings, fit, fit_near, follow, seconds_to, tau_between, tau_of_wall,
    temperature_after, time_to, time_to_with, value_at,
};
use proptest::prelude::*;

use crate::support::{Noise, number, numbers, toml};

/// OpenStax, Calculus volumes 1 and 2, Algebra and Trigonometry: seven worked examples. The full answers are compared to twelve
/// digits; the printed ones are rounded from a rounded rate, and are met to half a per cent.
#[test]
fn openstax_examples() {
    let fixture = toml("newton_cooling_heat_balance.toml");
    let examples = fixture["cooling"].as_array().unwrap();
    assert_eq!(examples.len(), 7);
    for example in examples {
        let (start, ambient) = (number(&example["T0"]), number(&example["Ta"]));
        let known = numbers(&example["known"].as_array().unwrap()[0]);
        let tau = tau_between(start, ambient, known[0], known[1]).unwrap();
        let rate = number(&example["k_computed"]);
        assert!((tau * rate - 1.0).abs() < 1e-12, "{:?}", example["name"]);
        for question in example["questions"].as_array().unwrap() {
            let target = number(&question["T"]);
            let time = seconds_to(start, ambient, tau, target).unwrap();
            let computed = number(&question["t_computed"]);
            assert!((time / computed - 1.0).abs() < 1e-12, "{:?}", example["name"]);
            assert!((time / number(&question["t_published"]) - 1.0).abs() < 5e-3, "{:?}", example["name"]);
            assert!((temperature_after(start, ambient, tau, time).unwrap() - target).abs() < 1e-9);
        }
    }
}

/// Five kettles from 45 to 32 °C, worked by hand for the trade with assumed walls (no source): τ and minutes to the whole minute, the
/// rate at 45 and at 32 °C to 0.015 °C/min, which is what the rounded τ of that table leaves.
#[test]
fn kettles_of_the_trade() {
    for (mass_kg, wall_w_per_k, around_c, tau_min, minutes, rates) in [
        (1.0, 0.6, 20.0, 44.0, 32.0, [0.57, 0.27]),
        (6.0, 25.0 * 0.2, 18.0, 32.0, 21.0, [0.84, 0.44]),
        (30.0, 60.0 * 0.45, 20.0, 30.0, 22.0, [0.83, 0.40]),
        (100.0, 70.0, 20.0, 38.0, 28.0, [0.66, 0.32]),
        (500.0, 70.0 * 2.7, 20.0, 70.0, 51.0, [0.36, 0.17]),
    ] {
        let tau = tau_of_wall(mass_kg, 1.6, 0.0, wall_w_per_k).unwrap() / 60.0;
        assert!((tau - tau_min).abs() < 0.6, "{mass_kg} kg: {tau}");
        assert!((seconds_to(45.0, around_c, tau, 32.0).unwrap() - minutes).abs() < 0.8);
        assert!(((45.0 - around_c) / tau - rates[0]).abs() < 0.015);
        assert!(((32.0 - around_c) / tau - rates[1]).abs() < 0.015);
    }
}

const START: f64 = 45.0;
const AMBIENT: f64 = 20.0;
const TAU_S: f64 = 2_280.0;

/// Readings of a made-up kettle each ten seconds; `noise` gives what the probe adds.
fn kettle(minutes: f64, mut noise: impl FnMut() -> f64) -> (Vec<f64>, Vec<f64>) {
    let seconds: Vec<f64> = (0..(minutes * 6.0) as usize).map(|i| i as f64 * 10.0).collect();
    let values =
        seconds.iter().map(|s| temperature_after(START, AMBIENT, TAU_S, *s).unwrap() + noise()).collect();
    (seconds, values)
}

/// What became of many projections of the same arrival.
#[derive(Debug, Default)]
struct Tally {
    covered: usize,
    open: usize,
    refused: usize,
    runs: usize,
    median_width_s: f64,
}

impl Tally {
    /// Share of the given intervals that hold the true time.
    fn coverage(&self) -> f64 {
        self.covered as f64 / (self.runs - self.refused) as f64
    }
}

fn tally(
    runs: usize,
    target: f64,
    coverage: f64,
    surroundings: Surroundings<'_>,
    mut readings: impl FnMut() -> (Vec<f64>, Vec<f64>),
) -> Tally {
    let truth = seconds_to(START, AMBIENT, TAU_S, target).unwrap();
    let mut tally = Tally { runs, ..Tally::default() };
    let mut widths = Vec::new();
    for _ in 0..runs {
        let (seconds, values) = readings();
        let projection =
            fit(&seconds, &values, surroundings).ok().and_then(|fit| time_to_with(&fit, target, coverage));
        let Some(projection) = projection else {
            tally.refused += 1;
            continue;
        };
        let high = projection.high.unwrap_or(f64::INFINITY);
        tally.covered += usize::from(projection.low <= truth && truth <= high);
        tally.open += usize::from(projection.high.is_none());
        widths.push(high - projection.low);
    }
    widths.sort_by(f64::total_cmp);
    tally.median_width_s = widths[widths.len() / 2];
    tally
}

/// Three standard errors of a share that is counted over `runs`.
fn three_errors(share: f64, runs: usize) -> f64 {
    3.0 * (share * (1.0 - share) / runs as f64).sqrt()
}

/// Independent noise: the interval covers what it claims, seen early, at half way, and shortly before.
#[test]
fn projection_covers_what_it_claims() {
    let runs = 2_000;
    for (minutes, claimed) in [(8.0, 0.95), (12.0, 0.95), (20.0, 0.95), (12.0, 0.8)] {
        let mut noise = Noise::seeded(17);
        let seen =
            tally(runs, 32.0, claimed, Surroundings::Unknown, || kettle(minutes, || 0.05 * noise.normal()));
        println!("independent, {minutes} min: {seen:?} coverage {:.3}", seen.coverage());
        assert!(
            (seen.coverage() - claimed).abs() < three_errors(claimed, runs) + 0.005,
            "{minutes} {seen:?}"
        );
        assert_eq!(seen.refused, 0);
    }
}

/// Two minutes are too few to tell the level. Most fits then tend to a level above the target and give no time at all; the
/// others give an interval that is open above.
#[test]
fn too_early_is_wide_and_not_wrong() {
    let mut noise = Noise::seeded(18);
    let seen = tally(1_000, 32.0, 0.95, Surroundings::Unknown, || kettle(2.0, || 0.05 * noise.normal()));
    println!("two minutes: {seen:?} coverage {:.3}", seen.coverage());
    assert!(0.93 < seen.coverage() && 900 < seen.open + seen.refused);
}

/// A known level leaves two unknowns, and two minutes are plenty.
#[test]
fn a_known_level_covers_too() {
    let mut noise = Noise::seeded(19);
    let seen =
        tally(2_000, 32.0, 0.95, Surroundings::Steady(AMBIENT), || kettle(2.0, || 0.05 * noise.normal()));
    println!("known level: {seen:?} coverage {:.3}", seen.coverage());
    assert!((seen.coverage() - 0.95).abs() < three_errors(0.95, 2_000) + 0.005, "{seen:?}");
    assert_eq!((seen.open, seen.refused), (0, 0));
    assert!(seen.median_width_s < 300.0);
}

/// Noise that resembles its neighbours (first-order, 0.6), a display of 0.1 °C, and one spike in fifty: nearly what is claimed.
#[test]
fn a_real_probe_is_nearly_covered() {
    let mut noise = Noise::seeded(20);
    let mut wander = 0.0;
    let alike = tally(2_000, 32.0, 0.95, Surroundings::Unknown, || {
        kettle(15.0, || {
            wander = 0.6 * wander + 0.04 * noise.normal();
            wander
        })
    });
    println!("first-order noise: {alike:?} coverage {:.3}", alike.coverage());
    assert!(0.90 < alike.coverage(), "{alike:?}");

    let mut noise = Noise::seeded(21);
    let coarse = tally(2_000, 32.0, 0.95, Surroundings::Unknown, || {
        let (seconds, mut values) = kettle(15.0, || 0.04 * noise.normal());
        for value in &mut values {
            *value = (*value * 10.0).round() / 10.0;
            if noise.uniform() < 0.02 {
                *value += 30.0;
            }
        }
        (seconds, values)
    });
    println!("coarse with spikes: {coarse:?} coverage {:.3}", coarse.coverage());
    assert!(0.93 < coarse.coverage(), "{coarse:?}");
}

/// A jacket that falls from 25 to 15 °C during the cooling: the time constant comes out right, with and without an offset,
/// and its standard error is the scatter that many fits show.
#[test]
fn a_moving_jacket() {
    let seconds: Vec<f64> = (0..120).map(|i| f64::from(i) * 10.0).collect();
    let jacket_seconds: Vec<f64> = (0..25).map(|i| f64::from(i) * 50.0).collect();
    let jacket_values: Vec<f64> =
        jacket_seconds.iter().map(|s| 15.0 + 10.0 * (-s / 300.0).exp() + (s / 90.0).sin()).collect();
    let jacket = Jacket { seconds: &jacket_seconds, values: &jacket_values };
    for (surroundings, offset) in
        [(Surroundings::Jacket(jacket), 0.0), (Surroundings::JacketAndOffset(jacket), 1.8)]
    {
        let clean = follow(&seconds, 45.0, 2_000.0, jacket, offset).unwrap();
        let exact = fit(&seconds, &clean, surroundings).unwrap();
        assert!((exact.tau_s - 2_000.0).abs() < 1e-4, "{exact:?}");
        assert!((exact.ambient - jacket_values[24] - offset).abs() < 1e-1, "{exact:?}");

        let mut noise = Noise::seeded(22);
        let fits: Vec<NewtonFit> = (0..400)
            .map(|_| {
                let noisy: Vec<f64> = clean.iter().map(|value| value + 0.05 * noise.normal()).collect();
                fit(&seconds, &noisy, surroundings).unwrap()
            })
            .collect();
        let within = fits.iter().filter(|fit| (fit.tau_s - 2_000.0).abs() < 1.96 * fit.tau_se_s).count();
        println!("jacket, offset {offset}: {within} of 400 within 1.96 standard errors");
        assert!((360..=396).contains(&within), "{within}");
    }
}

/// A first guess changes what is tried, and not what is found.
#[test]
fn a_near_time_constant_leads_to_the_same_fit() {
    let mut noise = Noise::seeded(5);
    let (seconds, values) = kettle(40.0, || 0.05 * noise.normal());
    for surroundings in [Surroundings::Unknown, Surroundings::Steady(AMBIENT)] {
        let found = fit(&seconds, &values, surroundings).unwrap();
        for share in [0.7, 1.0, 1.4] {
            let near = fit_near(&seconds, &values, surroundings, share * TAU_S).unwrap();
            assert!((near.tau_s / found.tau_s - 1.0).abs() < 1e-6, "{share}: {} {}", near.tau_s, found.tau_s);
            assert_eq!(near.left_out, found.left_out);
        }
    }
    for tau_s in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let refused = fit_near(&seconds, &values, Surroundings::Unknown, tau_s);
        assert_eq!(refused, Err(MathsError::OutOfRange("time constant")));
    }
}

/// Warming is the same law.
#[test]
fn warming_too() {
    let seconds: Vec<f64> = (0..100).map(|i| f64::from(i) * 20.0).collect();
    let values: Vec<f64> =
        seconds.iter().map(|s| temperature_after(20.0, 46.0, 1_500.0, *s).unwrap()).collect();
    let fitted = fit(&seconds, &values, Surroundings::Unknown).unwrap();
    assert!((fitted.tau_s - 1_500.0).abs() < 1e-4);
    assert!(
        (time_to(&fitted, 45.0).unwrap().seconds - seconds_to(20.0, 46.0, 1_500.0, 45.0).unwrap()).abs()
            < 1e-3
    );
}

/// The projected height covers the true curve as the projected time does.
#[test]
fn height_ahead_covers_what_it_claims() {
    let truth = temperature_after(START, AMBIENT, TAU_S, 1_500.0).unwrap();
    let mut noise = Noise::seeded(23);
    let covered = (0..1_000)
        .filter(|_| {
            let (seconds, values) = kettle(15.0, || 0.05 * noise.normal());
            let band =
                value_at(&fit(&seconds, &values, Surroundings::Unknown).unwrap(), 1_500.0, 0.95).unwrap();
            band.low <= truth && truth <= band.high
        })
        .count();
    println!("height ahead: {covered} of 1000");
    assert!((covered as f64 / 1_000.0 - 0.95).abs() < three_errors(0.95, 1_000) + 0.005);
}

/// Two hundred readings, each thirty seconds for each machine: well below a millisecond a fit. The quickest of many runs counts,
/// so that a busy machine does not.
#[test]
fn a_fit_is_quick() {
    let mut noise = Noise::seeded(24);
    let (seconds, values) = kettle(200.0 / 6.0, || 0.05 * noise.normal());
    let quickest = (0..100)
        .map(|_| {
            let before = std::time::Instant::now();
            let fitted = fit(&seconds, &values, Surroundings::Unknown).unwrap();
            assert!(time_to(&fitted, 30.0).is_some());
            before.elapsed()
        })
        .min()
        .unwrap();
    println!("a fit of {} readings with its projection: {quickest:?}", seconds.len());
    assert!(quickest.as_secs_f64() < 1e-3);
}

proptest! {
    /// Whatever comes, the answer is a number or a reason.
    #[test]
    fn no_input_breaks_it(
        values in prop::collection::vec(prop_oneof![9 => -50.0..150.0_f64, 1 => prop::num::f64::ANY], 0..40),
        step in 0.001..1e4_f64,
        target in prop::num::f64::ANY,
        level in -20.0..60.0_f64,
    ) {
        let seconds: Vec<f64> = (0..values.len()).map(|i| i as f64 * step).collect();
        let jacket_values: Vec<f64> = values.iter().map(|v| if v.is_finite() { v.clamp(-50.0, 150.0) } else { level }).collect();
        let jacket = Jacket { seconds: &seconds, values: &jacket_values };
        for surroundings in [
            Surroundings::Unknown,
            Surroundings::Steady(level),
            Surroundings::Jacket(jacket),
            Surroundings::JacketAndOffset(jacket),
        ] {
            if let Ok(fitted) = fit(&seconds, &values, surroundings) {
                prop_assert!(0.0 < fitted.tau_s && fitted.tau_se_s.is_finite() && fitted.ambient_se.is_finite());
                if let Some(projection) = time_to(&fitted, target) {
                    prop_assert!(projection.low <= projection.seconds + 1e-6);
                    prop_assert!(projection.high.is_none_or(|high| projection.seconds <= high + 1e-6));
                }
            }
        }
    }

    /// Degrees, seconds and the moment from which they count are the reader's choice: the fit turns with them.
    #[test]
    fn units_do_not_matter(tau_s in 300.0..6_000.0_f64, scale in 0.1..10.0_f64, shift in -500.0..500.0_f64) {
        let seconds: Vec<f64> = (0..150).map(|i| f64::from(i) * tau_s / 200.0).collect();
        let values: Vec<f64> = seconds
            .iter()
            .enumerate()
            .map(|(i, s)| 20.0 + 25.0 * (-s / tau_s).exp() + 0.01 * ((i * 37) % 11) as f64)
            .collect();
        let plain = fit(&seconds, &values, Surroundings::Unknown).unwrap();
        let seconds: Vec<f64> = seconds.iter().map(|s| s * scale + shift).collect();
        let values: Vec<f64> = values.iter().map(|v| v * 1.8 + 32.0).collect();
        let other = fit(&seconds, &values, Surroundings::Unknown).unwrap();
        prop_assert!((other.tau_s / plain.tau_s / scale - 1.0).abs() < 1e-7);
        prop_assert!((other.ambient - plain.ambient * 1.8 - 32.0).abs() < 1e-5);
        prop_assert_eq!(other.n, plain.n);
    }
}

/// One reading far out in time pulls the level nowhere: refused, or so wide that it says so.
#[test]
fn refusals_are_named() {
    let rising = [0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0];
    assert_eq!(
        fit(&rising, &[1.0; 7], Surroundings::Unknown),
        Err(MathsError::LengthsDiffer { left: 8, right: 7 })
    );
    assert_eq!(fit(&[5.0; 8], &[1.0; 8], Surroundings::Unknown), Err(MathsError::NotRising));
    let falling: Vec<f64> = rising.iter().rev().copied().collect();
    assert_eq!(fit(&falling, &[1.0; 8], Surroundings::Unknown), Err(MathsError::NotRising));
    assert_eq!(fit(&rising, &[1.0; 8], Surroundings::Steady(f64::NAN)), Err(MathsError::NotFinite));
}
