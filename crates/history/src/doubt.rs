//! Which batches were measured in doubt: a probe that was wrong when it was checked may have been wrong ever since the last check that left
//! it right (domain brief 7.3), and stays so until one does.

use model::{Batch, Channel, ProbeCheck, Timestamp};

/// A part of a batch whose readings are in doubt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Doubt {
    /// Of which probe.
    pub channel: Channel,
    /// The last check that left it right; `None` where there was none, and all before is in doubt.
    pub since: Option<Timestamp>,
    /// The next check that left it right; `None` until there is one.
    pub until: Option<Timestamp>,
    /// The check that it failed.
    pub failed_at: Timestamp,
    /// How much too high it showed, °C.
    pub error_c: f64,
}

/// What `checks` say of the readings of `batch`. They may be of any machine and in any order.
pub fn doubts(batch: &Batch, checks: &[ProbeCheck]) -> Vec<Doubt> {
    let of_this = |check: &&ProbeCheck| check.machine == batch.machine;
    let mut found = Vec::new();
    for channel in Channel::ALL {
        let mut of_channel: Vec<&ProbeCheck> =
            checks.iter().filter(of_this).filter(|check| check.channel == channel).collect();
        of_channel.sort_by_key(|check| check.at);
        found.extend(of_one_probe(&of_channel).into_iter().filter(|doubt| touches(batch, doubt)));
    }
    found
}

/// The times of doubt of one probe, from its checks in the order of time.
fn of_one_probe(checks: &[&ProbeCheck]) -> Vec<Doubt> {
    let (mut found, mut open, mut left_right_at) = (Vec::new(), None::<Doubt>, None);
    for check in checks {
        if !check.is_passed() {
            open.get_or_insert(Doubt {
                channel: check.channel,
                since: left_right_at,
                until: None,
                failed_at: check.at,
                error_c: check.error_c(),
            });
        }
        if check.is_left_right() {
            found.extend(open.take().map(|doubt| Doubt { until: Some(check.at), ..doubt }));
            left_right_at = Some(check.at);
        }
    }
    found.extend(open);
    found
}

fn touches(batch: &Batch, doubt: &Doubt) -> bool {
    doubt.until.is_none_or(|until| batch.start < until)
        && doubt.since.is_none_or(|since| batch.end.is_none_or(|end| since < end))
}

#[cfg(test)]
mod tests {
    use model::{CheckKind, Span};

    use super::*;
    use crate::usual::tests::batch;

    /// Days after the first of the month on which checks were made, what was found beside 31 °C, and what was left.
    fn days_in_doubt(checks: &[(i64, f64, Option<f64>)]) -> Vec<i64> {
        let first = batch(1, 70.0);
        let check = |&(day, as_found_c, as_left_c): &(i64, f64, Option<f64>)| ProbeCheck {
            machine: first.machine.clone(),
            channel: Channel::Chocolate,
            kind: CheckKind::Comparison,
            reference_c: 31.0,
            as_found_c,
            as_left_c,
            reference: None,
            accept_c: 0.3,
            by: "rui".to_owned(),
            // Before the day's batch begins.
            at: first.start + Span::from_hours(24 * (day - 1) - 1),
        };
        let checks: Vec<ProbeCheck> = checks.iter().map(check).collect();
        let ended = |day: i64| {
            let batch = batch(day, 70.0);
            Batch { end: Some(batch.start + Span::from_hours(10)), ..batch }
        };
        (1..=9).filter(|day| !doubts(&ended(*day), &checks).is_empty()).collect()
    }

    #[test]
    fn a_failed_check_reaches_back_to_the_last_that_left_it_right() {
        assert!(days_in_doubt(&[(2, 31.1, None), (8, 31.2, None)]).is_empty());
        assert_eq!(days_in_doubt(&[(2, 31.1, None), (5, 31.6, Some(31.0)), (8, 31.0, None)]), [2, 3, 4]);
        assert_eq!(
            days_in_doubt(&[(3, 30.5, Some(31.0))]),
            [1, 2],
            "with no check before, all before is in doubt"
        );
        assert_eq!(
            days_in_doubt(&[(2, 31.0, None), (4, 31.6, None), (6, 31.6, None), (7, 31.6, Some(31.1))]),
            [2, 3, 4, 5, 6],
            "and it goes on until it is put right"
        );
    }

    #[test]
    fn other_machines_and_what_was_measured_are_told_apart() {
        let first = batch(1, 70.0);
        let check = ProbeCheck {
            machine: "elsewhere".parse().unwrap(),
            channel: Channel::Jacket,
            kind: CheckKind::IcePoint,
            reference_c: 0.0,
            as_found_c: 0.9,
            as_left_c: None,
            reference: None,
            accept_c: 0.3,
            by: "rui".to_owned(),
            at: first.start + Span::from_hours(1),
        };
        assert_eq!(doubts(&first, std::slice::from_ref(&check)), []);
        let found = doubts(&first, &[ProbeCheck { machine: first.machine.clone(), ..check }]);
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].channel, found[0].until, found[0].error_c), (Channel::Jacket, None, 0.9));
    }
}
