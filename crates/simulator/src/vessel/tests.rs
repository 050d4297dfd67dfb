//! The vessel against handbook figures and published sums.

use plant::Family;
use proptest::prelude::*;

use super::*;
use crate::chocolate::SPECIFIC_HEAT;

/// No wall to speak of, no losses: what is thrown in is all that counts.
const THERMOS: Build = Build {
    wall_kj_per_k: 1e-6,
    exchange: 0.0,
    wall_loss: 0.0,
    surface_loss: 0.0,
    coolant: 0.0,
    stirrer_w: 0.0,
};

const REST: Drive = Drive {
    heater_w: 0.0,
    burst_w: 0.0,
    coolant_c: None,
    coolant_factor: 1.0,
    fan: 0.0,
    room_c: 20.0,
    stirred: true,
    exchange_factor: 1.0,
    surface_factor: 1.0,
    eager: 0.0,
};

fn dark() -> Substance {
    Substance::of(Family::Dark)
}

fn run(vessel: &mut Vessel, drive: &Drive, seconds: usize) {
    for _ in 0..seconds {
        vessel.step(1.0, drive);
    }
}

/// Where 10 kg land when `share` of the total is seed of 20 °C; `None` if some of it stays solid for good.
fn landing(melt_c: f64, share: f64) -> Option<f64> {
    let mut vessel = Vessel::new(dark(), THERMOS, 10.0 * (1.0 - share), melt_c, 0.0);
    vessel.add_pieces(10.0 * share, 20.0);
    run(&mut vessel, &REST, 4 * 3600);
    (vessel.pieces_kg() == 0.0 && vessel.crystals().total() < 1e-3).then(|| vessel.celsius())
}

#[test]
fn seed_lands_where_the_heat_balance_says() {
    // Beckett 2009 (1.6 kJ/(kg K), 46 kJ/kg), all seed melted, no vessel, shares of the total: rows that end above
    // 34 °C, where all of it can melt.
    for (melt_c, share, expected) in [
        (40.0, 0.10, 35.1),
        (42.0, 0.10, 36.9),
        (42.0, 0.15, 34.4),
        (45.0, 0.10, 39.6),
        (45.0, 0.15, 36.9),
        (45.0, 0.20, 34.2),
        (48.0, 0.20, 36.7),
        (50.0, 0.20, 38.2),
        (50.0, 0.25, 35.3),
    ] {
        let landed = landing(melt_c, share).expect("all of the seed melts above 34 °C");
        assert!((landed - expected).abs() < 0.06, "{melt_c} {share}: {landed} instead of {expected}");
    }
}

#[test]
fn too_much_seed_stays_solid_and_lands_higher_than_if_it_melted() {
    // The same sum for 45 °C and 30 % gives 28.9 °C: below 32.5 °C it means that part of the seed stays solid.
    let mut vessel = Vessel::new(dark(), THERMOS, 7.0, 45.0, 0.0);
    vessel.add_pieces(3.0, 20.0);
    run(&mut vessel, &REST, 1200);
    assert!(vessel.celsius() > 28.9 + 0.5, "{}", vessel.celsius());
    assert!(vessel.pieces_share() > 0.01 || vessel.crystals().stable > 0.005);
}

#[test]
fn liquid_mixing_is_the_plain_mean_of_heat() {
    // OpenStax, College Physics, 14.2: the final temperature is Σ m c T / Σ m c. 1/3 at 40 with 2/3 at 27: 31.3 °C.
    let mut vessel = Vessel::new(dark(), THERMOS, 2.0, 40.0, 0.0);
    vessel.pour(Parcel::new(dark(), 4.0, 27.0, 0.0));
    run(&mut vessel, &REST, 600);
    assert!((vessel.celsius() - 31.33).abs() < 0.01, "{}", vessel.celsius());
}

#[test]
fn a_hot_wall_and_a_cold_charge_meet_where_the_textbook_says() {
    // OpenStax, College Physics, 14.2, pouring cold water in a hot pan: 0.5 kg aluminium (900 J/(kg K)) at 150 °C and
    // 0.25 kg water (4186 J/(kg K)) at 20 °C end at 59.1 °C. Here with as much chocolate as has the water's heat capacity.
    let kg = 0.25 * 4.186 / SPECIFIC_HEAT;
    let build = Build { wall_kj_per_k: 0.5 * 0.9, exchange: 5.0, ..THERMOS };
    let mut vessel = Vessel::new(dark(), build, kg, 20.0, 0.0);
    vessel.wall_c = 150.0;
    run(&mut vessel, &REST, 3600);
    assert!((vessel.celsius() - 59.09).abs() < 0.05, "{}", vessel.celsius());
    assert!((vessel.wall_c - 59.09).abs() < 0.05, "{}", vessel.wall_c);
}

#[test]
fn coffee_cools_as_in_the_textbook() {
    // OpenStax, Calculus, Newton's law of cooling: 200 °F in a room of 70 °F, 180 °F after 2 min; 175 °F at 2.56 min and
    // 155 °F at 5.09 min. k = ln(130/110)/2 a minute.
    let celsius = |fahrenheit: f64| (fahrenheit - 32.0) / 1.8;
    let per_minute = (130.0f64 / 110.0).ln() / 2.0;
    let build = Build { surface_loss: SPECIFIC_HEAT * 1000.0 * per_minute / 60.0, ..THERMOS };
    let drive = Drive { room_c: celsius(70.0), ..REST };
    for (fahrenheit, expected_min) in [(180.0, 2.0), (175.0, 2.56), (155.0, 5.09)] {
        let mut vessel = Vessel::new(dark(), build, 1.0, celsius(200.0), 0.0);
        let mut seconds = 0.0;
        while vessel.celsius() > celsius(fahrenheit) {
            vessel.step(1.0, &drive);
            seconds += 1.0;
        }
        assert!((seconds / 60.0_f64 - expected_min).abs() < 0.05, "{fahrenheit} °F after {seconds} s");
    }
}

#[test]
fn all_of_a_seed_melted_costs_its_latent_heat() {
    // 8 kg at 45 °C and 2 kg at 20 °C: 40.0 °C without latent heat, lower by 2·46/(10·1.6) = 5.75 °C when it melts.
    assert!((landing(45.0, 0.2).unwrap() - (40.0 - 5.75)).abs() < 0.01);
}

#[test]
fn cooling_is_exponential_with_the_handbook_time_constant() {
    // Newton: T = Ta + (T0 − Ta)·exp(−t/τ) (OpenStax, Calculus, Newton's law of cooling), τ = m c/(U A).
    // 1 kg in still air of 20 °C with U·A 0.6 W/K: τ 44 min, 45 → 32 °C in 32 min.
    let build = Build { surface_loss: 0.6, ..THERMOS };
    let mut vessel = Vessel::new(dark(), build, 1.0, 45.0, 0.0);
    let tau_min = 1.0 * SPECIFIC_HEAT * 1000.0 / 0.6 / 60.0;
    assert!((tau_min - 44.4).abs() < 0.1);
    let mut minutes = 0.0;
    while vessel.celsius() > 32.0 {
        vessel.step(1.0, &REST);
        minutes += 1.0 / 60.0;
    }
    let expected = tau_min * (25.0f64 / 12.0).ln();
    assert!((minutes - expected).abs() < 0.4, "{minutes} instead of {expected}");
}

#[test]
fn heat_passes_through_the_wall_with_the_time_constant_of_a_jacket() {
    // 30 kg, jacket held at 20 °C, U 60 W/(m² K), 0.45 m²: τ 30 min, 45 → 32 °C in 22 min. The layer at the wall adds a
    // few per cent.
    let build = Build { exchange: 27.0, wall_kj_per_k: 1e9, ..THERMOS };
    let mut vessel = Vessel::new(dark(), build, 30.0, 45.0, 0.0);
    vessel.wall_c = 20.0;
    let mut minutes = 0.0;
    while vessel.celsius() > 32.0 {
        vessel.step(1.0, &REST);
        minutes += 1.0 / 60.0;
    }
    assert!((21.0..25.0).contains(&minutes), "{minutes}");
}

#[test]
fn power_cut_sets_a_small_machine_in_the_hours_that_the_sum_gives() {
    // 6 kg, 1.4 W/K, room 20 °C: 45 → 27 °C in about 2.4 h, then about 7 h of setting at 24–30 °C.
    let build = Build { surface_loss: 1.4, ..THERMOS };
    let mut vessel = Vessel::new(dark(), build, 6.0, 45.0, 0.0);
    let still = Drive { stirred: false, eager: 1.0, ..REST };
    let mut hours = 0.0;
    while vessel.celsius() > 27.0 {
        vessel.step(1.0, &still);
        hours += 1.0 / 3600.0;
    }
    assert!((2.0..3.0).contains(&hours), "{hours}");
    run(&mut vessel, &still, 3 * 3600);
    assert!((22.0..30.0).contains(&vessel.celsius()), "plateau at {}", vessel.celsius());
    run(&mut vessel, &still, 12 * 3600);
    assert!(vessel.crystals().total() > 0.5, "{:?}", vessel.crystals());
}

#[test]
fn a_stopped_stirrer_leaves_the_cold_at_the_wall_until_it_starts_again() {
    let build = Build { exchange: 27.0, wall_kj_per_k: 1e9, ..THERMOS };
    let mut vessel = Vessel::new(dark(), build, 30.0, 40.0, 0.0);
    vessel.wall_c = 20.0;
    run(&mut vessel, &Drive { stirred: false, ..REST }, 900);
    let before = vessel.celsius();
    run(&mut vessel, &REST, 60);
    let step = before - vessel.celsius();
    assert!((1.0..3.5).contains(&step), "{step}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    #[test]
    fn heat_is_kept_whatever_is_thrown_in(
        melt_c in 28.0..50.0f64, kg in 1.0..60.0f64, share in 0.01..0.5f64, seed_c in 5.0..25.0f64,
        wall_c in 10.0..60.0f64, exchange in 0.0..40.0f64,
    ) {
        let build = Build { exchange, wall_kj_per_k: 20.0, ..THERMOS };
        let mut vessel = Vessel::new(dark(), build, kg, melt_c, 0.0);
        vessel.wall_c = wall_c;
        vessel.add_pieces(kg * share, seed_c);
        let (heat, mass) = (vessel.heat(), vessel.kg());
        run(&mut vessel, &Drive { eager: 1.0, ..REST }, 1800);
        prop_assert!((vessel.heat() - heat).abs() < 1e-6 * heat.abs().max(1.0));
        prop_assert!((vessel.kg() - mass).abs() < 1e-9 * mass);
    }

    #[test]
    fn heat_put_in_is_heat_found(power in 0.0..3000.0f64, celsius in 20.0..45.0f64) {
        let build = Build { exchange: 20.0, wall_kj_per_k: 15.0, ..THERMOS };
        let mut vessel = Vessel::new(dark(), build, 20.0, celsius, dark().solid_share(celsius));
        let heat = vessel.heat();
        run(&mut vessel, &Drive { heater_w: power, ..REST }, 600);
        prop_assert!((vessel.heat() - heat - power * 0.6).abs() < 1e-6 * heat.abs().max(1.0) + 1e-6);
    }
}
