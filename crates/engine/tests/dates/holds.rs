//! Where a hold begins and ends, and what a set-point dates of both ways.

use super::*;

/// A fall that ends at once in its hold, with noise of a tenth of a degree read every thirty seconds: five minutes of it show no slope, and ten do only
/// when they have left the fall behind. Of a hundred days a tenth may be a minute off.
#[test]
fn a_hold_is_dated_through_noise_by_the_way_into_it() {
    let working = |noise: f64, seed: u64| {
        let chocolate = |minute: f64| {
            let charge = match minute {
                m if m < 30.0 => 46.0,
                m => (20.0 + 26.0 * (-(m - 30.0) / 40.0).exp()).max(31.5),
            };
            ((charge + noise * flicker(seed, minute)) * 100.0).round() / 100.0
        };
        let channels: [(Channel, &dyn Fn(f64) -> f64); 1] = [(Channel::Chocolate, &chocolate)];
        begin_of(Phase::Working, &begins_read_every(30, 120, &channels, |_| true))
    };
    let plain = working(0.0, 1);
    let noisy = (1..=100).map(|seed| working(0.1, seed));
    let off: Vec<f64> = noisy.filter(|working| (working - plain).abs() > 1.0).collect();
    assert!(off.len() <= 10, "{} of a hundred, {plain} without noise: {off:?}", off.len());
}

/// Chocolate every ten seconds; the set-point is told every five minutes, a minute after the charge has begun to rise, and again to fall.
#[test]
fn a_set_point_that_is_told_every_five_minutes_dates_nothing() {
    let charge = |minute: f64| match minute {
        m if m < 60.0 => 22.0,
        m if m < 120.0 => 22.0 + 0.4 * (m - 60.0),
        m if m < 180.0 => 46.0,
        m => (46.0 - 0.5 * (m - 180.0)).max(31.5),
    };
    let setpoint = |minute: f64| if (60.0..180.0).contains(&minute) { 46.0 } else { 31.5 };
    let told = |minute: f64| (minute - 4.0).rem_euclid(5.0) < 0.01;
    let first = std::iter::once((0, Channel::Setpoint, 20.0));
    let read = (0..260 * 60).step_by(10).flat_map(|second| {
        let minute = second as f64 / 60.0;
        let setpoint = told(minute).then(|| (second, Channel::Setpoint, setpoint(minute)));
        std::iter::once((second, Channel::Chocolate, charge(minute))).chain(setpoint)
    });
    let batch = last_batch_of(first.chain(read));
    let (melting, cooling) = (begin_in(&batch, Phase::Melting), begin_in(&batch, Phase::Cooling));
    assert!((58.5..61.5).contains(&melting), "{melting}");
    assert!((179.5..181.0).contains(&cooling), "{cooling}");
}

/// From minute 131 on it is below 26 °C. A display that goes on asking for 31.5 °C may be that of a machine that the power has left: for as long as
/// nobody turns it down the charge is one that sets in the machine, and that has to be told.
#[test]
fn a_charge_that_is_cold_for_an_hour_is_idle_unless_it_is_asked_to_work() {
    let chocolate = |minute: f64| match minute {
        m if m < 14.0 => 39.0 + 0.5 * m,
        m if m < 120.0 => (46.0 - 0.7 * (m - 40.0).max(0.0)).max(31.5),
        m => (31.5 - 0.5 * (m - 120.0)).max(20.0),
    };
    let setpoint = |minute: f64| if minute < 40.0 { 46.0 } else { 31.5 };
    let asked: [(Channel, &dyn Fn(f64) -> f64); 2] =
        [(Channel::Chocolate, &chocolate), (Channel::Setpoint, &setpoint)];
    let end = |channels, minutes| last_batch(30, minutes, channels, |_| true).end;
    assert_eq!(end(&asked, 300), None);
    assert_eq!(end(&asked[..1], 185), None, "an hour is not over");
    let idle = (end(&asked[..1], 200).expect("idle") - at(0)).as_mins_f64();
    assert!((idle - 131.0).abs() < 1.0, "{idle}");
}
