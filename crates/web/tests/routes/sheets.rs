//! Day, week, comparison and a batch on paper: every form of them, and what is entered on the page of a week.

use axum::body::Body;
use axum::http::{Request, StatusCode};
use model::{
    Arrival, Batch, BatchId, Channel, Confidence, Content, Event, EventKind, Grade, MachineId, Measures,
    Method, Phase, PhaseSpan, Reading, Span, Standing, TemperTest, Timestamp,
};
use records::Update;
use web::{Entries, Paper, WebConfig};

use crate::works::{Answer, Sink, Works, works_with};

/// The last week that is over at noon of Monday 2 March 2026.
const WEEK: &str = "/weeks/2026-W09";

/// Five days of Alder, the last of which cooled at half the rate.
fn busy(config: WebConfig) -> Works {
    let works = works_with(config, Sink::default());
    for day in 23..=27 {
        let tau_min = if day == 27 { 90.0 } else { 45.0 };
        works.fill(vec![batch(day, tau_min)], &course(day, tau_min));
    }
    works
}

fn open() -> Works {
    busy(WebConfig { entries: Entries::OpenOnLoopback, ..WebConfig::default() })
}

/// A program that has something to set a PDF with: here the source itself, so that it can be read.
fn with_paper() -> Works {
    let paper = Paper::new(|source, files| {
        let named: Vec<&str> = files.iter().map(|(name, _)| *name).collect();
        Ok(format!("%PDF {} {source}", named.join(" ")).into_bytes())
    });
    busy(WebConfig { paper: Some(paper), ..WebConfig::default() })
}

fn alder() -> MachineId {
    "alder".parse().unwrap()
}

fn at(day: i64, minute: f64) -> Timestamp {
    let midnight: Timestamp = format!("2026-02-{day}T00:00:00Z").parse().unwrap();
    midnight + Span::from_mins_f64(minute)
}

const MELTED_C: f64 = 45.0;
const ROOM_C: f64 = 20.0;
const WORKING_C: f64 = 31.5;
const COOLING_FROM: f64 = 420.0;

/// Newton's law down to the working temperature.
fn cooling_minutes(tau_min: f64) -> f64 {
    tau_min * ((MELTED_C - ROOM_C) / (WORKING_C - ROOM_C)).ln()
}

fn batch(day: i64, tau_min: f64) -> Batch {
    let cooling = cooling_minutes(tau_min);
    let phase = |phase, from: f64, to: f64| PhaseSpan {
        phase,
        from: at(day, from),
        to: Some(at(day, to)),
        confidence: Confidence::High,
    };
    Batch {
        id: BatchId::new(&alder(), at(day, 300.0)),
        machine: alder(),
        couverture: "dark-64".parse().unwrap(),
        lot: Some("L7".to_owned()),
        method: Method::Seed,
        mass_kg: Some(48.0),
        start: at(day, 300.0),
        end: Some(at(day, 840.0)),
        phases: vec![
            phase(Phase::Melting, 300.0, 360.0),
            phase(Phase::Soak, 360.0, COOLING_FROM),
            phase(Phase::Cooling, COOLING_FROM, COOLING_FROM + cooling),
            phase(Phase::Working, COOLING_FROM + cooling, 840.0),
        ],
        measures: Measures {
            cooling_minutes: Some(cooling),
            cooling_tau_min: Some(tau_min),
            settled_c: Some(WORKING_C),
            working_minutes: Some(420.0 - cooling),
            working_mean_c: Some(WORKING_C),
            working_sd_c: Some(0.1),
            ..Measures::default()
        },
        standing: Standing::Unproven,
        reasons: vec!["no temper test".to_owned()],
    }
}

/// A reading a minute.
fn course(day: i64, tau_min: f64) -> Vec<Arrival> {
    let celsius = |minute: f64| {
        let since = (minute - COOLING_FROM).max(0.0);
        (ROOM_C + (MELTED_C - ROOM_C) * (-since / tau_min).exp()).max(WORKING_C)
    };
    let reading = |minute: i32| {
        let minute = f64::from(minute);
        let value = Some(celsius(minute));
        let reading = Reading { machine: alder(), channel: Channel::Chocolate, at: at(day, minute), value };
        Arrival { arrived: at(day, minute), retained: false, content: Content::Reading(reading) }
    };
    (300..840).map(reading).collect()
}

async fn entered(works: &Works, address: &str, body: &str) -> Answer {
    let form = Request::post(address)
        .header("host", "127.0.0.1:8460")
        .header("content-type", "application/x-www-form-urlencoded")
        .body(Body::from(body.to_owned()))
        .unwrap();
    works.send(form).await
}

async fn forms(works: &Works, page: &str, forms: &[(&str, &str, &str)]) {
    for (ending, media_type, begins) in forms {
        let answer = works.get(&format!("{page}.{ending}")).await;
        assert_eq!(answer.status, StatusCode::OK, "{page}.{ending}: {}", answer.text);
        assert!(answer.header("content-type").starts_with(media_type), "{page}.{ending}");
        assert!(answer.text.starts_with(begins), "{page}.{ending}: {:.80}", answer.text);
    }
}

#[tokio::test]
async fn a_day_tells_what_was_different_and_an_ordinary_one_says_so() {
    let works = open();
    assert_eq!(works.get("/days").await.header("location"), "/days/2026-03-02");
    let slow = works.get("/days/2026-02-27").await;
    assert_eq!(slow.status, StatusCode::OK);
    for words in [
        "Most likely the heat transfer (jacket, valve or fan) on Alder",
        "Alder: cooling time constant 90 min, usually 45 min (4 batches)",
        "Temperature alone never proves temper",
    ] {
        assert!(slow.says(words), "{words}");
    }
    let ordinary = works.get("/days/2026-02-26").await;
    assert!(ordinary.says("Nothing unusual"), "{}", ordinary.text);
    assert!(!ordinary.says("Most likely"));
}

#[tokio::test]
async fn days_and_weeks_are_in_celsius_and_on_the_plants_clock_for_everybody() {
    let works = open();
    let read_as = |cookies: &'static str, address: &'static str| {
        works.send(Request::get(address).header("cookie", cookies).body(Body::empty()).unwrap())
    };
    for address in ["/days/2026-02-27", WEEK] {
        let page = read_as("hd-degrees=F; hd-zone=Asia/Kolkata", address).await;
        let body = page.text.split_once("<main").map_or("", |(_, body)| body);
        assert!(body.contains("°C") && !body.contains("°F"), "{address}: {body}");
    }
    let day = read_as("hd-degrees=F; hd-zone=Asia/Kolkata", "/days/2026-02-27").await;
    assert!(day.says(">Fri 27 Feb, 05:00<"), "{}", day.text);
    let compared = read_as("hd-degrees=F", "/compare?machine=alder").await;
    assert!(
        compared.says("0.18 °F") && !compared.says("32.18 °F"),
        "a scatter is a difference: {}",
        compared.text
    );
    assert!(read_as("", "/display").await.says("Days, weeks and their forms stay in °C"));
}

#[tokio::test]
async fn a_day_comes_in_every_form() {
    let works = open();
    forms(
        &works,
        "/days/2026-02-27",
        &[
            ("json", "application/json", "{"),
            ("csv", "text/csv", "machine,batch,figure,value"),
            ("svg", "image/svg+xml", "<svg"),
            ("png", "image/png", "\u{fffd}PNG"),
            ("xlsx", "application/vnd.openxmlformats", "PK"),
        ],
    )
    .await;
    let causes = &works.get("/days/2026-02-27.json").await.json()["causes"];
    assert_eq!(causes[0]["cause"], "heat-transfer", "{causes}");
    for address in ["/days/2026-02-30", "/days/tomorrow", "/days/2026-02-27.docx"] {
        assert_eq!(works.get(address).await.status, StatusCode::NOT_FOUND, "{address}");
    }
    assert_eq!(works.get("/days/2026-02-01.svg").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn a_week_comes_in_every_form() {
    let works = open();
    let page = works.get(WEEK).await;
    for words in [
        "Five batches; five of them need a look",
        "Look at these first",
        "Temperature alone never proves temper",
    ] {
        assert!(page.says(words), "{words}: {}", page.text);
    }
    forms(
        &works,
        WEEK,
        &[
            ("json", "application/json", "{"),
            ("csv", "text/csv", "Batch,"),
            ("xlsx", "application/vnd.openxmlformats", "PK"),
        ],
    )
    .await;
    assert_eq!(works.get("/weeks/2026-W60").await.status, StatusCode::NOT_FOUND);
    // A week without a batch is a week, too.
    assert_eq!(works.get("/weeks/2026-W01").await.status, StatusCode::OK);
}

#[tokio::test]
async fn paper_is_offered_where_it_can_be_set_and_nowhere_else() {
    let id = BatchId::new(&alder(), at(27, 300.0));
    let pages = ["/days/2026-02-27".to_owned(), WEEK.to_owned(), format!("/batches/{id}")];
    let (with, without) = (with_paper(), open());
    for page in pages {
        let address = format!("{page}.pdf");
        let offer = format!("href=\"{}\"", address.replace('/', "&#x2f;"));
        let set = with.get(&address).await;
        assert_eq!(set.status, StatusCode::OK, "{}", set.text);
        assert_eq!(set.header("content-type"), "application/pdf");
        assert!(set.text.starts_with("%PDF") && set.says("Alder"), "{}", set.text);
        assert!(with.get(&page).await.text.contains(&offer), "{page}");
        assert!(!without.get(&page).await.text.contains(&offer), "{page}");
        let refused = without.get(&address).await;
        assert_eq!(refused.status, StatusCode::NOT_FOUND);
        assert!(refused.says("This program was built without PDF."), "{}", refused.text);
    }
    let batch = with.get(&format!("/batches/{id}.pdf")).await;
    assert!(batch.text.starts_with("%PDF curve.svg "), "{}", batch.text);
    assert!(batch.says("Cooling time constant") && batch.says("48 kg"), "{}", batch.text);
}

#[tokio::test]
async fn an_action_is_opened_and_done() {
    let works = open();
    let opened = entered(
        &works,
        &format!("{WEEK}/actions"),
        "what=Clean+the+valve+of+Alder&who=ana&due=2026-03-06&machine=alder&figure=cooling_tau_min",
    )
    .await;
    let page = works.get(WEEK).await;
    assert_eq!(opened.status, StatusCode::SEE_OTHER, "{}", opened.text);
    assert!(page.says("Clean the valve of Alder"), "{}", page.text);
    let id = works.state.records.actions().unwrap()[0].id.clone();
    let done = entered(&works, &format!("{WEEK}/actions/done"), &format!("action={id}")).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.text);
    assert!(works.state.records.actions().unwrap()[0].done.is_some());
    let again = entered(&works, &format!("{WEEK}/actions/done"), "action=nonsense").await;
    assert_eq!(again.status, StatusCode::BAD_REQUEST);
    let empty = entered(&works, &format!("{WEEK}/actions"), "what=&who=ana").await;
    assert_eq!(empty.status, StatusCode::BAD_REQUEST);
    assert!(empty.says("should be what is to be done"), "{}", empty.text);
}

#[tokio::test]
async fn a_week_is_signed_once_and_stays_as_it_was_signed() {
    let works = open();
    let early = entered(&works, "/weeks/2026-W10/sign-off", "by=ana").await;
    assert!(early.says("A week can be signed when it is over."), "{}", early.text);
    let signed = entered(&works, &format!("{WEEK}/sign-off"), "by=ana").await;
    assert_eq!(signed.status, StatusCode::SEE_OTHER, "{}", signed.text);
    assert!(works.get(WEEK).await.says("Signed by ana"));
    let kept = works.get(&format!("{WEEK}.json")).await.text;
    works.fill(vec![batch(28, 45.0)], &course(28, 45.0));
    assert_eq!(works.get(&format!("{WEEK}.json")).await.text, kept, "what was signed does not change");
    let again = entered(&works, &format!("{WEEK}/sign-off"), "by=bo").await;
    assert!(again.says("a week is signed once"), "{}", again.text);
}

#[tokio::test]
async fn a_batch_of_sunday_night_keeps_what_was_told_of_it_on_monday() {
    let works = works_with(WebConfig::default(), Sink::default());
    let mut sunday = batch(28, 45.0);
    let later = Span::from_hours(38);
    sunday.start += later;
    sunday.id = BatchId::new(&alder(), sunday.start);
    sunday.end = None;
    for span in &mut sunday.phases {
        (span.from, span.to) = (span.from + later, span.to.map(|to| to + later));
    }
    let worked_from = sunday.first(Phase::Working).unwrap().from;
    let test = Event {
        machine: alder(),
        at: worked_from + Span::from_hours(4),
        by: None,
        kind: EventKind::TemperTest(TemperTest {
            gloss: Grade::Poor,
            contraction: Grade::Good,
            snap: Grade::Good,
            minutes: None,
        }),
        raw: String::new(),
    };
    assert!(test.at > "2026-03-02T00:00:00Z".parse().unwrap(), "after the week");
    let update = Update { batches: vec![sunday], events: vec![test], ..Update::default() };
    works.state.records.commit(&update).unwrap();
    let page = works.get(WEEK).await;
    assert!(page.says("The last temper test failed"), "{}", page.text);
}

#[tokio::test]
async fn a_signed_week_says_that_records_changed_only_when_they_did() {
    let works = open();
    let action = "what=Clean+the+valve+of+Alder&who=ana&machine=alder&figure=cooling_tau_min";
    let opened = entered(&works, &format!("{WEEK}/actions"), action).await;
    assert!(works.get(opened.header("location")).await.says("It has been entered."));
    entered(&works, &format!("{WEEK}/sign-off"), "by=ana").await;
    let id = works.state.records.actions().unwrap()[0].id.clone();
    entered(&works, &format!("{WEEK}/actions/done"), &format!("action={id}")).await;
    entered(&works, &format!("{WEEK}/actions"), "what=Another&who=bo").await;
    let page = works.get(WEEK).await;
    assert!(page.says("Signed by ana") && !page.says("have changed since"), "{}", page.text);
    assert!(!page.says(&format!("{id}: Clean the valve")), "what is done is not offered again");
    let mut other = batch(27, 90.0);
    other.measures.settled_c = Some(31.9);
    works.fill(vec![other], &[]);
    assert!(works.get(WEEK).await.says("Records of this week have changed since it was signed"));
}

#[tokio::test]
async fn without_signing_in_nothing_is_entered_on_a_week() {
    let works = busy(WebConfig::default());
    for (address, body) in [("actions", "what=x&who=y"), ("actions/done", "action=1"), ("sign-off", "by=ana")]
    {
        let answer = entered(&works, &format!("{WEEK}/{address}"), body).await;
        assert_eq!(answer.status, StatusCode::UNAUTHORIZED, "{address}");
    }
    assert_eq!(works.state.records.actions().unwrap().len(), 0);
}

#[tokio::test]
async fn batches_machines_and_lots_are_laid_side_by_side() {
    let works = open();
    let ids = [26, 27].map(|day| BatchId::new(&alder(), at(day, 300.0)));
    let named = works.get(&format!("/compare?batch={}&batch={}", ids[0], ids[1])).await;
    for words in ["2 batches, laid over each other", "90.0 min", "45.0 min"] {
        assert!(named.says(words), "{words}: {}", named.text);
    }
    assert!(named.text.contains("<svg"));
    assert!(works.get("/compare?machine=alder").await.says("4 batches"));
    assert!(works.get("/compare?lot=L7").await.says("4 batches"));
    assert!(works.get("/compare").await.says("Choose batches, machines or lots"));
    for (address, status) in [("colour=red", 400), ("batch=nobody", 404), ("machine=nobody", 404)] {
        let answer = works.get(&format!("/compare?{address}")).await;
        assert_eq!(answer.status.as_u16(), status, "{address}");
    }
}
