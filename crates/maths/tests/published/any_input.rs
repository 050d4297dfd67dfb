//! Whatever comes, the answer is a number or a reason: no panic, and no NaN. Every routine is fed with any f64 there is, NaN,
//! infinities, and numbers near the ends of the range among them.

use maths::control::{Cusum, Ewma, EwmaLimits, Individuals, capability};
use maths::cooling::{Jacket, follow, seconds_to, tau_at_mass, tau_between, tau_of_wall, temperature_after};
use maths::exposure::{Band, exposure};
use maths::heat::{Addition, Chocolate, Part, Share, mix, rise_from_crystallising, vessel_for_each_kg};
use maths::humidity::{absolute_humidity, demoulding, dew_point_with_error};
use maths::least_squares::fit_polynomial;
use maths::melt_out::{Fat, melt_out, minutes_until_melted};
use maths::sensors::{Calibration, Kind, pt100_celsius, pt100_ohm, thermocouple_celsius};
use maths::statistics::{
    Moments, autocorrelation, block_means, chi_squared_quantile, independence_interval, mad, median,
    normal_below, normal_quantile, quantile, straight_line, student_quantile,
};
use maths::trend::{mann_kendall, pettitt, split, theil_sen};
use proptest::prelude::*;

fn wild() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => -50.0..150.0_f64,
        2 => prop::num::f64::ANY,
        1 => prop_oneof![Just(0.0), Just(-0.0), Just(1.0), Just(f64::MAX), Just(f64::MIN), Just(f64::MIN_POSITIVE)],
    ]
}

fn series() -> impl Strategy<Value = Vec<f64>> {
    prop_oneof![
        prop::collection::vec(wild(), 0..24),
        prop::collection::vec(
            prop_oneof![12 => -50.0..150.0_f64, 1 => Just(1e308), 1 => Just(-1e308)],
            0..24
        ),
    ]
}

/// Fails on NaN; infinite ends of an interval are allowed where a comment says so.
#[track_caller]
fn number(value: f64) {
    assert!(!value.is_nan());
}

#[track_caller]
fn finite(values: impl IntoIterator<Item = f64>) {
    for value in values {
        assert!(value.is_finite(), "{value}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]

    #[test]
    fn of_numbers(a in wild(), b in wild(), c in wild(), d in wild()) {
        finite(temperature_after(a, b, c, d));
        finite(seconds_to(a, b, c, d));
        finite(tau_between(a, b, c, d));
        finite(tau_at_mass(a, b, c, d));
        finite(tau_of_wall(a, b, c, d));
        finite(pt100_ohm(a));
        finite(pt100_celsius(a));
        for kind in [Kind::K, Kind::T, Kind::J] {
            finite(thermocouple_celsius(kind, a, b));
        }
        for calibration in [Calibration::from_offset(a, b), Calibration::from_two_points((a, b), (c, d))].into_iter().flatten() {
            finite(calibration.correct(c));
            finite(calibration.reading(d));
            finite(calibration.standard_error(a, c));
        }
        finite(dew_point_with_error(a, b, c, d).into_iter().flat_map(|(x, y)| [x, y]));
        finite(absolute_humidity(a, b));
        finite(demoulding(a, b, c, d).map(|seen| seen.above_dew_point_c));
        let addition = Addition { melt_c: a, added_c: b, vessel_kj_per_kg_k: c };
        for share in [Share::OfMelt(d), Share::OfTotal(d)] {
            finite(share.for_each_kg_of_melt());
            finite(share.of_total());
            finite(addition.end_c(&Chocolate::DARK, share, 0.5));
            finite(addition.melted_share(&Chocolate::MILK, share, a));
        }
        if let Some(Share::OfMelt(ratio) | Share::OfTotal(ratio)) = addition.share_to_land_at(&Chocolate::WHITE, d, 1.0) {
            finite([ratio]);
        }
        finite(mix(&[Part { mass_kg: a, specific: b, celsius: c }, Part { mass_kg: d, specific: a, celsius: b }]));
        finite(rise_from_crystallising(a, b, c));
        finite(vessel_for_each_kg(a, b, c));
        finite(normal_below(a));
        finite(normal_quantile(a));
        finite(student_quantile(a.abs(), b));
        finite(chi_squared_quantile(a.abs(), b));
        minutes_until_melted(Fat::White, a).into_iter().for_each(|(least, most)| { number(least); number(most) });
    }

    #[test]
    fn of_series(x in series(), y in series(), a in wild(), b in wild()) {
        let moments = Moments::of(&x);
        finite(moments.mean());
        finite(moments.standard_deviation());
        finite(median(&x));
        finite(mad(&x));
        finite(quantile(&x, a));
        finite(autocorrelation(&x, 1));
        finite(independence_interval(&x));
        finite(block_means(&x, &y, a, 1).into_iter().flat_map(|block| [block.from_s, block.mean]));
        finite(straight_line(&x, &y).into_iter().flat_map(|line| [line.slope, line.intercept, line.slope_se]));
        finite(fit_polynomial::<3>(&x, &y).into_iter().flat_map(|fit| fit.parameters));
        finite(theil_sen(&x, &y, 0.95).into_iter().flat_map(|line| [line.slope, line.intercept, line.slope_low]));
        finite(mann_kendall(&x).into_iter().flat_map(|test| [test.z, test.p_two_sided, test.tau]));
        finite(split(&x, 1, b.abs()).into_iter().flatten().flat_map(|split| [split.mean_before, split.gain]));
        finite(pettitt(&x).into_iter().flat_map(|test| [test.k, test.p]));
        finite(Individuals::learn(&x).into_iter().flat_map(|chart| [chart.low, chart.high]));
        finite(capability(&x, (a, b), 0.95).into_iter().flat_map(|seen| [seen.cp, seen.cpk, seen.cpm, seen.cpk_interval.low]));
        if let Ok(mut cusum) = Cusum::new(a, b.abs(), 1.0) {
            x.iter().for_each(|value| number(cusum.insert(*value).high));
        }
        if let Ok(mut ewma) = Ewma::new(a, 1.0, 0.2, 3.0, EwmaLimits::Exact) {
            x.iter().for_each(|value| finite([ewma.insert(*value).value]));
        }
        if let Ok(values) = follow(&[0.0, 10.0, 20.0], a, b, Jacket { seconds: &x, values: &y }, 0.0) {
            finite(values);
        }
        if let (Ok(band), true) = (Band::new(a.min(b), a.max(b), 60.0), x.len() == y.len()) {
            let seen = exposure(band, &x, &y).unwrap();
            finite([seen.above_c_min, seen.below_c_min, seen.in_band_s, seen.unknown_s]);
            finite(seen.in_band_share());
            finite(seen.unknown_share());
        }
        finite(melt_out(Fat::Milk, &x, &y, 60.0).into_iter().flat_map(|seen| [seen.least, seen.most, seen.unknown_s]));
    }
}
