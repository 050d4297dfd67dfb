//! Sensors against IEC 60751 and the ITS-90 reference functions.

use maths::sensors::{
    Kind, PlatinumClass, pt100_celsius, pt100_ohm, pt100_tolerance, thermocouple_celsius,
    thermocouple_millivolt,
};

use crate::support::{csv, number, numbers, printed, toml};

/// IEC 60751 table as printed on public reference pages (two decimals), and the same function to six decimals.
#[test]
fn pt100_table() {
    let mut printed_rows = 0;
    for row in csv("pt100_iec60751.csv") {
        let celsius = row.number("t_C");
        let ohm = pt100_ohm(celsius).unwrap();
        printed(ohm, row.number("r_ohm_computed"), 6);
        if let Some(published) = row.maybe("r_ohm_published") {
            printed(ohm, published, 2);
            // Half a unit of the last printed ohm digit is 0.013 K.
            assert!((pt100_celsius(published).unwrap() - celsius).abs() < 0.0131);
            printed_rows += 1;
        }
        assert!((pt100_celsius(ohm).unwrap() - celsius).abs() < 1e-11);
        for (class, column) in [
            (PlatinumClass::AA, "tol_aa_K"),
            (PlatinumClass::A, "tol_a_K"),
            (PlatinumClass::B, "tol_b_K"),
            (PlatinumClass::C, "tol_c_K"),
        ] {
            printed(pt100_tolerance(class, celsius).unwrap(), row.number(column), 4);
        }
    }
    assert!(15 < printed_rows);
}

/// Tolerances of classes A and B as printed in the standard, in kelvin and in ohms.
#[test]
fn pt100_tolerances_as_printed() {
    let fixture = toml("pt100_iec60751.toml");
    for point in fixture["tolerance_published_points"].as_array().unwrap() {
        let celsius = number(&point["t_C"]);
        for (class, kelvin, ohm) in
            [(PlatinumClass::A, "class_a_K", "class_a_ohm"), (PlatinumClass::B, "class_b_K", "class_b_ohm")]
        {
            let tolerance = pt100_tolerance(class, celsius).unwrap();
            printed(tolerance, number(&point[kelvin]), 2);
            let slope = (pt100_ohm(celsius + 0.5).unwrap() - pt100_ohm(celsius - 0.5).unwrap()).abs();
            printed(tolerance * slope, number(&point[ohm]), 2);
        }
    }
}

fn kind(name: &str) -> Kind {
    match name {
        "K" => Kind::K,
        "T" => Kind::T,
        "J" => Kind::J,
        other => panic!("no type {other}"),
    }
}

/// Table points of NIST Monograph 175 (three decimals), and the reference functions as the package thermocouples_reference 0.20
/// computes them (six decimals). The two halves of type K meet at 0 °C to about a nanovolt, which is the 1e-7 K allowed on the
/// way back.
#[test]
fn thermocouple_tables() {
    for row in csv("thermocouples_its90.csv") {
        let (kind, celsius) = (kind(row.text("type")), row.number("t90_C"));
        let millivolt = thermocouple_millivolt(kind, celsius).unwrap();
        printed(millivolt, row.number("emf_mV_computed"), 6);
        if let Some(published) = row.maybe("emf_mV_published") {
            printed(millivolt, published, 3);
        }
        assert!((thermocouple_celsius(kind, millivolt, 0.0).unwrap() - celsius).abs() < 1e-7);
        let cold = thermocouple_millivolt(kind, 23.4).unwrap();
        assert!((thermocouple_celsius(kind, millivolt - cold, 23.4).unwrap() - celsius).abs() < 1e-7);
    }
}

/// The published inverse polynomials stay within their published error bounds of our inverse, over their whole range.
/// The bounds are printed to 0.01 K, and the polynomials use them up: half a unit is allowed.
#[test]
fn inverse_polynomials_agree_within_their_bounds() {
    let fixture = toml("thermocouples_its90.toml");
    for thermocouple in fixture["thermocouple"].as_array().unwrap() {
        let kind = kind(thermocouple["type"].as_str().unwrap());
        for inverse in thermocouple["inverse"].as_array().unwrap() {
            let range = numbers(&inverse["range_mV"]);
            let bounds = numbers(&inverse["error_bound_published_K"]);
            let coefficients = numbers(&inverse["coefficients"]);
            for i in 1..1_000 {
                let millivolt = range[0] + (range[1] - range[0]) * f64::from(i) / 1_000.0;
                let theirs = coefficients.iter().rev().fold(0.0, |sum, c| sum * millivolt + c);
                let off = theirs - thermocouple_celsius(kind, millivolt, 0.0).unwrap();
                assert!(
                    (bounds[0] - 0.005..=bounds[1] + 0.005).contains(&off),
                    "{kind:?} {millivolt}: {off}"
                );
            }
        }
    }
}
