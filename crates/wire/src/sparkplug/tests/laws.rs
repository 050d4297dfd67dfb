//! Nothing goes without a word.

use proptest::prelude::*;

use super::*;

proptest! {
    /// Whatever is lost, doubled or out of order, and however often the process ends: a value comes out once, or the message
    /// is told; and nothing is kept beyond that.
    #[test]
    fn every_value_comes_out_once_or_is_told(
        steps in prop::collection::vec((0..12_u8, 0..40_i64, prop_oneof![0..6_u64, 0..256_u64]), 0..80),
    ) {
        let mut story = Story::new();
        let (mut second, mut births, mut values) = (0, 0, 0);
        for (what, later, seq) in steps {
            second += later;
            match what {
                0 => drop(story.node_birth(second, seq, 0)),
                1 | 2 => { births += 1; story.birth(second, seq, 10); }
                3 => drop(story.death(second, seq % 2)),
                4 if seq == 0 => drop(story.crash()),
                4 => drop(story.send(second, "hall/DDEATH/edge/alder", payload(seq, &[]))),
                _ => { values += 1; story.data(second, seq, 10, 100.0 + f64::from(values)); }
            }
        }
        let last = story.decoder.finish();
        story.tell(&last);
        prop_assert!(!story.decoder.is_waiting() && story.kept.is_empty());
        let with = |word: &str| story.told.iter().filter(|line| line.contains(word)).count();
        prop_assert_eq!(with("alder "), 3 * births + values as usize - with("rejected"));
        for value in 1..=values {
            let times = with(&format!("chocolate {} of", 100 + value));
            prop_assert!(times <= 1, "{} came out {} times", value, times);
        }
    }
}
