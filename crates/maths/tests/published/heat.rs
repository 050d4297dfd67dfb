//! The heat balance against textbook examples and against the trade's own tables.

use maths::heat::{
    Addition, Chocolate, Landing, Part, STEEL_KJ_PER_KG_K, Share, mix, rise_from_crystallising,
    vessel_for_each_kg,
};

use crate::support::{number, printed, toml};

/// OpenStax, College Physics 14.2: cold water in a hot pan; 14.3: ice in soda, which is an addition that melts, with its latent
/// heat in the place of the chocolate's.
#[test]
fn openstax_mixtures() {
    let fixture = toml("newton_cooling_heat_balance.toml");
    let balances = fixture["heat_balance"].as_array().unwrap();
    let named = |name: &str| balances.iter().find(|b| b["name"].as_str() == Some(name)).unwrap();

    let pan = named("water_in_hot_pan");
    let parts: Vec<Part> = pan["parts"]
        .as_array()
        .unwrap()
        .iter()
        .map(|part| Part {
            mass_kg: number(&part["mass_kg"]),
            specific: number(&part["c_J_per_kgK"]),
            celsius: number(&part["T_C"]),
        })
        .collect();
    let end = mix(&parts).unwrap();
    printed(end, number(&pan["T_final_published_C"]), 1);
    assert!((end - number(&pan["T_final_computed_C"])).abs() < 1e-12);

    let soda = named("ice_in_soda");
    let water = Chocolate {
        specific_kj_per_kg_k: number(&soda["c_J_per_kgK"]) / 1e3,
        latent_kj_per_kg: number(&soda["latent_heat_J_per_kg"]) / 1e3,
    };
    let addition = Addition {
        melt_c: number(&soda["soda_C"]),
        added_c: number(&soda["ice_C"]),
        vessel_kj_per_kg_k: 0.0,
    };
    let share = Share::of_masses(number(&soda["soda_kg"]), number(&soda["ice_kg"])).unwrap();
    let end = addition.end_c(&water, share, 1.0).unwrap();
    assert!((end - number(&soda["T_final_computed_C"])).abs() < 1e-12);
    // The book rounds 13.3 to 13.
    printed(end, number(&soda["T_final_published_C"]), 0);

    let made_up = named("seed_mixing_made_up");
    let liquid = Chocolate { specific_kj_per_kg_k: 1.67, latent_kj_per_kg: 46.0 };
    let addition = Addition { melt_c: 45.0, added_c: 20.0, vessel_kj_per_kg_k: 0.0 };
    let Landing { all_melted_c, none_melted_c } = addition.landing(&liquid, Share::OfTotal(0.2)).unwrap();
    assert!((none_melted_c - number(&made_up["T_no_latent_C"])).abs() < 1e-12);
    assert!((all_melted_c - number(&made_up["T_all_melted_C"])).abs() < 1e-12);
}

/// Landing temperatures of dark chocolate, seed at 20 °C, all of it melted, by share of the total. Worked by hand for the trade
/// from the balance above with c = 1.6 and L = 46 (Beckett 2009); printed to 0.1 °C.
#[test]
fn landing_table() {
    let shares = [0.10, 0.15, 0.20, 0.25, 0.30, 0.33];
    let table = [
        (40.0, [35.1, 32.7, 30.2, 27.8, 25.4, 23.9]),
        (42.0, [36.9, 34.4, 31.9, 29.3, 26.8, 25.3]),
        (45.0, [39.6, 36.9, 34.2, 31.6, 28.9, 27.3]),
        (48.0, [42.3, 39.5, 36.7, 33.8, 31.0, 29.3]),
        (50.0, [44.1, 41.2, 38.2, 35.3, 32.4, 30.6]),
    ];
    for (melt_c, row) in table {
        let addition = Addition { melt_c, added_c: 20.0, vessel_kj_per_kg_k: 0.0 };
        for (share, expected) in shares.iter().zip(row) {
            let end = addition.end_c(&Chocolate::DARK, Share::OfTotal(*share), 1.0).unwrap();
            // Several entries lie within rounding of half a tenth; a hair more than half a unit is allowed.
            assert!((end - expected).abs() < 0.0501, "{melt_c} {share}: {end} {expected}");
        }
    }
}

/// 6 kg with 1.5 kg of seed, the usual "quarter" (common practice, no source), in its two meanings.
#[test]
fn six_kilograms_and_a_quarter() {
    let bare = Addition { melt_c: 45.0, added_c: 20.0, vessel_kj_per_kg_k: 0.0 };
    let quarter_of_melt = Share::of_masses(6.0, 1.5).unwrap();
    let Landing { all_melted_c, none_melted_c } = bare.landing(&Chocolate::DARK, quarter_of_melt).unwrap();
    printed(all_melted_c, 34.25, 2);
    printed(none_melted_c, 40.0, 1);
    let bowl =
        Addition { vessel_kj_per_kg_k: vessel_for_each_kg(3.0, STEEL_KJ_PER_KG_K, 6.0).unwrap(), ..bare };
    printed(bowl.end_c(&Chocolate::DARK, quarter_of_melt, 1.0).unwrap(), 35.4, 1);

    let quarter_of_total = Share::OfTotal(0.25);
    printed(bare.end_c(&Chocolate::DARK, quarter_of_total, 1.0).unwrap(), 31.6, 1);
    let bowl =
        Addition { vessel_kj_per_kg_k: vessel_for_each_kg(3.0, STEEL_KJ_PER_KG_K, 4.5).unwrap(), ..bare };
    printed(bowl.end_c(&Chocolate::DARK, quarter_of_total, 1.0).unwrap(), 33.4, 1);

    let milk = Addition { melt_c: 42.0, ..bare };
    printed(milk.end_c(&Chocolate::MILK, quarter_of_melt, 1.0).unwrap(), 32.1, 1);

    // Landing at 32 from 45 takes 24 % of the total; at 34.5 about 7 %.
    let needed = |melt_c: f64| {
        Addition { melt_c, ..bare }.share_to_land_at(&Chocolate::DARK, 32.0, 1.0).unwrap().of_total().unwrap()
    };
    printed(needed(45.0), 0.24, 2);
    assert!((0.05..0.08).contains(&needed(34.5)));
}

/// Top-up rules: 5 % of cold solid, 5 and 10 % of warm liquid, and one per cent of seed at 34 °C.
#[test]
fn top_up_rules() {
    let change = |from: f64, added_c: f64, share: f64, melted: f64| {
        let addition = Addition { melt_c: from, added_c, vessel_kj_per_kg_k: 0.0 };
        addition.end_c(&Chocolate::DARK, Share::OfTotal(share), melted).unwrap() - from
    };
    printed(change(31.5, 20.0, 0.05, 0.0), -0.6, 1);
    printed(change(31.5, 20.0, 0.05, 1.0), -2.0, 1);
    printed(change(31.0, 40.0, 0.05, 0.0), 0.45, 2);
    printed(change(31.0, 40.0, 0.10, 0.0), 0.9, 1);
    printed(change(34.0, 20.0, 0.01, 0.0), -0.14, 2);
    printed(change(34.0, 20.0, 0.01, 1.0), -0.43, 2);
    assert!((1.0 - Share::OfTotal(0.05).of_total().unwrap() - 0.95).abs() < 1e-12);
}

/// One per cent of the fat (33 to 36 % of the chocolate) gives 0.32 to 0.35 °C.
#[test]
fn heat_of_crystallising() {
    printed(rise_from_crystallising(0.33, 0.01, 1.6).unwrap(), 0.32, 2);
    printed(rise_from_crystallising(0.36, 0.01, 1.6).unwrap(), 0.35, 2);
}
