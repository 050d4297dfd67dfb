//! `halfdegree seed`: what it prints, what it refuses, and that its help teaches.

use expect_test::expect;

use crate::program::{output, run, text};

#[test]
fn the_two_meanings_of_a_quarter() {
    let share = |rest: &str| {
        let line = format!("seed share --family dark --melt-c 45 --seed-c 20 --share 25% {rest}");
        output(&line.split(' ').collect::<Vec<_>>())
    };
    expect![[r#"
        melt      6.000 kg
        seed      1.500 kg
        which is  25.0 % of the melt, 20.0 % of the total
        lands at  34.3 °C if all of it melts, 40.0 °C if none of it does

        All of the seed melts and nothing is left over to seed with: even then the
        mass is at 34.3 °C, above the working range 31.0–32.0 °C by 2.3 °C. Let the
        melt cool first, or add more.

        It assumes:
          No heat goes to room, table or water while it is stirred, and nothing
          crystallises. In a cool room the mass comes out lower.
          Specific heat 1.6 kJ/(kg K); latent heat of dark 46 and of milk 44 kJ/kg
          (Chevalley 1970, quoted in Beckett 2009). For white no source was found: 47
          is the middle of a guess.
          The vessel is as warm as the melt and gives all its heat. Its specific heat
          is from memory.
          How much of the seed melts is not known beforehand: the two ends are all of
          it and none of it.

        Temperature alone never proves temper; only a temper test does.
    "#]]
    .assert_eq(&share("--melt-kg 6 --of melt"));
    let of_total = share("--total-kg 6 --of total --vessel-kg 3 --vessel steel");
    assert!(of_total.contains("lands at  33.4 °C if all of it melts"), "{of_total}");
    assert!(of_total.contains("seed      1.500 kg"), "{of_total}");
}

#[test]
fn which_quarter_is_asked_and_nonsense_is_refused_in_words() {
    let refused = |line: &str| {
        let done = run(&line.split(' ').collect::<Vec<_>>());
        assert_eq!(done.status.code(), Some(2), "{line}");
        assert!(done.stdout.is_empty(), "{line}");
        text(&done.stderr).to_owned()
    };
    let start = "seed share --family dark --melt-kg 6 --melt-c 45 --seed-c 20";
    assert!(refused(&format!("{start} --share 25%")).contains("--of <OF>"));
    assert!(
        refused(&format!("{start} --share 25 --of melt"))
            .contains("25 could be a share or per cent; write 25% or 0.25.")
    );
    assert!(refused(&format!("{start} --share 25% --of melt --vessel-kg 3")).contains("--vessel <MATERIAL>"));
    let burnt = refused("seed mass --family milk --melt-kg 6 --melt-c 60 --seed-c 20 --seed-kg 1");
    assert!(burnt.contains("A melt at 60.0 °C is above the scorch limit 50.0 °C of milk"), "{burnt}");
}

#[test]
fn the_help_has_an_example_of_each_sum_that_runs() {
    let help = output(&["seed", "--help"]);
    let examples: Vec<&str> =
        help.lines().filter_map(|line| line.trim().strip_prefix("halfdegree ")).collect();
    for sum in ["share", "mass", "to", "top-up", "remelt"] {
        assert!(examples.iter().any(|example| example.starts_with(&format!("seed {sum} "))), "{sum}");
    }
    for example in
        examples.iter().filter(|example| !example.starts_with("seed <") && !example.contains("[OPTIONS]"))
    {
        let told = output(&example.split(' ').collect::<Vec<_>>());
        assert!(
            told.ends_with("Temperature alone never proves temper; only a temper test does.\n"),
            "{example}: {told}"
        );
    }
}
