//! Trend tests and change points against worked examples and library runs (pymannkendall 1.4.3, scipy 1.17.1, ruptures 1.1.10).

use maths::statistics::{MAD_TO_SIGMA, mad};
use maths::trend::{mann_kendall, pettitt, split, split_in_two, theil_sen};

use crate::support::{csv, digits, number, numbers, printed, toml};

fn nile() -> Vec<f64> {
    csv("change_point_nile.csv").iter().map(|row| row.number("volume_1e8_m3")).collect()
}

/// A Mann–Kendall example by hand (College of the Holy Cross), the flow of the Nile, and four values.
#[test]
fn mann_kendall_and_theil_sen() {
    let fixture = toml("trend_tests.toml");
    let by_hand = &fixture["hand_worked"];
    let found = mann_kendall(&numbers(&by_hand["x"])).unwrap();
    assert_eq!(found.s as f64, number(&by_hand["published_S"]));
    printed(found.z, number(&by_hand["published_z"]), 4);
    printed(found.p_two_sided / 2.0, number(&by_hand["published_p_one_sided"]), 4);

    let mut fewest: f64 = 15.0;
    for (name, values) in [
        ("hand_worked", numbers(&by_hand["x"])),
        ("nile", nile()),
        ("small", numbers(&fixture["small"]["x"])),
    ] {
        let expected = &fixture[name];
        let found = mann_kendall(&values).unwrap();
        assert_eq!(found.s as f64, number(&expected["S"]));
        let steps: Vec<f64> = (0..values.len()).map(|i| i as f64).collect();
        let line = theil_sen(&steps, &values, 0.95).unwrap();
        for (ours, theirs) in [
            (found.variance, "var_S"),
            (found.z, "z_continuity_corrected"),
            (found.p_two_sided, "p_two_sided"),
            (found.tau, "kendall_tau_b"),
            (line.slope, "sen_slope_per_step"),
            (line.intercept, "sen_intercept_median_y_minus_slope_median_t0"),
            (line.slope_low, "sen_ci95_low"),
            (line.slope_high, "sen_ci95_high"),
        ] {
            let reached = digits(ours, number(&expected[theirs]));
            assert!(10.0 < reached, "{name} {theirs}: {ours}");
            fewest = fewest.min(reached);
        }
    }
    println!("trend: at least {fewest:.1} digits");
}

/// The Nile fell after 1898 (Cobb 1978): the best single split, and the only one under the usual penalty.
#[test]
fn nile_splits_after_1898() {
    let fixture = toml("change_points.toml");
    let expected = &fixture["nile"];
    let values = nile();
    let best = split_in_two(&values, 1).unwrap();
    assert_eq!(best.index as f64, number(&expected["breakpoint_index"]));
    assert!(13.0 < digits(best.mean_before, number(&expected["mean_before"])));
    assert!(13.0 < digits(best.mean_after, number(&expected["mean_after"])));
    let gain = number(&expected["sse_no_change"]) - number(&expected["sse_one_change"]);
    assert!(12.0 < digits(best.gain, gain));

    let differences: Vec<f64> = values.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let sigma = mad(&differences).unwrap() / 2f64.sqrt();
    // The library run used the factor 1.4826 as it is usually printed.
    assert!(12.0 < digits(sigma * 1.4826 / MAD_TO_SIGMA, number(&expected["sigma_mad_of_differences"])));
    for rule in expected["pelt"].as_array().unwrap() {
        let found = split(&values, 2, number(&rule["penalty"])).unwrap();
        let places: Vec<f64> = found.iter().map(|split| split.index as f64).collect();
        assert_eq!(places, numbers(&rule["breakpoints"]));
    }
}

/// Pettitt 1979 on Page's series (the printed p is cut, not rounded), and on the Nile.
#[test]
fn pettitt_on_page_and_nile() {
    let fixture = toml("change_points.toml");
    let page = &fixture["page_data"];
    let found = pettitt(&numbers(&page["x"])).unwrap();
    assert_eq!((found.k, found.index as f64), (number(&page["published_K"]), number(&page["published_t"])));
    assert_eq!((found.p * 1e3).floor() / 1e3, number(&page["published_p"]));
    assert!(12.0 < digits(found.p, number(&page["p_approx"])));

    let expected = &fixture["nile"];
    let found = pettitt(&nile()).unwrap();
    assert_eq!(
        (found.k, found.index as f64),
        (number(&expected["pettitt_K"]), number(&expected["pettitt_t"]))
    );
    assert!(12.0 < digits(found.p, number(&expected["pettitt_p_approx"])));
}
