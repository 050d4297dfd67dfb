//! When an edge node is asked for its births.
//!
//! A rebirth makes a node stop and send all that it has, so it is asked for seldom: not twice in half a minute, and ever
//! more rarely where no answer comes.

use model::{Span, Timestamp};

use crate::Request;
use crate::sparkplug::payload::Payload;
use crate::sparkplug::topic::NodeName;

/// A rebirth takes a large gateway seconds; half a minute is enough for the slowest.
const FIRST_WAIT: Span = Span::from_secs(30);
/// A node that never answers is reminded once an hour.
const LONGEST_WAIT: Span = Span::from_hours(1);

/// What is wanted of one node, and when it was last asked.
#[derive(Debug)]
pub(crate) struct Rebirth {
    is_wanted: bool,
    asked: Option<Timestamp>,
    wait: Span,
}

impl Default for Rebirth {
    fn default() -> Rebirth {
        Rebirth { is_wanted: false, asked: None, wait: FIRST_WAIT }
    }
}

impl Rebirth {
    /// Something of this node cannot be read without its births.
    pub(crate) fn want(&mut self) {
        self.is_wanted = true;
    }

    /// The births are here.
    pub(crate) fn is_done(&mut self) {
        self.is_wanted = false;
        self.wait = FIRST_WAIT;
    }

    /// The request to send now, if one is wanted and due. A clock that was set back does not put it off.
    pub(crate) fn request(&mut self, name: NodeName<'_>, now: Timestamp) -> Option<Request> {
        let is_due = self.asked.is_none_or(|asked| now < asked || self.wait <= now - asked);
        if !self.is_wanted || !is_due {
            return None;
        }
        if self.asked.is_some() {
            self.wait = LONGEST_WAIT.min(self.wait * 2);
        }
        self.asked = Some(now);
        let millis = u64::try_from(now.as_millis()).unwrap_or(0);
        Some(Request {
            topic: format!("spBv1.0/{}/NCMD/{}", name.group, name.node),
            payload: Payload::rebirth_command(millis),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NAME: NodeName<'_> = NodeName { group: "hall", node: "edge 1" };

    fn asked_at(rebirth: &mut Rebirth, seconds: impl Iterator<Item = i64>) -> Vec<i64> {
        seconds
            .filter(|second| rebirth.request(NAME, Timestamp::from_millis(1000 * second)).is_some())
            .collect()
    }

    #[test]
    fn a_node_that_does_not_answer_is_asked_ever_more_rarely() {
        let mut rebirth = Rebirth::default();
        assert!(asked_at(&mut rebirth, 0..10).is_empty(), "nothing is wanted");
        rebirth.want();
        assert_eq!(asked_at(&mut rebirth, 10..1000), [10, 40, 100, 220, 460, 940]);
        assert_eq!(asked_at(&mut rebirth, 1000..20_000).len(), 6, "at most one an hour in the end");
        rebirth.is_done();
        assert!(asked_at(&mut rebirth, 20_000..30_000).is_empty());
    }

    #[test]
    fn an_answer_makes_it_quick_again_and_never_quicker_than_the_first_wait() {
        let mut rebirth = Rebirth::default();
        let mut asked = Vec::new();
        for second in 0..100 {
            rebirth.want();
            asked.extend(asked_at(&mut rebirth, second..=second));
            rebirth.is_done();
        }
        assert_eq!(asked, [0, 30, 60, 90]);
    }

    #[test]
    fn the_request_goes_to_the_node() {
        let mut rebirth = Rebirth::default();
        rebirth.want();
        let request = rebirth.request(NAME, Timestamp::from_millis(1_700_000_003_000)).unwrap();
        assert_eq!(request.topic, "spBv1.0/hall/NCMD/edge 1");
        assert_eq!(request.payload, Payload::rebirth_command(1_700_000_003_000));
    }
}
