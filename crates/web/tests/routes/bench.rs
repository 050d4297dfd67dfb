//! The bench: a bowl from filling to its test, and the sums.

use std::sync::Arc;

use axum::body::Body;
use axum::http::{Request, StatusCode};
use model::{Arrival, Channel, Content, Event, EventKind, Method, Reading, Span};
use records::Update;
use web::{Entries, WebState, router};

use crate::works::{Answer, Works, moment, works};

const PLANT: &str = r#"
[plant]
name = "Tern Street works"
time_zone = "Europe/Lisbon"
[mqtt]
url = "embedded"
[[couverture]]
id = "milk-38"
family = "milk"
[[couverture]]
id = "white-31"
family = "white"
[[machine]]
id = "fir"
name = "Fir bench"
style = "bench"
couverture = "milk-38"
[[machine]]
id = "alder"
style = "kettle"
capacity_kg = 60
couverture = "milk-38"
"#;

fn bench(entries: Entries) -> Works {
    let mut works = works(entries);
    works.state = WebState { plant: Arc::new(plant::parse_plant(PLANT).unwrap()), ..works.state.clone() };
    works.routes = router(&works.config, works.state.clone()).unwrap();
    works
}

impl Works {
    pub(crate) async fn post_form(&self, address: &str, form: &str) -> Answer {
        let request = Request::post(address)
            .header("host", "127.0.0.1:8460")
            .header("content-type", "application/x-www-form-urlencoded");
        self.send(request.body(Body::from(form.to_owned())).unwrap()).await
    }

    /// Milk in the bowl since 11:40, measured at these minutes past eleven.
    fn fill_bowl(&self, readings: &[(&str, f64)]) {
        let charge = EventKind::Charge {
            couverture: Some("milk-38".parse().unwrap()),
            lot: Some("B310".to_owned()),
            mass_kg: Some(1.2),
            method: Some(Method::PartialMelt),
        };
        let event = Event {
            machine: "fir".parse().unwrap(),
            at: moment("11:40"),
            by: None,
            kind: charge,
            raw: "{}".into(),
        };
        self.state.records.commit(&Update { events: vec![event], ..Update::default() }).unwrap();
        let reading = |(clock, celsius): &(&str, f64)| {
            let (machine, at) = ("fir".parse().unwrap(), moment(clock));
            let reading = Reading { machine, channel: Channel::Chocolate, at, value: Some(*celsius) };
            Arrival { arrived: at, retained: false, content: Content::Reading(reading) }
        };
        self.fill(Vec::new(), &readings.iter().map(reading).collect::<Vec<_>>());
    }

    fn newest(&self) -> Content {
        self.sink.taken.lock().unwrap().last().unwrap().content.clone()
    }
}

#[tokio::test]
async fn the_bench_lists_the_bowls_alone() {
    let works = bench(Entries::OpenOnLoopback);
    let list = works.get("/bench").await;
    assert!(list.says("Fir bench") && list.says("Empty: choose couverture and method."), "{}", list.text);
    assert!(!list.text.contains("/bench/alder"));
    let kettle = works.get("/bench/alder").await;
    assert_eq!(kettle.status, StatusCode::NOT_FOUND);
    assert!(kettle.says("Alder is no bowl that is worked by hand; it has a page of its own."));
}

#[tokio::test]
async fn a_bowl_is_filled_and_the_page_knows_at_once() {
    let works = bench(Entries::OpenOnLoopback);
    let form = "event=charge&couverture=white-31&method=partial-melt&mass_kg=0%2C8&lot=W1&by=ana";
    let filled = works.post_form("/bench/fir/entries", form).await;
    assert_eq!(filled.header("location"), "/bench/fir?entered=charge");
    let Content::Event(event) = works.newest() else { panic!("no event") };
    assert_eq!(event.kind.as_str(), "charge");
    let page = works.get("/bench/fir?entered=charge").await;
    for sentence in [
        "white-31, partial melt, 0.8 kg, lot W1",
        "Stir, measure in the middle of the bowl, and enter what the thermometer shows.",
        "White couverture loses its temper above 30 to 32 °C",
        "A drop of water or a breath of steam ruins any couverture",
        "hot enough to burn",
        "28.0–29.0 °C",
        "31.0 °C",
    ] {
        assert!(page.says(sentence), "{sentence}: {}", page.text);
    }
}

#[tokio::test]
async fn two_taps_are_a_reading() {
    let works = bench(Entries::OpenOnLoopback);
    works.fill_bowl(&[]);
    for (form, expected) in [
        ("degrees=C&whole=29&tenth=4", Some(29.4)),
        ("degrees=F&whole=85&tenth=0", Some(29.444)),
        ("degrees=C&value=30%2C7", Some(30.7)),
        ("taken_back=2026-03-02T11:58:00Z", None),
    ] {
        let answer = works.post_form("/bench/fir/readings", form).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{form}: {}", answer.text);
        let Content::Reading(reading) = works.newest() else { panic!("no reading") };
        assert_eq!((reading.channel, reading.value), (Channel::Chocolate, expected), "{form}");
        let at = if expected.is_some() { moment("12:00") } else { moment("11:58") };
        assert_eq!(reading.at, at, "{form}");
    }
}

#[tokio::test]
async fn what_is_typed_wrongly_has_its_sentence() {
    let works = bench(Entries::OpenOnLoopback);
    works.fill_bowl(&[]);
    for (form, sentence) in [
        ("degrees=C&tenth=4", "Tap the whole degrees first, then the tenth."),
        ("degrees=C&value=warm", "`warm` is not a temperature; write it like 31.4."),
        (
            "degrees=C&value=300",
            "300.0 °C is no temperature of a works; it should be between -10 and 120 °C.",
        ),
        (
            "degrees=C&whole=29&tenth=11",
            "The parameter `tenth` is `11`; it should be a whole number from 0 to 9.",
        ),
    ] {
        let answer = works.post_form("/bench/fir/readings", form).await;
        assert!(answer.status.is_client_error() && answer.says(sentence), "{form}: {}", answer.text);
    }
    assert!(works.sink.taken.lock().unwrap().is_empty());
}

#[tokio::test]
async fn the_next_step_follows_the_readings() {
    let works = bench(Entries::OpenOnLoopback);
    works.fill_bowl(&[("11:50", 20.0), ("11:55", 24.0), ("11:59", 26.1)]);
    let page = works.get("/bench/fir").await;
    assert!(page.says("Warm on: one burst of 15 to 20 s at low power"), "{}", page.text);
    // The last whole degree is chosen, so that the tenth alone is tapped.
    assert!(page.text.contains(r#"name="whole" value="26" required checked"#), "{}", page.text);

    let works = bench(Entries::OpenOnLoopback);
    works.fill_bowl(&[("11:56", 31.0), ("11:58", 33.0), ("12:00", 33.0)]);
    let page = works.get("/bench/fir").await;
    assert!(page.says("Stop: at 33.0 °C it is over the limit 32.0 °C"), "{}", page.text);
    // From 31 to 33 °C in two minutes half a degree-minute lies above 32 °C, and two in the two minutes at 33 °C.
    assert!(page.says("2.5 °C·min"), "{}", page.text);
    assert!(page.says("33.0 °C, above the limit"), "{}", page.text);
}

#[tokio::test]
async fn a_page_is_kept_alive_and_a_bowl_is_named_as_one() {
    let works = bench(Entries::OpenOnLoopback);
    assert!(works.get("/bench/fir").await.says(r#"data-live="/api/v1/live?bowl=fir""#));
    assert_eq!(works.get("/api/v1/live?bowl=alder").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn nobody_enters_without_signing_in() {
    let works = bench(Entries::Closed);
    works.fill_bowl(&[]);
    for address in ["/bench/fir/readings", "/bench/fir/entries"] {
        let answer = works.post_form(address, "degrees=C&whole=29&tenth=4").await;
        assert_eq!(answer.status, StatusCode::UNAUTHORIZED, "{address}");
    }
    let page = works.get("/bench/fir").await;
    assert!(!page.text.contains("<form method=\"post\""), "{}", page.text);
}

#[tokio::test]
async fn programs_send_readings_too() {
    let works = bench(Entries::OpenOnLoopback);
    let entered = works
        .post_json("/api/v1/readings", r#"{"machine":"fir","channel":"chocolate","value":29.4}"#, &[])
        .await;
    assert_eq!((entered.status, &entered.json()["durable"]), (StatusCode::CREATED, &true.into()));
    for (body, sentence) in [
        ("[]", "The field `machine` is missing; it should be the id of a machine."),
        (
            r#"{"machine":"fir","channel":"mood","value":1}"#,
            "The field `channel` should be one such as chocolate, jacket or room.",
        ),
        (
            r#"{"machine":"fir","channel":"room"}"#,
            "The field `value` should be a number, or null for a reading that is missing.",
        ),
        (
            r#"{"machine":"fir","channel":"room","value":20,"at":"2026-03-02T12:05:00Z"}"#,
            "The reading is dated ahead of now; look at the clock that dated it.",
        ),
        (
            r#"{"machine":"fir","channel":"room","value":20,"at":"2026-02-02T12:05:00Z"}"#,
            "The reading is older than a day; bring older ones in as a recorded stream.",
        ),
        (r#"{"machine":"fir","channel":"motor","value":1e300}"#, "is no value of the channel motor."),
    ] {
        let answer = works.post_json("/api/v1/readings", body, &[]).await;
        assert!(answer.status.is_client_error() && answer.says(sentence), "{body}: {}", answer.text);
    }
}

/// 1.5 kg into 6 kg of milk at 42 °C, seed at 20 °C, all of it melted: 32.1 °C (the trade's worked number).
#[tokio::test]
async fn the_sums_stand_on_the_bench_and_on_the_machine() {
    let works = bench(Entries::Closed);
    let sum = "sum=seed&degrees=C&mass=6&mass_is=melt&melt_t=42&seed_t=20&amount=25&amount_is=of-melt&vessel_kg=&vessel=";
    for page in ["/bench/fir", "/machines/alder"] {
        let answer = works.get(&format!("{page}?{sum}")).await;
        assert!(answer.says("32.1 °C if all of it melts"), "{page}: {}", answer.text);
        assert!(answer.says("No heat goes to room, table or water"), "{page}");
        let without = works.get(&format!("{page}?{}", sum.replace("amount_is=of-melt", "amount_is="))).await;
        assert!(
            without.says("Say what the amount is: per cent of the melt, per cent of the total"),
            "{page}"
        );
    }
    // What the machine holds stands in the field, where it can be seen; what is asked is left open.
    let page = works.get("/machines/alder").await;
    assert!(
        page.text.contains(r#"name="mass" type="number" inputmode="decimal" step="any" value="48" required"#),
        "{}",
        page.text
    );
    assert!(page.text.contains(r#"name="mass_is" value="melt" required>"#), "{}", page.text);
    let warm = works
        .send(
            Request::get(format!(
                "/machines/alder?{}",
                sum.replace("degrees=C", "degrees=F")
                    .replace("melt_t=42&seed_t=20", "melt_t=107.6&seed_t=68")
            ))
            .header("cookie", "hd-degrees=F")
            .body(Body::empty())
            .unwrap(),
        )
        .await;
    assert!(warm.says("89.8 °F if all of it melts"), "{}", warm.text);
}

#[tokio::test]
async fn an_old_bowl_is_forgotten() {
    let works = bench(Entries::OpenOnLoopback);
    let old = Event {
        machine: "fir".parse().unwrap(),
        at: moment("11:40") - Span::from_hours(30),
        by: None,
        kind: EventKind::Charge { couverture: None, lot: None, mass_kg: None, method: None },
        raw: "{}".to_owned(),
    };
    works.state.records.commit(&Update { events: vec![old], ..Update::default() }).unwrap();
    assert!(works.get("/bench/fir").await.says("Choose what goes into the bowl"));
}
