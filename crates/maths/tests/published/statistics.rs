//! NIST Statistical Reference Datasets, univariate, and robust spread.

use maths::statistics::{MAD_TO_SIGMA, Moments, autocorrelation, independence_interval, mad, median};

use crate::support::{Noise, csv, digits, number, numbers, toml};

/// First value, then two values in turn, 500 of each.
fn alternating(level: f64) -> Vec<f64> {
    let turn = (0..1_000).map(|i| level + if i % 2 == 0 { 0.1 } else { 0.3 });
    std::iter::once(level + 0.2).chain(turn).collect()
}

/// Digits reached in mean, standard deviation and first autocorrelation. The two last sets lose digits in their own input: a
/// tenth beside ten million is stored to eight digits.
#[test]
fn univariate_sets() {
    let fixture = toml("nist_strd_univariate.toml");
    for set in fixture["dataset"].as_array().unwrap() {
        let name = set["name"].as_str().unwrap();
        let values = match name {
            "NumAcc3" => alternating(1_000_000.0),
            "NumAcc4" => alternating(10_000_000.0),
            _ => numbers(&set["y"]),
        };
        assert_eq!(values.len() as f64, number(&set["n"]));
        let moments = Moments::of(&values);
        let mean = digits(moments.mean().unwrap(), number(&set["mean"]));
        let sd = digits(moments.standard_deviation().unwrap(), number(&set["stdev_n_minus_1"]));
        let r1 = digits(autocorrelation(&values, 1).unwrap(), number(&set["lag1_autocorrelation"]));
        println!("{name:8} mean {mean:4.1}  deviation {sd:4.1}  autocorrelation {r1:4.1}");
        let (sd_needed, r1_needed) = match name {
            "NumAcc3" => (8.5, 9.5),
            "NumAcc4" => (7.5, 8.5),
            "Mavro" | "Michelso" => (12.0, 12.0),
            _ => (14.0, 13.5),
        };
        assert!(14.0 < mean && sd_needed < sd && r1_needed < r1, "{name}");
    }
}

/// Median and MAD of a short series with one outlier (scipy 1.17.1, statsmodels 0.15.0).
#[test]
fn robust_spread() {
    let fixture = toml("trend_tests.toml");
    let expected = &fixture["robust_sigma"];
    let values = numbers(&expected["x"]);
    assert_eq!(median(&values), Some(number(&expected["median"])));
    assert!(13.0 < digits(mad(&values).unwrap(), number(&expected["mad_scaled"])));
    assert!(14.0 < digits(MAD_TO_SIGMA, number(&expected["mad_to_sigma_factor"])));
    assert!(
        12.0 < digits(
            Moments::of(&values).standard_deviation().unwrap(),
            number(&expected["stdev_n_minus_1"])
        )
    );
}

/// The Nile's first autocorrelation (statsmodels 0.15.0).
#[test]
fn nile_autocorrelation() {
    let values: Vec<f64> =
        csv("change_point_nile.csv").iter().map(|row| row.number("volume_1e8_m3")).collect();
    let expected = number(&toml("change_points.toml")["nile"]["lag1_autocorrelation"]);
    assert!(13.0 < digits(autocorrelation(&values, 1).unwrap(), expected));
}

/// A first-order series with coefficient φ has the interval (1 + φ)/(1 − φ) exactly; long simulated ones come near it.
#[test]
fn independence_interval_of_first_order_series() {
    for (phi, interval) in [(0.0, 1.0), (0.5, 3.0), (0.8, 9.0)] {
        let mut noise = Noise::seeded(31);
        let mut value = 0.0;
        let series: Vec<f64> = (0..20_000)
            .map(|_| {
                value = phi * value + noise.normal();
                value
            })
            .collect();
        let found = independence_interval(&series).unwrap();
        println!("first order {phi}: interval {found:.2}, exact {interval}");
        assert!((found / interval - 1.0).abs() < 0.15);
    }
}
