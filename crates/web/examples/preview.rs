//! Made-up works to look at the pages while the rest is being built.
#![allow(missing_docs, clippy::all)]
use std::sync::Arc;
use std::pin::Pin;
use std::future::Future;
use model::*;
use records::{Records, Update};
use web::*;
struct Sink;
impl EventSink for Sink { fn take(&self, _: Arrival) -> Pin<Box<dyn Future<Output = Result<(), NotDurable>> + Send + '_>> { Box::pin(async { Ok(()) }) } }
fn wobble(i: i64) -> f64 { let x = (i.wrapping_mul(2654435761) >> 7) & 1023; (x as f64 / 1023.0 - 0.5) * 0.08 }
fn course(minute: f64, hot: bool) -> f64 {
    let m = minute;
    if m < 70.0 { 30.0 + (46.0 - 30.0) * (m / 70.0) } else if m < 100.0 { 46.0 + 0.2 * (m * 0.3).sin() }
    else if m < 172.0 { let t = 18.0 + 28.0 * (-(m - 100.0) / 95.0).exp(); if m > 155.0 { t - 2.2 * ((m - 155.0) / 17.0) } else { t } }
    else if hot && m > 200.0 { let x = m - 200.0; 31.5 + 3.4 * (1.0 - (-x / 12.0).exp()) * if x > 20.0 { (-(x - 20.0) / 15.0).exp() } else { 1.0 } }
    else { 31.4 + 0.15 * (m * 0.11).sin() }
}
#[tokio::main]
async fn main() {
    let mut text = String::from("[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n[mqtt]\nurl = \"embedded\"\n[[couverture]]\nid = \"dark-64\"\nname = \"Dark 64\"\nfamily = \"dark\"\n[[couverture]]\nid = \"milk-38\"\nname = \"Milk 38\"\nfamily = \"milk\"\n");
    for (id, c) in [("alder", "dark-64"), ("birch", "dark-64"), ("cedar", "dark-64"), ("dogwood", "milk-38"), ("elm", "milk-38"), ("fir", "dark-64")] {
        text += &format!("[[machine]]\nid = \"{id}\"\nstyle = \"kettle\"\ncapacity_kg = 60\ncouverture = \"{c}\"\nmethod = \"seed\"\ncooling_minutes = 75\n");
    }
    let plant = Arc::new(plant::parse_plant(&text).unwrap());
    let now: Timestamp = jiff::Timestamp::now().into();
    let dir = tempfile::tempdir().unwrap();
    let records = Records::open(dir.path().join("records.db")).unwrap();
    let (mut journal, _) = journal::Journal::open(dir.path().join(journal::FILE_NAME)).unwrap();
    let mut lanes = Vec::new();
    let (mut batches, mut findings, mut events) = (vec![], vec![], vec![]);
    for (n, machine) in plant.machines.iter().enumerate() {
        let id = &machine.id;
        let age = [330.0, 150.0, 215.0, 40.0, 600.0, 300.0][n];
        let hot = n == 2;
        for back in 0..12i64 {
            let start = now - Span::from_mins_f64(age + 1440.0 * back as f64 / 2.0 * 1.0);
            let length = if back == 0 { age } else { 560.0 };
            let at = |m: f64| start + Span::from_mins_f64(m);
            let mut phases = vec![];
            for (p, a, b) in [(Phase::Melting, 0.0, 68.0), (Phase::Soak, 68.0, 100.0), (Phase::Cooling, 100.0, 172.0), (Phase::Settling, 172.0, 180.0), (Phase::Working, 180.0, 9999.0)] {
                if a < length { phases.push(PhaseSpan { phase: p, from: at(a), to: (b < length).then(|| at(b)).or((back > 0).then(|| at(length))) }); }
            }
            let done = length > 172.0;
            let b = Batch { id: BatchId::new(id, start), machine: id.clone(), couverture: machine.couverture.clone(), lot: Some("L2207".into()), method: Method::Seed, mass_kg: Some(48.0), start, end: (back > 0).then(|| at(length)), phases,
                measures: Measures { soak_max_c: (length > 100.0).then_some(46.2), cooling_minutes: done.then_some(71.4 + back as f64), cooling_tau_min: done.then_some(38.2), lowest_c: done.then_some(30.4), seed_dip_c: done.then_some(2.2), settled_c: done.then_some(31.42), working_minutes: done.then_some(length - 180.0), working_mean_c: done.then_some(31.5), working_sd_c: done.then_some(0.08), drift_c_per_h: done.then_some(0.01), above_loss_c_min: done.then_some(if hot && back == 0 { 4.2 } else { 0.0 }), ..Measures::default() },
                standing: if back > 0 { Standing::InTemper } else if hot { Standing::Doubtful } else if n == 0 { Standing::InTemper } else { Standing::Unproven }, reasons: if hot && back == 0 { vec!["temper loss since the last test".into()] } else if back == 0 { vec!["no temper test".into()] } else { vec!["temper test passed".into()] } };
            if back == 0 && n == 5 { findings.push(Finding { id: FindingId::new(id.as_str(), "test-due", at(250.0)), machine: Some(id.clone()), batch: Some(b.id.clone()), kind: FindingKind::TestDue, priority: Priority::Low, from: at(235.0), to: None, raised_at: at(250.0), says: "Worked for 70 min without a temper test.".into(), evidence: vec![], advice: "Make a temper test.".into(), superseded_by: None }); }
            if back == 0 && n == 2 {
                findings.push(Finding { id: FindingId::new(id.as_str(), "temper-loss", at(207.0)), machine: Some(id.clone()), batch: Some(b.id.clone()), kind: FindingKind::TemperLoss, priority: Priority::High, from: at(204.0), to: None, raised_at: at(207.0), says: "The chocolate has been above 33.5 °C for 9 min, 4.2 °C·min in all.".into(), evidence: vec![Evidence { name: "area_c_min".into(), value: EvidenceValue::Number(4.2) }, Evidence { name: "highest_c".into(), value: EvidenceValue::Number(34.62) }, Evidence { name: "limit_c".into(), value: EvidenceValue::Number(33.5) }], advice: "Stop moulding, bring it back to 31.0–32.0 °C and make a temper test.".into(), superseded_by: None });
                events.push(Event { machine: id.clone(), at: at(156.0), by: Some("ana".into()), kind: EventKind::Seed { mass_kg: Some(9.6), temperature: Some(20.0), lot: Some("S104".into()) }, raw: "{}".into() });
                events.push(Event { machine: id.clone(), at: at(196.0), by: Some("ana".into()), kind: EventKind::TemperTest(TemperTest { gloss: Grade::Good, contraction: Grade::Good, snap: Grade::Good, minutes: Some(6.0) }), raw: "{}".into() });
            }
            batches.push(b);
        }
        let mut series = vec![]; let mut jacket = vec![];
        for s in 0..(24 * 720) {
            let t = now - Span::from_secs(86400 - s * 5);
            let m = (t - (now - Span::from_mins_f64(age))).as_mins_f64();
            let m = if m < 0.0 { (m + 1440.0) % 720.0 } else { m };
            let v = if n == 4 { 22.0 } else { course(m, hot && t > now - Span::from_mins_f64(age)) } + wobble(s + n as i64 * 7919);
            series.push((t, Some((v * 100.0).round() / 100.0))); jacket.push((t, Some(v + if m < 100.0 { 4.0 } else if m < 160.0 { -14.0 } else { -0.5 })));
        }
        let last = series.last().unwrap().1;
        let ten = series[series.len() - 120].1;
        for (channel, series) in [(Channel::Chocolate, series), (Channel::Jacket, jacket)] { let a: Vec<Arrival> = series.into_iter().map(|(at, value)| Arrival { arrived: at, retained: false, content: Content::Reading(Reading { machine: id.clone(), channel, at, value }) }).collect(); for c in a.chunks(2000) { let _ = journal.append(c).unwrap(); } }
        let batch = (n != 4).then(|| batches.iter().find(|b: &&Batch| b.machine == *id && b.end.is_none()).unwrap().clone());
        if n == 4 { batches.retain(|b| !(b.machine == *id && b.end.is_none())); }
        let mut latest = [None; 7]; latest[0] = Some(Latest { at: if n == 4 { now - Span::from_mins(9) } else { now + Span::from_hours(1) }, value: last }); latest[1] = Some(Latest { at: now, value: last.map(|v| v - 2.0) }); latest[2] = Some(Latest { at: now, value: Some(21.4) }); latest[3] = Some(Latest { at: now, value: Some(48.0) }); latest[5] = Some(Latest { at: now, value: Some(1.0) });
        let (phase, since) = batch.as_ref().map_or((Phase::Idle, now - Span::from_hours(9)), |b| { let l = b.last_phase().unwrap(); (l.phase, l.from) });
        lanes.push(Lane { machine: id.clone(), seen_to: now, latest, slope_c_per_min: last.zip(ten).map(|(a, b)| (a - b) / 10.0), ten_minutes_ago_c: ten, phase, phase_since: since, batch,
            forecast: (n == 1).then(|| Forecast { at: now + Span::from_mins(23), give_or_take: Span::from_mins(4) }), open: findings.iter().filter(|f| f.machine.as_ref() == Some(id)).cloned().collect(),
            last_test: if n == 0 { Some(Event { machine: id.clone(), at: now - Span::from_mins(42), by: Some("ana".into()), kind: EventKind::TemperTest(TemperTest { gloss: Grade::Good, contraction: Grade::Good, snap: Grade::Good, minutes: None }), raw: "{}".into() }) } else { events.iter().rev().find(|e: &&Event| e.machine == *id).cloned() } });
    }
    records.commit(&Update { batches, findings, events, ..Update::default() }).unwrap();
    let (tx, rx) = tokio::sync::watch::channel(Arc::new(Board { at: now, lanes, plant_open: vec![] }));
    let state = WebState { plant, board: rx, records: Arc::new(records), store: Arc::new(store::StoreReader::open(dir.path()).unwrap()), events: Arc::new(Sink), health: Arc::new(|| Health { intake: IntakeState::Connected, messages: 1, readings: 1, rejected: 0, journal_backlog: 0, troubles: vec![] }), clock: Arc::new(|| jiff::Timestamp::now().into()) };
    tokio::spawn(async move { let mut i = 0; loop { tokio::time::sleep(std::time::Duration::from_millis(1000)).await; i += 1; tx.send_modify(|b| { let mut n = (**b).clone(); for l in &mut n.lanes { if let Some(latest) = &mut l.latest[0] { latest.value = latest.value.map(|v| v + wobble(i)); } } *b = Arc::new(n); }); } });
    let listener = tokio::net::TcpListener::bind("127.0.0.1:8471").await.unwrap();
    run(WebConfig { entries: Entries::OpenOnLoopback, ..WebConfig::default() }, state, listener, std::future::pending()).await.unwrap();
}
