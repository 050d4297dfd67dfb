//! Control charts against the worked examples of the NIST/SEMATECH e-Handbook.

use maths::control::{Capability, Cusum, Ewma, EwmaLimits, Individuals, Side, capability};
use maths::statistics::Moments;

use crate::support::{Noise, number, numbers, printed, toml};

/// Section 6.3.2.2.
#[test]
fn individuals_example() {
    let example = &toml("ehandbook_spc.toml")["individuals"];
    let values = numbers(&example["x"]);
    let chart = Individuals::learn(&values).unwrap();
    printed(chart.centre, number(&example["mean"]), 2);
    printed(chart.mean_range, number(&example["mean_moving_range"]), 4);
    printed(chart.high, number(&example["ucl"]), 4);
    printed(chart.low, number(&example["lcl"]), 4);
    assert!((chart.high - number(&example["ucl_full"])).abs() < 1e-12);
    assert!((chart.sigma - number(&example["sigma_hat"])).abs() < 1e-12);
    assert!((chart.range_high - number(&example["mr_chart_ucl"])).abs() < 1e-9);
    assert!(values.iter().all(|value| chart.outside(*value).is_none()));
    assert!(values.windows(2).all(|pair| !chart.jumped(pair[0], pair[1])));
}

/// Section 6.3.2.3: both sums as printed, and the first signal at the fourteenth value.
#[test]
fn cusum_example() {
    let example = &toml("ehandbook_spc.toml")["cusum"];
    let (high, low) = (numbers(&example["s_hi"]), numbers(&example["s_lo"]));
    let (high_printed, low_printed) =
        (numbers(&example["s_hi_published"]), numbers(&example["s_lo_published"]));
    let mut cusum =
        Cusum::new(number(&example["target"]), number(&example["k"]), number(&example["h"])).unwrap();
    let mut signals = Vec::new();
    for (i, value) in numbers(&example["x_unrounded"]).into_iter().enumerate() {
        let step = cusum.insert(value);
        assert!((step.high - high[i]).abs() < 1e-11 && (step.low - low[i]).abs() < 1e-11);
        printed(step.high, high_printed[i], 2);
        printed(step.low, low_printed[i], 2);
        if let Some(side) = step.signal {
            assert_eq!(side, Side::High);
            signals.push((i + 1) as f64);
        }
    }
    assert_eq!(signals, numbers(&example["signals_1_based"]));
}

/// Section 6.3.2.4: the means as printed, the asymptotic limits to the 0.001 that the handbook's rounded factor allows, and the
/// limits that grow (numpy 2.4.6).
#[test]
fn ewma_example() {
    let example = &toml("ehandbook_spc.toml")["ewma"];
    let chart = |limits| {
        let [start, sigma, weight, width] =
            ["ewma0", "sigma", "lambda", "L"].map(|key| number(&example[key]));
        Ewma::new(start, sigma, weight, width, limits).unwrap()
    };
    let (full, as_printed) = (numbers(&example["ewma"]), numbers(&example["ewma_published"]));
    let (lows, highs) = (numbers(&example["time_varying_lcl"]), numbers(&example["time_varying_ucl"]));
    let (mut steady, mut exact) = (chart(EwmaLimits::Asymptotic), chart(EwmaLimits::Exact));
    for (i, value) in numbers(&example["x"]).into_iter().enumerate() {
        let (steady, exact) = (steady.insert(value), exact.insert(value));
        assert!((steady.value - full[i + 1]).abs() < 1e-12);
        printed(steady.value, as_printed[i + 1], 2);
        assert!((steady.high - number(&example["ucl"])).abs() < 1e-11);
        assert!((steady.high - number(&example["ucl_published"])).abs() < 1e-3);
        assert!((steady.low - number(&example["lcl_published"])).abs() < 1e-3);
        printed(exact.low, lows[i], 6);
        printed(exact.high, highs[i], 6);
        assert_eq!((steady.signal, exact.signal), (None, None));
    }
}

/// Section 6.1.6.
#[test]
fn capability_example() {
    let example = &toml("ehandbook_spc.toml")["capability"];
    let at = |key: &str| number(&example[key]);
    let seen = Capability::from_moments(at("mean"), at("s"), 50, (at("lsl"), at("usl")), 0.95).unwrap();
    for (ours, full, as_printed) in [
        (seen.cp, "cp_full", "cp"),
        (seen.upper, "cpu_full", "cpu"),
        (seen.lower, "cpl_full", "cpl"),
        (seen.cpk, "cpk_full", "cpk"),
    ] {
        assert!((ours - at(full)).abs() < 1e-14);
        printed(ours, at(as_printed), 4);
    }
    assert!((seen.cpm - at("cpm")).abs() < 1e-14);
}

/// The intervals cover what they claim: Cp exactly, Cpk nearly (Bissell's is an approximation), over 4,000 made-up processes.
#[test]
fn capability_intervals_cover() {
    let mut noise = Noise::seeded(41);
    let (mean, sd, n, runs) = (31.6, 0.15, 30, 4_000);
    let (mut cp, mut cpk) = (0, 0);
    for _ in 0..runs {
        let values: Vec<f64> = (0..n).map(|_| mean + sd * noise.normal()).collect();
        let seen = capability(&values, (31.0, 32.0), 0.95).unwrap();
        cp += usize::from(
            seen.cp_interval.low <= 1.0 / (6.0 * sd) && 1.0 / (6.0 * sd) <= seen.cp_interval.high,
        );
        let truth = 0.4 / (3.0 * sd);
        cpk += usize::from(seen.cpk_interval.low <= truth && truth <= seen.cpk_interval.high);
    }
    let share = |count: usize| count as f64 / f64::from(runs);
    println!("Cp covered {:.3}, Cpk {:.3} of 0.95", share(cp), share(cpk));
    assert!((share(cp) - 0.95).abs() < 0.0104, "three standard errors");
    assert!((share(cpk) - 0.95).abs() < 0.02);
}

/// Sigma from the moving range is right on independent values (0.2 % over 200,000), and a tenth of a sigma of drift for each value
/// hardly moves it.
#[test]
fn moving_range_ignores_drift() {
    let mut noise = Noise::seeded(42);
    let steady: Vec<f64> = (0..200_000).map(|_| noise.normal()).collect();
    assert!((Individuals::learn(&steady).unwrap().sigma - 1.0).abs() < 0.01);
    let drifting: Vec<f64> = steady.iter().take(1_000).enumerate().map(|(i, x)| x + 0.1 * i as f64).collect();
    assert!((Individuals::learn(&drifting).unwrap().sigma - 1.0).abs() < 0.05);
    assert!(20.0 < Moments::of(&drifting).standard_deviation().unwrap());
}
