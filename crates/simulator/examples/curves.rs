//! Prints `machine,seconds,channel,value` for looking at curves, then the truth, on standard error.
use simulator::*;
fn main() {
    let args: Vec<String> = std::env::args().collect();
    let text = std::fs::read_to_string(&args[1]).unwrap();
    let days: i64 = args[2].parse().unwrap();
    let plant = plant::parse_plant(&text).unwrap();
    let start: model::Timestamp = "2026-03-02T18:00:00Z".parse().unwrap();
    let mut s = Settings::new(7, start);
    for f in &args[3..] {
        // machine:fault:stage:nth:after:lasts[:strength]
        let p: Vec<&str> = f.split(':').collect();
        let stage = match p[2] {
            "w" => Stage::Working,
            "c" => Stage::Cooling,
            "m" => Stage::Melting,
            _ => Stage::Landing,
        };
        let kind: FaultKind = p[1].parse().unwrap();
        let id: model::MachineId = p[0].parse().unwrap();
        let mut fault = Fault::new(
            &id,
            kind,
            Onset::In {
                stage,
                nth: p[3].parse().unwrap(),
                after: model::Span::from_mins(p[4].parse().unwrap()),
            },
            model::Span::from_mins(p[5].parse().unwrap()),
        );
        if let Some(x) = p.get(6) {
            fault = fault.with_strength(x.parse().unwrap());
        }
        s.faults.push(fault);
    }
    let t = std::time::Instant::now();
    let mut w = Works::new(&plant, &s);
    eprintln!("built {:?}", t.elapsed());
    let mut all = 0;
    let until = start + model::Span::from_hours(24 * days);
    let mut now = start;
    while now < until {
        now += model::Span::from_secs(30);
        all += w.advance_to(now).len();
        for st in w.standing() {
            println!(
                "{},{},{:.3},{:.5},{:?}",
                st.machine,
                now.since(start).as_secs_f64() / 3600.0,
                st.celsius,
                st.crystals,
                st.stage
            );
        }
    }
    eprintln!("{} messages {:?}", all, t.elapsed());
    let h = |t: model::Timestamp| format!("{:.2}", t.since(start).as_secs_f64() / 3600.0);
    for m in w.truth().machines {
        eprintln!(
            "== {} faults {:?}",
            m.id,
            m.faults.iter().map(|f| (f.kind.as_str(), h(f.from), f.to.map(h))).collect::<Vec<_>>()
        );
        for b in m.batches {
            eprintln!(
                "  {}",
                b.phases
                    .iter()
                    .map(|p| format!("{} {}", p.phase.as_str(), h(p.from)))
                    .collect::<Vec<_>>()
                    .join(" | ")
            );
            let x = &b.measures;
            eprintln!(
                "    end {:?} cool {:?} low {:?} settled {:?} mean {:?} sd {:?} cond {:?}",
                b.end.map(h),
                x.cooling_minutes,
                x.lowest_c,
                x.settled_c,
                x.working_mean_c,
                x.working_sd_c,
                b.conditions
                    .iter()
                    .map(|c| (c.kind.as_str(), h(c.from), h(c.to), (c.worst * 100.0).round() / 100.0))
                    .collect::<Vec<_>>()
            );
        }
        eprintln!(
            "    marks {}",
            m.marks.iter().map(|(t, k)| format!("{} {:?}", h(*t), k)).collect::<Vec<_>>().join("; ")
        );
    }
}
