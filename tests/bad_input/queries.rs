//! A query that cannot be answered gets a status, a code for programs and a sentence for people (RFC 9457).

use expect_test::expect;

use super::{PLANT, folder_with};
use crate::program::Service;

#[test]
fn bad_queries() {
    let folder = folder_with(PLANT);
    let service = Service::start(&folder.path().join("plant.toml"), &folder.path().join("data"));
    let told = |path: &str| {
        let (status, body) = service.get(path);
        let problem: serde_json::Value = serde_json::from_str(&body).unwrap();
        format!(
            "{status} {path}\n  {}: {}",
            problem["code"].as_str().unwrap(),
            problem["detail"].as_str().unwrap()
        )
    };
    let queries = [
        "readings",
        "readings?machine=alder&channel=vibration",
        "readings?machine=oak&channel=chocolate",
        "readings?machine=alder&channel=chocolate",
        "readings?machine=alder&channel=chocolate&from=noon",
        "readings?machine=alder&channel=chocolate&from=2026-03-02T05:00:00Z&to=2026-03-01T05:00:00Z",
        "readings?machine=alder&channel=chocolate&from=2026-01-01T00:00:00Z&to=2026-03-01T00:00:00Z",
        "batches?limit=many",
        "batches?limit=0",
        "batches?colour=brown",
        "batches?open=maybe",
        "batches/alder-2026-03-01T17:02",
        "findings?kind=sorcery",
        "nothing",
    ];
    let said: Vec<String> = queries.iter().map(|query| told(&format!("/api/v1/{query}"))).collect();
    expect![[r#"
        400 /api/v1/readings
          missing-parameter: The parameter `machine` is missing; it should be the id of a machine of the plant file.
        400 /api/v1/readings?machine=alder&channel=vibration
          bad-parameter: The parameter `channel` is `vibration`; it should be a channel such as chocolate, jacket or room.
        404 /api/v1/readings?machine=oak&channel=chocolate
          no-such-machine: There is no machine `oak` in the plant file.
        400 /api/v1/readings?machine=alder&channel=chocolate
          missing-parameter: The parameter `from` is missing; it should be a time such as 2026-03-02T05:00:00Z.
        400 /api/v1/readings?machine=alder&channel=chocolate&from=noon
          bad-parameter: The parameter `from` is `noon`; it should be a time such as 2026-03-02T05:00:00Z.
        400 /api/v1/readings?machine=alder&channel=chocolate&from=2026-03-02T05:00:00Z&to=2026-03-01T05:00:00Z
          bad-parameter: The parameter `to` is `2026-03-01T05:00:00Z`; it should be a time after `from`.
        422 /api/v1/readings?machine=alder&channel=chocolate&from=2026-01-01T00:00:00Z&to=2026-03-01T00:00:00Z
          time-too-long: One answer covers at most 31 days; ask for a shorter time, or use `halfdegree export`.
        400 /api/v1/batches?limit=many
          bad-parameter: The parameter `limit` is `many`; it should be a whole number from 1 to 1000.
        400 /api/v1/batches?limit=0
          bad-parameter: The parameter `limit` is `0`; it should be a whole number from 1 to 1000.
        400 /api/v1/batches?colour=brown
          unknown-parameter: The parameter `colour` is not known here; this address takes machine, from, to, open, after, limit.
        400 /api/v1/batches?open=maybe
          bad-parameter: The parameter `open` is `maybe`; it should be yes or no.
        404 /api/v1/batches/alder-2026-03-01T17:02
          no-such-batch: There is no batch `alder-2026-03-01T17:02`.
        400 /api/v1/findings?kind=sorcery
          bad-parameter: The parameter `kind` is `sorcery`; it should be one of scorch, temper-loss, warm-hold, cold-hold, slow-cooling, undershoot, seed-missed, hold-drift, hunting, thickening, long-hold, solidifying, stirrer-stopped, heater-stuck, probe-stuck, probe-fault, spikes, silent, clock-off, hot-room, damp-room, test-due, probe-drift, cooling-fade, common-cause.
        404 /api/v1/nothing
          no-such-page: There is no such page here."#]].assert_eq(&said.join("\n"));
    let (status, _) = service.get("/api/v1/machines");
    assert_eq!(status, 200, "a bad query does no harm");
}
