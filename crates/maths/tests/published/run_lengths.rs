//! Average run lengths of the charts, by simulation with a fixed seed, against published tables.
//!
//! Each case runs until its chart signals, many times; the mean must lie within four of its own standard errors of the exact value
//! (integral equation), and the published one within that and its own rounding. In all some forty million values are drawn.

use maths::control::{Cusum, Ewma, EwmaLimits};

use crate::support::{Noise, csv};

/// Runs of each case: fewer where a run is long.
fn runs(expected: f64) -> usize {
    (200_000.0 / expected).clamp(1_000.0, 10_000.0) as usize
}

/// Mean and standard error of the length of runs.
fn simulate(seed: u64, expected: f64, mut run: impl FnMut(&mut Noise) -> usize) -> (f64, f64) {
    let mut noise = Noise::seeded(seed);
    let lengths: Vec<f64> = (0..runs(expected)).map(|_| run(&mut noise) as f64).collect();
    let moments = maths::statistics::Moments::of(&lengths);
    (moments.mean().unwrap(), moments.standard_error().unwrap())
}

/// Values until `signals` says so.
fn length(mut signals: impl FnMut() -> bool) -> usize {
    (1..).find(|_| signals()).unwrap()
}

#[track_caller]
fn check(case: &str, (mean, error): (f64, f64), exact: f64) -> f64 {
    let off = (mean - exact) / error;
    println!("{case}: {mean:.2} ± {error:.2}, exact {exact:.2}, off by {off:+.1}");
    // 160 cases: one beyond four standard errors would come up by chance once in a hundred such tables.
    assert!(off.abs() < 4.0, "{case}");
    off
}

/// Whether a printed run length is the exact one to 0.6 units of its last digit, or to 0.4 %, which is what the authors'
/// own approximations leave. Rows without a printed one agree.
fn agrees_in_print(printed: &str, exact: f64) -> bool {
    let Ok(value) = printed.parse::<f64>() else { return printed.is_empty() };
    let places = printed.split_once('.').map_or(0, |(_, behind)| behind.len() as i32);
    (value - exact).abs() <= f64::max(0.6 * 10f64.powi(-places), 0.004 * exact)
}

/// Deviations in standard errors must themselves look standard, or the errors are not what they claim.
#[track_caller]
fn check_spread(offs: &[f64]) {
    let square = offs.iter().map(|off| off * off).sum::<f64>() / offs.len() as f64;
    println!("mean square deviation {square:.2} over {} cases", offs.len());
    assert!((0.5..1.6).contains(&square));
}

/// Lucas & Crosier 1982, table 1: two-sided, k = 0.5, h = 4 and 5, with and without head start.
#[test]
fn two_sided_cusum() {
    let rows = csv("arl_cusum_two_sided.csv");
    let offs: Vec<f64> = rows
        .iter()
        .enumerate()
        .map(|(i, row)| {
            let [k, h, start, shift] = ["k", "h", "head_start", "shift_sigma"].map(|name| row.number(name));
            let exact = row.number("arl_integral_equation");
            assert!(agrees_in_print(row.text("arl_published"), exact), "h {h} start {start} shift {shift}");
            let chart = Cusum::new(0.0, k, h).unwrap().with_head_start(start).unwrap();
            let seen = simulate(100 + i as u64, exact, |noise| {
                let mut chart = chart;
                length(|| chart.insert(shift + noise.normal()).signal.is_some())
            });
            check(&format!("CUSUM h {h} start {start} shift {shift}"), seen, exact)
        })
        .collect();
    check_spread(&offs);
}

/// Brook & Evans 1972, Waldmann 1986, Vance 1986: the upper sum alone. Runs above a thousand values are left out for time.
#[test]
fn one_sided_cusum() {
    let rows = csv("arl_cusum_one_sided.csv");
    let offs: Vec<f64> = rows
        .iter()
        .enumerate()
        .filter(|(_, row)| row.number("arl_integral_equation") < 1_000.0)
        .map(|(i, row)| {
            let [k, h, start, shift] = ["k", "h", "head_start", "shift_sigma"].map(|name| row.number(name));
            let exact = row.number("arl_integral_equation");
            let chart = Cusum::new(0.0, k, h).unwrap().with_head_start(start).unwrap();
            let seen = simulate(200 + i as u64, exact, |noise| {
                let mut chart = chart;
                length(|| h < chart.insert(shift + noise.normal()).high)
            });
            check(&format!("one-sided k {k} h {h} shift {shift}"), seen, exact)
        })
        .collect();
    check_spread(&offs);
}

/// Crowder 1987 and Lucas & Saccucci 1990: asymptotic limits. One printed value (λ 0.5, L 2, shift 1.25) has its digits exchanged
/// and is not compared; the exact one is.
#[test]
fn ewma() {
    let rows = csv("arl_ewma_two_sided.csv");
    let offs: Vec<f64> = rows
        .iter()
        .enumerate()
        .map(|(i, row)| {
            let [weight, width, shift] = ["lambda", "L", "shift_sigma"].map(|name| row.number(name));
            let exact = row.number("arl_integral_equation");
            let misprinted = (weight, width, shift) == (0.5, 2.0, 1.25);
            assert!(
                misprinted || agrees_in_print(row.text("arl_published"), exact),
                "{weight} {width} {shift}"
            );
            let chart = Ewma::new(0.0, 1.0, weight, width, EwmaLimits::Asymptotic).unwrap();
            let seen = simulate(300 + i as u64, exact, |noise| {
                let mut chart = chart;
                length(|| chart.insert(shift + noise.normal()).signal.is_some())
            });
            check(&format!("EWMA weight {weight} width {width} shift {shift}"), seen, exact)
        })
        .collect();
    check_spread(&offs);
}

/// One over the tail probability (scipy 1.17.1), with the EWMA of weight one, which is the chart of single values.
#[test]
fn single_values() {
    for (i, row) in csv("arl_shewhart_individuals.csv").iter().enumerate() {
        let (width, shift, exact) = (row.number("L"), row.number("shift_sigma"), row.number("arl"));
        let chart = Ewma::new(0.0, 1.0, 1.0, width, EwmaLimits::Asymptotic).unwrap();
        let seen = simulate(500 + i as u64, exact, |noise| {
            let mut chart = chart;
            length(|| chart.insert(shift + noise.normal()).signal.is_some())
        });
        check(&format!("single values shift {shift}"), seen, exact);
    }
}

/// What neighbours that resemble each other do to a CUSUM (numpy 2.4.6, 200,000 runs): the reason for block means.
#[test]
fn correlated_values_signal_too_often() {
    let fixture = crate::support::toml("trend_tests.toml");
    for (i, row) in fixture["ar1_effect"]["row"].as_array().unwrap().iter().enumerate() {
        let at = |key: &str| crate::support::number(&row[key]);
        let (phi, shift, expected) = (at("phi"), at("shift_sigma"), at("arl"));
        let chart = Cusum::new(0.0, 0.5, 5.0).unwrap();
        let fresh = (1.0 - phi * phi).sqrt();
        let (mean, error) = simulate(600 + i as u64, expected, |noise| {
            let (mut chart, mut value) = (chart, noise.normal());
            length(|| {
                let step = chart.insert(shift + value);
                value = phi * value + fresh * noise.normal();
                step.signal.is_some()
            })
        });
        let both = error.hypot(at("standard_error"));
        check(&format!("correlated {phi} shift {shift}"), (mean, both), expected);
    }
}
