//! Certified results of the NIST Statistical Reference Datasets, nonlinear and linear regression.
//! The tables print the digits reached; `cargo test -- --nocapture` shows them.

use maths::least_squares::{CurvePoint, LeastSquares, fit_curve, fit_polynomial};
use maths::statistics::straight_line;

use crate::support::{digits, number, numbers, toml};

/// Values are certified to eleven digits, standard deviations too; these are reached from both starts of every set.
const PARAMETER_DIGITS: f64 = 10.3;
const DEVIATION_DIGITS: f64 = 10.3;

/// Fits one set from one start and returns the fewest digits over parameters, their deviations, and the residual sum of squares.
fn reached<const P: usize>(
    set: &toml::Value,
    start: &str,
    height: fn(&[f64; P], f64) -> CurvePoint<P>,
) -> [f64; 3] {
    let x = numbers(&set["x"]);
    let y = numbers(&set["y"]);
    let start: [f64; P] = numbers(&set[start]).try_into().unwrap();
    let curve = |p: &[f64; P], points: &mut [CurvePoint<P>]| {
        for (point, x) in points.iter_mut().zip(&x) {
            *point = height(p, *x);
        }
    };
    let fit: LeastSquares<P> = fit_curve(curve, &y, None, start).unwrap();
    let certified = numbers(&set["certified"]);
    let certified_sd = numbers(&set["certified_sd"]);
    let mut order: Vec<usize> = (0..P).collect();
    if set["name"].as_str() == Some("MGH17") && fit.parameters[1] < fit.parameters[2] {
        // The two terms of the sum are interchangeable.
        order = vec![0, 2, 1, 4, 3];
    }
    let fewest = |of: &dyn Fn(usize) -> f64| (0..P).map(of).fold(15.0, f64::min);
    [
        fewest(&|j| digits(fit.parameters[order[j]], certified[j])),
        fewest(&|j| digits(fit.standard_error(order[j]).unwrap(), certified_sd[j])),
        digits(fit.residual_ss, number(&set["residual_ss"])),
    ]
}

fn rise(p: &[f64; 2], x: f64) -> CurvePoint<2> {
    let fade = (-p[1] * x).exp();
    CurvePoint { value: p[0] * (1.0 - fade), slopes: [1.0 - fade, p[0] * x * fade] }
}

fn slow_rise(p: &[f64; 2], x: f64) -> CurvePoint<2> {
    let base = 1.0 + p[1] * x / 2.0;
    let rise = 1.0 - base.powi(-2);
    CurvePoint { value: p[0] * rise, slopes: [rise, p[0] * x * base.powi(-3)] }
}

fn echo(p: &[f64; 3], x: f64) -> CurvePoint<3> {
    let below = p[1] + p[2] * x;
    let value = (-p[0] * x).exp() / below;
    CurvePoint { value, slopes: [-x * value, -value / below, -x * value / below] }
}

fn two_terms(p: &[f64; 5], x: f64) -> CurvePoint<5> {
    let (a, b) = ((-x * p[3]).exp(), (-x * p[4]).exp());
    CurvePoint { value: p[0] + p[1] * a + p[2] * b, slopes: [1.0, a, b, -x * p[1] * a, -x * p[2] * b] }
}

fn thermistor(p: &[f64; 3], x: f64) -> CurvePoint<3> {
    let shifted = x + p[2];
    let growth = (p[1] / shifted).exp();
    let value = p[0] * growth;
    CurvePoint { value, slopes: [growth, value / shifted, -value * p[1] / (shifted * shifted)] }
}

#[test]
fn nonlinear_sets_from_both_starts() {
    let fixture = toml("nist_strd_nonlinear.toml");
    for set in fixture["dataset"].as_array().unwrap() {
        for start in ["start1", "start2"] {
            let name = set["name"].as_str().unwrap();
            let [parameters, deviations, squares] = match name {
                "Misra1a" | "BoxBOD" => reached(set, start, rise),
                "Misra1b" => reached(set, start, slow_rise),
                "Chwirut2" => reached(set, start, echo),
                "MGH17" => reached(set, start, two_terms),
                "MGH10" => reached(set, start, thermistor),
                other => panic!("{other} has no curve here"),
            };
            println!(
                "{name:9} {start} parameters {parameters:4.1}  deviations {deviations:4.1}  squares {squares:4.1}"
            );
            assert!(PARAMETER_DIGITS <= parameters, "{name} {start}: {parameters}");
            assert!(DEVIATION_DIGITS <= deviations, "{name} {start}: {deviations}");
            assert!(PARAMETER_DIGITS <= squares, "{name} {start}: {squares}");
        }
    }
}

#[test]
fn linear_sets() {
    let fixture = toml("nist_strd_linear.toml");
    let [norris, pontius] = fixture["dataset"].as_array().unwrap().as_slice() else { panic!("two sets") };
    let line = straight_line(&numbers(&norris["x"]), &numbers(&norris["y"])).unwrap();
    let found = [
        line.intercept,
        line.slope,
        line.intercept_se,
        line.slope_se,
        line.residual_sd,
        line.r_squared.unwrap(),
    ];
    let fewest = compare("Norris, line", norris, &found, true);
    assert!(11.5 <= fewest, "{fewest}");

    let fit = fit_polynomial::<2>(&numbers(&norris["x"]), &numbers(&norris["y"])).unwrap();
    let fewest = compare("Norris", norris, &flat(&fit), false);
    assert!(11.5 <= fewest, "{fewest}");

    let fit = fit_polynomial::<3>(&numbers(&pontius["x"]), &numbers(&pontius["y"])).unwrap();
    let fewest = compare("Pontius", pontius, &flat(&fit), false);
    assert!(10.5 <= fewest, "{fewest}");
}

fn flat<const P: usize>(fit: &LeastSquares<P>) -> Vec<f64> {
    let errors = (0..P).map(|j| fit.standard_error(j).unwrap());
    fit.parameters.iter().copied().chain(errors).chain([fit.residual_sd]).collect()
}

fn compare(name: &str, set: &toml::Value, found: &[f64], with_r_squared: bool) -> f64 {
    let mut certified = numbers(&set["certified"]);
    certified.extend(numbers(&set["certified_sd"]));
    certified.push(number(&set["residual_sd"]));
    if with_r_squared {
        certified.push(number(&set["r_squared"]));
    }
    assert_eq!(certified.len(), found.len());
    let fewest = certified.iter().zip(found).map(|(c, f)| digits(*f, *c)).fold(15.0, f64::min);
    println!("{name}: {fewest:.1} digits");
    fewest
}
