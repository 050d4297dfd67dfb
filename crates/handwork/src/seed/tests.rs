//! The sums held against worked numbers of the trade, a ledger of heat, and any input.

use expect_test::{Expect, expect};
use proptest::prelude::*;

use super::*;
use crate::vessel::Material;

fn dark(mass: Mass, amount: Amount) -> Seed {
    let limits = Family::Dark.default_limits();
    Seed { family: Family::Dark, limits, mass, melt_c: 45.0, seed_c: 20.0, amount, vessel: None }
}

const BOWL: Option<Vessel> = Some(Vessel { mass_kg: 3.0, material: Material::Steel });

/// The trade's worked numbers: 6 kg of dark at 45 °C and 1.5 kg of drops at 20 °C, the two meanings of a quarter, each with and
/// without a steel bowl of 3 kg; milk from 42 °C. Printed to 0.1 °C there.
#[test]
fn six_kilograms_and_a_quarter() {
    let ends = |seed: Seed| {
        let answer = seed.answer().unwrap();
        ((answer.all_melted_c * 10.0).round() / 10.0, (answer.none_melted_c * 10.0).round() / 10.0)
    };
    let of_melt = dark(Mass::Melt(6.0), Amount::OfMelt(0.25));
    assert_eq!(ends(of_melt), (34.3, 40.0));
    assert_eq!(ends(Seed { vessel: BOWL, ..of_melt }).0, 35.4);
    let of_total = dark(Mass::Total(6.0), Amount::OfTotal(0.25));
    assert_eq!(ends(of_total).0, 31.6);
    assert_eq!(ends(Seed { vessel: BOWL, ..of_total }).0, 33.4);
    let masses = of_total.answer().unwrap();
    assert_eq!((masses.melt_kg, masses.seed_kg), (4.5, 1.5));
    let milk = Seed { family: Family::Milk, limits: Family::Milk.default_limits(), melt_c: 42.0, ..of_melt };
    assert_eq!(ends(milk).0, 32.1);
    assert_eq!(of_melt.answer().unwrap(), dark(Mass::Melt(6.0), Amount::Kilograms(1.5)).answer().unwrap());
}

/// By hand, as a ledger of heat and not by the formula, with the constants of Beckett 2009 (1.6 kJ/(kg K), 46 kJ/kg): what melt and
/// bowl give off between 45 °C and the end, the seed takes up between 20 °C and the end and in melting. For 6 kg, 1.5 kg and no bowl
/// at 34.25 °C: 6·1.6·10.75 = 103.2 kJ; 1.5·1.6·14.25 + 1.5·46 = 34.2 + 69.0 = 103.2 kJ. The same way of reckoning as OpenStax,
/// College Physics 14.3, example "ice in soda".
#[test]
fn what_is_given_is_taken() {
    let bare = dark(Mass::Melt(6.0), Amount::Kilograms(1.5)).answer().unwrap();
    assert!((bare.all_melted_c - 34.25).abs() < 1e-9);
    let with_bowl = Seed { vessel: BOWL, ..dark(Mass::Melt(6.0), Amount::Kilograms(1.5)) }.answer().unwrap();
    for (end_c, melted) in [(with_bowl.all_melted_c, 1.5), (with_bowl.none_melted_c, 0.0)] {
        let given = 6.0 * 1.6 * (45.0 - end_c) + 3.0 * 0.5 * (45.0 - end_c);
        let taken = 1.5 * 1.6 * (end_c - 20.0) + melted * 46.0;
        assert!((given - taken).abs() < 1e-9, "{given} {taken}");
    }
}

/// Landing at 32 °C from 45 °C takes 24 % of the total (the trade's worked number).
#[test]
fn how_much_to_land_there() {
    let answer = dark(Mass::Melt(6.0), Amount::ToLandAt(32.0)).answer().unwrap();
    assert_eq!((answer.of_total * 100.0).round(), 24.0);
    assert!((answer.all_melted_c - 32.0).abs() < 1e-9);
    let total = Seed { vessel: BOWL, ..dark(Mass::Total(6.0), Amount::ToLandAt(32.0)) }.answer().unwrap();
    assert!((total.all_melted_c - 32.0).abs() < 1e-6 && (total.melt_kg + total.seed_kg - 6.0).abs() < 1e-6);
}

#[expect(clippy::needless_pass_by_value, reason = "an expectation reads best as the last argument")]
fn check(seed: Seed, expected: Expect) {
    expected.assert_eq(&seed.answer().map_or_else(|refusal| refusal.to_string(), |answer| answer.says));
}

#[test]
fn what_it_means() {
    check(
        dark(Mass::Melt(6.0), Amount::OfMelt(0.25)),
        expect![
            "All of the seed melts and nothing is left over to seed with: even then the mass is at 34.3 °C, above the working range 31.0–32.0 °C by 2.3 °C. Let the melt cool first, or add more."
        ],
    );
    check(
        dark(Mass::Melt(6.0), Amount::ToLandAt(33.0)),
        expect![
            "Even if all of it melts the mass is at 33.0 °C, above the working range 31.0–32.0 °C by 1.0 °C: until it has cooled there, few crystals are left. Let the melt cool first, or add more."
        ],
    );
    check(
        dark(Mass::Melt(6.0), Amount::ToLandAt(32.0)),
        expect![
            "It can land in the working range 31.0–32.0 °C, but for that all of the seed melts and nothing is left over to seed with. Let the melt cool first, or add more."
        ],
    );
    check(
        dark(Mass::Melt(6.0), Amount::ToLandAt(34.0)),
        expect![
            "All of the seed melts and nothing is left over to seed with: even then the mass is at 34.0 °C, above the working range 31.0–32.0 °C by 2.0 °C. Let the melt cool first, or add more."
        ],
    );
    check(
        dark(Mass::Total(6.0), Amount::OfTotal(0.25)),
        expect![
            "It can land in the working range 31.0–32.0 °C: at 32.0 °C 94 % of the seed has melted, and what is left over carries crystals; at 31.6 °C all of it has melted, and nothing is left over to seed with. Stir, measure, and lift out lumps that stay."
        ],
    );
    check(
        dark(Mass::Melt(1.0), Amount::Kilograms(1.4)),
        expect![
            "Even if none of it melts the mass is at 30.4 °C, below the working range 31.0–32.0 °C: it sets before it is mixed. Take less seed, or a warmer melt."
        ],
    );
}

#[test]
fn what_makes_no_sense() {
    let quarter = dark(Mass::Melt(6.0), Amount::OfMelt(0.25));
    check(
        Seed { melt_c: 60.0, ..quarter },
        expect![
            "A melt at 60.0 °C is above the scorch limit 55.0 °C of dark: take it off the heat and let somebody judge it before anything is added."
        ],
    );
    check(
        Seed { melt_c: 31.0, ..quarter },
        expect!["At 31.0 °C dark is not melted: from 32.5 °C on this sum holds."],
    );
    check(Seed { melt_c: f64::NAN, ..quarter }, expect!["The temperature of the melt is not a number."]);
    check(
        Seed { seed_c: 34.0, ..quarter },
        expect![
            "Seed at 34.0 °C has reached the temper-loss limit 33.5 °C of dark: it carries no crystals that can be trusted. Take some that was kept cool."
        ],
    );
    check(Seed { seed_c: -300.0, ..quarter }, expect!["Seed at -300 °C is colder than anything in a works."]);
    check(
        Seed { mass: Mass::Melt(0.0), ..quarter },
        expect!["The melt is 0 kg; it should be above zero and at most 100000 kg."],
    );
    check(
        dark(Mass::Melt(6.0), Amount::OfTotal(1.0)),
        expect!["A share of the total should be above zero and below 100%, such as 20%."],
    );
    check(
        dark(Mass::Melt(6.0), Amount::OfMelt(-0.1)),
        expect!["A share of the melt should be above zero, such as 25%."],
    );
    check(
        dark(Mass::Total(1.0), Amount::Kilograms(1.5)),
        expect!["1.5 kg of seed leave no melt in a total of 1 kg."],
    );
    check(
        dark(Mass::Melt(6.0), Amount::ToLandAt(46.0)),
        expect![
            "46.0 °C does not lie between seed at 20.0 °C and melt at 45.0 °C; no amount of seed lands there."
        ],
    );
    check(
        dark(Mass::Melt(0.1), Amount::Kilograms(5.0)),
        expect!["That would be 50.0 kg of seed for each kg of melt; look at the masses again."],
    );
    check(
        Seed { vessel: Some(Vessel { mass_kg: 0.0, material: Material::Steel }), ..quarter },
        expect!["The vessel is 0 kg; it should be above zero and at most 100000 kg."],
    );
}

#[test]
fn a_share_is_written_so_that_it_cannot_be_misread() {
    assert_eq!(share_of_text("25%"), Ok(0.25));
    assert_eq!(share_of_text("12,5 %"), Ok(0.125));
    assert_eq!(share_of_text("0.25"), Ok(0.25));
    assert_eq!(
        share_of_text("25").unwrap_err().to_string(),
        "25 could be a share or per cent; write 25% or 0.25."
    );
    assert_eq!(share_of_text("much").unwrap_err().to_string(), "`much` is not a share; write 25% or 0.25.");
}

proptest! {
    /// Whatever is typed: an answer with its ends in order, or a sentence; never a panic and never NaN.
    #[test]
    fn any_input(
        kg in proptest::num::f64::ANY, melt_c in proptest::num::f64::ANY, seed_c in proptest::num::f64::ANY,
        amount in proptest::num::f64::ANY, which in 0..4,
    ) {
        let amount = match which {
            0 => Amount::OfMelt(amount),
            1 => Amount::OfTotal(amount),
            2 => Amount::Kilograms(amount),
            _ => Amount::ToLandAt(amount),
        };
        let seed = Seed { melt_c, seed_c, ..dark(Mass::Total(kg), amount) };
        match seed.answer() {
            Ok(answer) => prop_assert!(answer.all_melted_c <= answer.none_melted_c && answer.seed_kg.is_finite()),
            Err(refusal) => prop_assert!(!refusal.to_string().is_empty()),
        }
    }
}
