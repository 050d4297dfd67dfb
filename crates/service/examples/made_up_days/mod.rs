//! Made-up days of a large works, the same each time.

use model::Channel;

/// 2026-03-01T00:00:00Z.
pub(crate) const START: i64 = 1_772_323_200_000;
pub(crate) const DAY: i64 = 86_400;

/// When a machine is read in a second, milliseconds.
pub(crate) fn read_at(second: i64, machine: i64) -> i64 {
    START + second * 1000 + machine * 13 % 1000
}

/// What a channel of a machine shows then, in thousandths; hundredths, with noise.
pub(crate) fn thousandths(channel: Channel, second: i64, machine: i64) -> i32 {
    let noise = noise(second * 7 + channel.index() as i64, machine);
    let chocolate = chocolate((second + machine * 311) % DAY);
    let value = match channel {
        Channel::Chocolate => chocolate + 0.05 * noise,
        Channel::Jacket => chocolate + 1.0 + 0.1 * noise,
        Channel::Room => 21.0 + 0.05 * noise,
        Channel::Humidity => 50.0 + 0.2 * noise,
        Channel::Setpoint | Channel::Stirrer | Channel::Motor => 4.2 + 0.05 * noise,
    };
    (value * 100.0).round() as i32 * 10
}

/// A kettle's day: melting from midnight, soak, cooling in 75 min from five, working until the next midnight.
fn chocolate(second: i64) -> f64 {
    let hours = second as f64 / 3600.0;
    match hours {
        _ if hours < 0.5 => 31.5 + 29.0 * hours,
        _ if hours < 5.0 => 46.0,
        _ if hours < 6.25 => 25.0 + 21.0 * (-(hours - 5.0) / 1.066).exp(),
        _ => 31.5,
    }
}

/// Between -0.5 and 0.5, the same each time.
fn noise(a: i64, b: i64) -> f64 {
    let mixed = (a as u64 ^ (b as u64) << 40).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    (mixed >> 40) as f64 / (1u64 << 24) as f64 - 0.5
}
