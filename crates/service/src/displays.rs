//! What light towers and displays are told: `<root>/<machine>/standing`, retained, for each machine.
//!
//! Said when it changes, and again every minute with a new moment, so that a display can tell a service that has gone from a
//! machine on which nothing happens.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use intake::{Clock, Notices};
use model::{Board, MachineId};
use report::StandingDto;
use tokio::sync::watch;
use tokio::time::{Instant, sleep};
use tokio_util::sync::CancellationToken;

/// A person looks at a lamp again after seconds.
const LOOK_EVERY: Duration = Duration::from_secs(1);

/// The same is said again so often, by the wall's clock.
const AGAIN_AFTER: Duration = Duration::from_secs(60);

/// What was said last of a machine, and when.
struct Said {
    what: StandingDto,
    when: Instant,
}

/// Keeps `notices` as the board has them until `stop`.
pub(crate) async fn keep_telling(
    root: String,
    mut board: watch::Receiver<Arc<Board>>,
    notices: watch::Sender<Notices>,
    clock: Clock,
    stop: CancellationToken,
) {
    let telling = async {
        let mut said = BTreeMap::new();
        while board.changed().await.is_ok() {
            let now = board.borrow_and_update().clone();
            if tell(&now, &clock, Instant::now(), &mut said) {
                notices.send_replace(Arc::new(written(&root, &said)));
            }
            sleep(LOOK_EVERY).await;
        }
    };
    tokio::select! {
        () = stop.cancelled() => {}
        () = telling => {}
    }
}

/// Notes what is to be said anew; false if nothing is.
fn tell(board: &Board, clock: &Clock, now: Instant, said: &mut BTreeMap<MachineId, Said>) -> bool {
    let at = clock();
    let mut is_news = false;
    for lane in &board.lanes {
        let what = StandingDto::new(lane, at);
        let stands = said.get(&lane.machine).is_some_and(|said| {
            now.duration_since(said.when) < AGAIN_AFTER && !what.differs_from(&said.what)
        });
        if !stands {
            said.insert(lane.machine.clone(), Said { what, when: now });
            is_news = true;
        }
    }
    is_news
}

fn written(root: &str, said: &BTreeMap<MachineId, Said>) -> BTreeMap<String, Vec<u8>> {
    let notice = |(machine, said): (&MachineId, &Said)| {
        let json = serde_json::to_vec(&said.what).expect("numbers and texts only");
        (format!("{root}/{machine}/standing"), json)
    };
    said.iter().map(notice).collect()
}

#[cfg(test)]
mod tests {
    use model::{Phase, Timestamp};

    use super::*;

    fn board(phase: Phase) -> Board {
        let lane = model::Lane {
            machine: "alder".parse().unwrap(),
            seen_to: Timestamp::default(),
            latest: [None; model::Channel::ALL.len()],
            slope_c_per_min: None,
            ten_minutes_ago_c: None,
            phase,
            phase_since: Timestamp::default(),
            batch: None,
            forecast: None,
            open: Vec::new(),
            last_test: None,
            test_due: None,
        };
        Board { lanes: vec![lane], ..Board::default() }
    }

    #[test]
    fn a_change_is_told_at_once_and_the_same_again_every_minute() {
        let clock: Clock = Arc::new(|| Timestamp::from_millis(1_772_427_600_000));
        let (start, mut said) = (Instant::now(), BTreeMap::new());
        let mut told =
            |phase, seconds| tell(&board(phase), &clock, start + Duration::from_secs(seconds), &mut said);
        assert!(told(Phase::Soak, 0));
        assert!(!told(Phase::Soak, 59));
        assert!(told(Phase::Soak, 60));
        assert!(told(Phase::Cooling, 61));
        assert!(!told(Phase::Cooling, 120));
        let written = written("works", &said);
        let json: serde_json::Value = serde_json::from_slice(&written["works/alder/standing"]).unwrap();
        assert_eq!((&json["phase"], &json["standing"]), (&"cooling".into(), &serde_json::Value::Null));
    }
}
