//! Dew points and vapour pressures against three published sets of constants and the ASHRAE equations.

use maths::humidity::{Magnus, Sweating, absolute_humidity, demoulding, dew_point};

use crate::support::{csv, number, printed, toml};

/// Every row to four decimals; ASHRAE (psychrolib 2.5.0) within 0.03 K where it speaks of water.
#[test]
fn dew_point_table() {
    let mut worst: f64 = 0.0;
    for row in csv("dew_point.csv") {
        let (t, rh) = (row.number("t_C"), row.number("rh_percent"));
        printed(Magnus::WMO.dew_point(t, rh).unwrap(), row.number("td_wmo_C"), 4);
        printed(dew_point(t, rh).unwrap(), row.number("td_aerk_C"), 4);
        printed(Magnus::TETENS.dew_point(t, rh).unwrap(), row.number("td_tetens_C"), 4);
        if row.text("ashrae_phase") == "water" {
            worst = worst.max((dew_point(t, rh).unwrap() - row.number("td_ashrae_C")).abs());
        }
    }
    println!("dew point: at most {worst:.4} K from ASHRAE");
    assert!(worst < 0.03);
}

#[test]
fn saturation_table() {
    for row in csv("saturation_vapour_pressure.csv") {
        let t = row.number("t_C");
        for (magnus, column) in
            [(Magnus::WMO, "p_wmo_Pa"), (Magnus::AERK, "p_aerk_Pa"), (Magnus::TETENS, "p_tetens_Pa")]
        {
            printed(magnus.saturation_hpa(t).unwrap() * 100.0, row.number(column), 2);
        }
    }
}

/// ASHRAE Handbook Fundamentals 2017, chapter 1 table 3 (water rows): within the formula's stated 0.384 %.
#[test]
fn ashrae_saturation() {
    let fixture = toml("dew_point.toml");
    for point in fixture["ashrae_saturation_pressure"].as_array().unwrap() {
        if point["over"].as_str() == Some("water") {
            let ours = Magnus::AERK.saturation_hpa(number(&point["t_C"])).unwrap() * 100.0;
            assert!((ours / number(&point["p_Pa_published"]) - 1.0).abs() < 0.00384);
        }
    }
}

/// Dew points of a workroom, printed to 0.1 °C; worked for the trade from Alduchov & Eskridge.
#[test]
fn workroom_table() {
    let humidity = [40.0, 50.0, 55.0, 60.0, 65.0, 70.0, 80.0];
    let table = [
        (18.0, [4.2, 7.4, 8.8, 10.1, 11.3, 12.4, 14.5]),
        (20.0, [6.0, 9.3, 10.7, 12.0, 13.2, 14.4, 16.4]),
        (22.0, [7.8, 11.1, 12.5, 13.9, 15.1, 16.3, 18.4]),
        (24.0, [9.6, 12.9, 14.4, 15.8, 17.0, 18.2, 20.3]),
        (26.0, [11.4, 14.8, 16.3, 17.6, 18.9, 20.1, 22.3]),
    ];
    for (t, row) in table {
        for (rh, expected) in humidity.iter().zip(row) {
            printed(dew_point(t, *rh).unwrap(), expected, 1);
        }
    }
}

/// A piece at 14 °C is dry at 20 °C and 60 %, and sweats at 22 °C and 65 %.
#[test]
fn the_rule() {
    assert_eq!(demoulding(14.0, 20.0, 60.0, 1.5).unwrap().sweating, Sweating::Dry);
    assert_eq!(demoulding(14.0, 20.0, 65.0, 1.5).unwrap().sweating, Sweating::Close);
    assert_eq!(demoulding(14.0, 22.0, 65.0, 1.5).unwrap().sweating, Sweating::Sweats);
}

/// Saturated air holds 17.3 g/m³ at 20 °C and 30.4 at 30 °C (physics tables, from memory): within the formula's 0.384 % and half
/// a unit of the last printed digit.
#[test]
fn saturated_air() {
    for (t, table) in [(20.0, 17.3), (30.0, 30.4)] {
        assert!((absolute_humidity(t, 100.0).unwrap() - table).abs() < 0.00384 * table + 0.05);
    }
}
