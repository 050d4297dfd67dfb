//! Where a melt begins, and what is none.

use super::*;

/// A cold charge warms with its room by a degree in half an hour, from the first reading on, before somebody heats it.
#[test]
fn a_cold_charge_that_drifts_is_not_melting_yet() {
    let chocolate = |minute: f64| match minute {
        m if m < 35.0 => 19.0 + 1.0 * (1.0 - (-m / 10.0).exp()),
        m => (20.0 + 0.4 * (m - 35.0)).min(46.0),
    };
    let melting = begins_by_chocolate(Phase::Melting, 120, chocolate);
    assert!((melting - 35.0).abs() < 2.0, "{melting}");
}

/// Held at 31.5 °C by a probe that is read once a minute and flickers by a tenth; a quarter of an hour before it is melted again at minute 240, one
/// reading is three tenths too cold and the next but one as much too warm.
#[test]
fn one_warm_reading_of_a_flickering_logger_is_no_rise() {
    let flicker = [0.1, -0.12, 0.03, 0.09, -0.07, -0.09, 0.06];
    let chocolate = |minute: f64| {
        let charge = match minute {
            m if m < 14.0 => 39.0 + 0.5 * m,
            m if m < 240.0 => (46.0 - 0.5 * (m - 40.0).max(0.0)).max(31.5),
            m => (31.5 + 0.5 * (m - 240.0)).min(46.0),
        };
        charge
            + match minute as usize {
                226 => -0.35,
                228 => 0.3,
                other => flicker[other % 7],
            }
    };
    let begins = begins_read_every(60, 280, &[(Channel::Chocolate, &chocolate)], |_| true);
    let melting = begin_of(Phase::Melting, &begins);
    assert!((melting - 240.0).abs() < 2.0, "{melting}");
}

/// A top-up takes it down by half a degree at minute 120, which is a step of its display; it has come back when its probe falls out at minute 125, and
/// is heard of again half a minute after somebody asked for a melt at minute 240.
#[test]
fn what_was_not_heard_before_somebody_asked_for_a_melt_is_the_hold() {
    let charge = |minute: f64| match minute {
        m if m < 14.0 => 39.0 + 0.5 * m,
        m if m < 118.0 => (46.0 - 0.5 * (m - 40.0).max(0.0)).max(31.5),
        m if m < 240.0 => 31.5 - 0.5 * (-(m - 121.0).powi(2)).exp(),
        m => (31.5 + 0.8 * (m - 240.0)).min(46.0),
    };
    let chocolate = |minute: f64| (charge(minute) * 2.0).round() / 2.0;
    let setpoint = |minute: f64| match minute {
        m if m < 40.0 => 46.0,
        m if m < 240.0 => 31.5,
        _ => 46.0,
    };
    let channels: [(Channel, &dyn Fn(f64) -> f64); 2] =
        [(Channel::Chocolate, &chocolate), (Channel::Setpoint, &setpoint)];
    let begins = begins(270, &channels, |minute| !(125.0..240.5).contains(&minute));
    let melting = begin_of(Phase::Melting, &begins);
    assert!((melting - 240.0).abs() < 2.0, "{begins:?}");
}

/// The power fails in the soak at minute 100; the charge cools to 24.8 °C and is melted again from minute 280 on. Nobody tells anything.
#[test]
fn a_charge_that_has_set_is_melted_again_from_its_lowest_point() {
    let chocolate = |minute: f64| match minute {
        m if m < 14.0 => 39.0 + 0.5 * m,
        m if m < 100.0 => 46.0,
        m if m < 280.0 => 20.0 + 26.0 * (-(m - 100.0) / 106.3).exp(),
        m => (24.78 + 0.35 * (m - 280.0)).min(46.0),
    };
    let begins = begins(400, &[(Channel::Chocolate, &chocolate)], |_| true);
    assert!((begin_of(Phase::Melting, &begins) - 280.0).abs() < 2.0, "{begins:?}");
}

/// Out of idle, the rise begins softly and grows flatter; the jacket is told every five minutes, or the set-point ten minutes before.
#[test]
fn a_smooth_rise_is_dated_by_the_chocolate() {
    let charge = |minute: f64| {
        let since = (minute - 60.0).max(0.0);
        let warmed = since - 2.0 * (1.0 - (-since / 2.0).exp());
        (22.0 + 34.0 * (1.0 - (-warmed / 45.0).exp())).min(46.0)
    };
    // A tenth of a degree above the level.
    let true_foot = 60.8;
    let jacket = |minute: f64| if minute < 58.0 { 22.0 } else { (22.0 + 3.0 * (minute - 58.0)).min(58.0) };
    let told = |minute: f64| jacket((minute / 5.0).floor() * 5.0);
    let beside_jacket: [(Channel, &dyn Fn(f64) -> f64); 2] =
        [(Channel::Chocolate, &charge), (Channel::Jacket, &told)];
    let asked = |minute: f64| if minute < 50.0 { 20.0 } else { 46.0 };
    let asked_before: [(Channel, &dyn Fn(f64) -> f64); 2] =
        [(Channel::Chocolate, &charge), (Channel::Setpoint, &asked)];
    for channels in [&beside_jacket, &asked_before] {
        let melting = begin_of(Phase::Melting, &begins_read_every(10, 200, channels, |_| true));
        assert!((melting - true_foot).abs() < 2.0, "{melting}, truly {true_foot}");
    }
}

/// It holds for eleven minutes only, at a few tenths more than where it had landed before; then it is melted again.
#[test]
fn a_rise_does_not_begin_before_the_hold_that_it_leaves() {
    let chocolate = |minute: f64| match minute {
        m if m < 14.0 => 39.0 + 0.5 * m,
        m if m < 63.0 => (46.0 - 0.7 * (m - 40.0).max(0.0)).max(30.6),
        m if m < 69.0 => 30.6 + 0.12 * (m - 63.0),
        m if m < 81.0 => 31.32,
        m => 31.32 + 0.4 * (m - 81.0).min(36.0),
    };
    let melting = begins_by_chocolate(Phase::Melting, 160, chocolate);
    assert!((melting - 81.0).abs() < 2.0, "{melting}");
}

/// A door is open from minute 120 to 130 and makes the charge nine tenths colder for a quarter of an hour; it is melted from minute 148 on.
#[test]
fn a_rise_does_not_begin_with_a_door_that_was_open_before() {
    let day = |minute: f64| match minute {
        m if m < 14.0 => 39.0 + 0.5 * m,
        m => (46.0 - 0.7 * (m - 40.0).max(0.0)).max(31.5),
    };
    let door = |minute: f64| match minute {
        m if m < 120.0 => 0.0,
        m if m < 130.0 => 0.09 * (m - 120.0),
        m => 0.9 * (-(m - 130.0) / 3.0).exp(),
    };
    let chocolate = |minute: f64| day(minute) - door(minute) + 0.4 * (minute - 148.0).clamp(0.0, 36.0);
    let melting = begins_by_chocolate(Phase::Melting, 220, chocolate);
    assert!((melting - 148.0).abs() < 2.0, "{melting}");
}

/// The set-point is told every two minutes, and between them when it is raised, at minute 120.5; the charge has begun to come back from a little
/// colder by then, and rises in earnest half a minute later.
#[test]
fn a_rise_that_was_asked_for_does_not_begin_before() {
    let charge = |minute: f64| match minute {
        m if m < 14.0 => 39.0 + 0.5 * m,
        m if m < 115.0 => (46.0 - 0.7 * (m - 40.0).max(0.0)).max(31.3),
        m => 31.3 + 0.02 * (m - 115.0) + 0.4 * (m - 121.0).clamp(0.0, 37.0),
    };
    let setpoint = |minute: f64| if (40.0..120.5).contains(&minute) { 31.5 } else { 46.0 };
    let mut analyst = Analyst::new(Arc::new(plant::parse_plant(PLANT).expect("a plant")));
    let mut push = |second: i64, channel, value| {
        let reading = Reading { machine: "alder".parse().expect("an id"), channel, at: at(second), value };
        let content = Content::Reading(reading);
        analyst.push(&Arrival { arrived: at(second), retained: false, content });
    };
    for second in (0..180 * 60).step_by(10) {
        let minute = second as f64 / 60.0;
        push(second, Channel::Chocolate, Some(charge(minute)));
        if second % 120 == 0 || second == 120 * 60 + 30 {
            push(second, Channel::Setpoint, Some(setpoint(minute)));
        }
    }
    let batch =
        analyst.finish().expect("fits into memory").machines.swap_remove(0).batches.pop().expect("a batch");
    let melting = batch.first(Phase::Melting).map(|span| (span.from - at(0)).as_mins_f64()).expect("melts");
    assert!((120.4..122.0).contains(&melting), "{melting}");
}

/// Out of a cold level at 2.6 °C/min at once, of which two degrees are a handful of readings: a probe shows it late by no more than it takes to rise.
#[test]
fn a_brisk_rise_is_dated_where_it_begins() {
    for (every, noise) in [(5, 0.02), (10, 0.1), (30, 0.05), (60, 0.05)] {
        let off = |seed: u64| {
            let chocolate = |minute: f64| {
                let charge = (21.0 + 2.6 * (minute - 120.0).max(0.0)).min(46.0);
                ((charge + noise * flicker(seed, minute)) * 100.0).round() / 100.0
            };
            let channels: [(Channel, &dyn Fn(f64) -> f64); 1] = [(Channel::Chocolate, &chocolate)];
            begin_of(Phase::Melting, &begins_read_every(every, 180, &channels, |_| true)) - 120.0
        };
        let off: Vec<f64> = (1..=20).map(off).filter(|off| !(-0.8..=0.5).contains(off)).collect();
        assert_eq!(off, [0.0; 0], "every {every} s");
    }
}

/// Worked at 31.5 °C, refilled with cold pieces at minute 240 and heated from then on: it wanders by a degree for half an hour and rises steadily from
/// there. Only the jacket, or the set-point, tells that it was one rise.
#[test]
fn a_charge_that_is_refilled_and_heated_rises_from_where_it_came_to_stand() {
    let chocolate = |minute: f64| match minute {
        m if m < 14.0 => 39.0 + 0.5 * m,
        m if m < 240.0 => (46.0 - 0.5 * (m - 40.0).max(0.0)).max(31.5),
        m if m < 242.0 => 31.5 - 1.5 * (m - 240.0),
        m if m < 272.0 => 29.0 - 0.5 * ((m - 242.0) / 10.0 * std::f64::consts::TAU / 2.0).cos(),
        m => (29.5 + 0.3 * (m - 272.0)).min(46.0),
    };
    let jacket = |minute: f64| match minute {
        m if m < 40.0 => 50.0,
        m if m < 240.0 => 29.0,
        m => (29.0 + 1.5 * (m - 240.0)).min(54.0),
    };
    let setpoint = |minute: f64| if (40.0..241.0).contains(&minute) { 31.5 } else { 46.0 };
    let others: [(Channel, &dyn Fn(f64) -> f64); 2] =
        [(Channel::Jacket, &jacket), (Channel::Setpoint, &setpoint)];
    for other in others {
        let batch = begins(340, &[(Channel::Chocolate, &chocolate), other], |_| true);
        let melting = begin_of(Phase::Melting, &batch);
        assert!((melting - 242.0).abs() < 2.0, "{} {batch:?}", other.0);
    }
}
