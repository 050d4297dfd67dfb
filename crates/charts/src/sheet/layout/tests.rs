//! A made-up morning at Alder, drawn and looked at as text.

use super::*;
use jiff::tz::TimeZone;
use model::{
    Band, Event, EventKind, Finding, FindingId, FindingKind, Grade, Phase, PhaseSpan, Span, TemperTest,
};

use crate::{ReferencePoint, Width};

type Readings = Vec<(Timestamp, Option<f64>)>;

fn start() -> Timestamp {
    "2026-03-02T04:30:00Z".parse().unwrap()
}

fn minute(minutes: f64) -> Timestamp {
    start() + Span::from_mins_f64(minutes)
}

/// Melt, soak, Newton cooling towards 20 °C, a seed dip, a hold with one rise: formula of Newton's law of cooling.
fn chocolate_at(minutes: f64) -> f64 {
    match minutes {
        m if m < 60.0 => 46.5 - 20.0 * (-m / 18.0).exp(),
        m if m < 95.0 => 45.8,
        m if m < 150.0 => 20.0 + 25.8 * (-(m - 95.0) / 70.0).exp(),
        m if m < 156.0 => 31.76 - (m - 150.0) * 0.25,
        m if m < 175.0 => 30.26 + (m - 156.0) * 0.06,
        m if (330.0..372.0).contains(&m) => 31.4 + 2.9 * ((m - 330.0) / 42.0 * std::f64::consts::PI).sin(),
        m => 31.4 + 0.08 * (m / 3.0).sin(),
    }
}

fn morning(curve: impl Fn(f64) -> f64, gap: std::ops::Range<i64>) -> Readings {
    (0..480 * 60)
        .filter(|second| !gap.contains(&(second / 60)))
        .map(|second| {
            let minutes = second as f64 / 60.0;
            (minute(minutes), Some((curve(minutes) * 100.0).round() / 100.0))
        })
        .collect()
}

fn finding(kind: FindingKind, priority: Priority, from: f64, to: Option<f64>) -> Finding {
    let raised_at = minute(from + 5.0);
    Finding {
        id: FindingId::new("alder", kind.as_str(), raised_at),
        machine: Some("alder".parse().unwrap()),
        batch: None,
        kind,
        priority,
        from: minute(from),
        to: to.map(minute),
        raised_at,
        says: String::new(),
        evidence: Vec::new(),
        advice: String::new(),
        superseded_by: None,
    }
}

fn event(minutes: f64, kind: EventKind) -> Event {
    Event { machine: "alder".parse().unwrap(), at: minute(minutes), by: None, kind, raw: String::new() }
}

fn phases() -> Vec<PhaseSpan> {
    let borders = [
        (Phase::Melting, 0.0, 52.0),
        (Phase::Soak, 52.0, 95.0),
        (Phase::Cooling, 95.0, 146.0),
        (Phase::Settling, 146.0, 178.0),
        (Phase::Working, 178.0, f64::NAN),
    ];
    let span = |(phase, from, to): (Phase, f64, f64)| {
        let to = to.is_finite().then(|| minute(to));
        PhaseSpan { phase, from: minute(from), to, confidence: model::Confidence::Medium }
    };
    borders.map(span).to_vec()
}

fn reference() -> Vec<ReferencePoint> {
    (19..60)
        .map(|step| {
            let minutes = f64::from(step) * 5.0;
            let median = if minutes < 165.0 { 20.0 + 25.8 * (-(minutes - 95.0) / 80.0).exp() } else { 31.5 };
            let median = median.max(31.3);
            ReferencePoint { at: minute(minutes), low: median - 0.5, median, high: median + 0.6 }
        })
        .collect()
}

struct Day {
    chocolate: Readings,
    jacket: Readings,
    room: Readings,
    setpoint: Readings,
    motor: Readings,
    findings: Vec<Finding>,
    events: Vec<Event>,
}

fn day() -> Day {
    let test = |gloss| TemperTest { gloss, contraction: Grade::Good, snap: Grade::Good, minutes: Some(6.0) };
    Day {
        chocolate: morning(chocolate_at, 270..288),
        jacket: morning(
            |m| {
                if m < 95.0 {
                    49.0
                } else if m < 146.0 {
                    19.0 + 0.5 * (m / 4.0).sin()
                } else {
                    33.0 + (m / 6.0).sin()
                }
            },
            0..0,
        ),
        room: morning(|m| 20.5 + m / 300.0, 0..0),
        setpoint: morning(|m| if m < 95.0 { 46.0 } else { 31.5 }, 0..0),
        motor: morning(|m| if m < 20.0 { 0.0 } else { 3.2 + m / 900.0 + 0.05 * (m * 1.7).sin() }, 0..0),
        findings: vec![
            finding(FindingKind::TestDue, Priority::Low, 188.0, Some(215.0)),
            finding(FindingKind::Silent, Priority::High, 270.0, Some(288.0)),
            finding(FindingKind::WarmHold, Priority::Medium, 333.0, Some(345.0)),
            finding(FindingKind::TemperLoss, Priority::High, 340.0, Some(368.0)),
            finding(FindingKind::TestDue, Priority::Low, 400.0, None),
        ],
        events: vec![
            event(2.0, EventKind::Charge { couverture: None, lot: None, mass_kg: Some(48.0), method: None }),
            event(150.0, EventKind::Seed { mass_kg: Some(12.0), temperature: Some(20.0), lot: None }),
            event(215.0, EventKind::TemperTest(test(Grade::Good))),
            event(240.0, EventKind::TopUp { mass_kg: Some(3.0), temperature: Some(33.0), lot: None }),
            event(252.0, EventKind::Reference { temperature: 31.3 }),
            event(385.0, EventKind::TemperTest(test(Grade::Poor))),
        ],
    }
}

fn sheet<'a>(day: &'a Day, zone: &'a TimeZone, width: Width) -> Sheet<'a> {
    Sheet::new("Alder, dark-64, Mon 2 March", start(), minute(480.0), zone)
        .width(width)
        .curve(Channel::Chocolate, &day.chocolate)
        .curve(Channel::Jacket, &day.jacket)
        .curve(Channel::Setpoint, &day.setpoint)
        .curve(Channel::Room, &day.room)
        .curve(Channel::Motor, &day.motor)
        .working(Band::new(31.0, 32.0).unwrap())
        .melt(Band::new(45.0, 50.0).unwrap())
        .limit("floor", 27.0)
        .limit("temper-loss limit", 33.5)
        .limit("scorch limit", 55.0)
        .reference(reference())
        .phases(&phases())
        .findings(&day.findings)
        .events(&day.events)
        .close_up()
}

fn lisbon() -> TimeZone {
    TimeZone::get("Europe/Lisbon").unwrap()
}

fn texts(svg: &str) -> Vec<&str> {
    svg.lines()
        .filter_map(|line| line.strip_suffix("</text>")?.rsplit_once('>').map(|(_, text)| text))
        .collect()
}

/// Points of the strokes of one colour.
fn points(svg: &str, class: &str) -> Vec<(f64, f64)> {
    svg.lines()
        .filter(|line| line.starts_with("<polyline") && line.contains(&format!("\"hd-s-{class}\"")))
        .filter_map(|line| line.split_once("points=\"")?.1.split_once('"').map(|(points, _)| points))
        .flat_map(|points| points.split(' '))
        .map(|point| {
            let (x, y) = point.split_once(',').unwrap();
            (x.parse().unwrap(), y.parse().unwrap())
        })
        .collect()
}

#[test]
fn everything_that_was_told_has_its_word() {
    let (day, zone) = (day(), lisbon());
    for width in [Width::Wide, Width::Narrow] {
        let svg = sheet(&day, &zone, width).svg();
        let found = texts(&svg);
        // A narrow strip has room for the words of long phases only; the sentence has them all.
        assert!(width == Width::Narrow || found.contains(&"cooling"));
        for word in [
            "Alder, dark-64, Mon 2 March",
            "chocolate",
            "jacket",
            "set-point",
            "room",
            "usual course, 10–90 %",
            "no readings",
            "working range 31.0–32.0",
            "melt range 45–50",
            "temper-loss limit 33.5",
            "floor 27.0",
            "Seed crystals at risk",
            "No readings arrive",
            "Held too warm",
            "A temper test is due",
            "charge 48 kg",
            "seed 12 kg",
            "test: good",
            "top-up 3 kg",
            "by hand 31.3 °C",
            "test: poor",
            "working",
            "Mon 2 Mar",
            "06:00",
            "motor",
            "A",
            "°C",
        ] {
            assert!(found.contains(&word), "{width:?}: {word} is not among {found:?}");
        }
    }
}

#[test]
fn the_sentence_says_what_the_picture_shows() {
    let (day, zone) = (day(), lisbon());
    let svg = sheet(&day, &zone, Width::Wide).svg();
    let said = svg.split_once("<desc>").unwrap().1.split_once("</desc>").unwrap().0;
    expect_test::expect!["Alder, dark-64, Mon 2 March, Mon 2 Mar 2026 04:30 to 12:30. Chocolate: highest 45.8 °C at 05:30, lowest 26.5 °C at 04:30, last 31.4 °C at 12:29. Phases: melting from 04:30, soak from 05:22, cooling from 06:05, settling from 06:56, working from 07:28. Findings: A temper test is due (low) at 07:43, No readings arrive (high) at 09:05, Held too warm (medium) at 10:08, Seed crystals at risk (high) at 10:15, A temper test is due (low) at 11:15. No readings for 18 minutes in all."].assert_eq(said);
}

#[test]
fn no_more_points_than_the_pixels_ask_for() {
    let (day, zone) = (day(), lisbon());
    let svg = sheet(&day, &zone, Width::Wide).svg();
    // Two panels and the key, at most four points a column.
    let columns = f64::from(WIDE.width) - WIDE.left - WIDE.right_margin;
    let cocoa = points(&svg, "cocoa").len() as f64;
    assert!(columns < cocoa && cocoa <= 2.0 * 4.0 * columns + 10.0, "{cocoa} points on {columns} columns");
    assert!(svg.len() < 200_000, "{} bytes", svg.len());
}

#[test]
fn a_peak_of_one_second_is_still_seen() {
    let zone = lisbon();
    let mut chocolate = morning(|_| 31.5, 0..0);
    chocolate[20_000].1 = Some(39.0);
    let svg = Sheet::new("Alder", start(), minute(480.0), &zone).curve(Channel::Chocolate, &chocolate).svg();
    let panel = svg.split_once("data-panels=\"").unwrap().1.split_once('"').unwrap().0;
    let numbers: Vec<f64> = panel.split(',').filter_map(|n| n.parse().ok()).collect();
    let [top, bottom, low, high] = numbers[..] else { panic!("{panel}") };
    // The key's stroke stands above the panel and is no reading.
    let peak = points(&svg, "cocoa").into_iter().map(|p| p.1).filter(|y| top <= *y).fold(f64::MAX, f64::min);
    let drawn = high - (peak - top) / (bottom - top) * (high - low);
    assert!((drawn - 39.0).abs() < 0.1, "the peak is drawn at {drawn}");
}

#[test]
fn nothing_is_drawn_where_nothing_is_known() {
    let (day, zone) = (day(), lisbon());
    let svg = sheet(&day, &zone, Width::Wide).svg();
    let x =
        |minutes: f64| WIDE.left + minutes / 480.0 * (f64::from(WIDE.width) - WIDE.left - WIDE.right_margin);
    let inside = points(&svg, "cocoa").into_iter().filter(|p| x(271.0) < p.0 && p.0 < x(287.0)).count();
    assert_eq!(inside, 0);
    assert!(svg.contains("hd-s-gap"));
}

#[test]
fn no_phase_is_named_where_nothing_is_known() {
    let zone = lisbon();
    // Nothing is known from the 60th minute to the 180th, which is the middle of working.
    let chocolate = morning(|_| 31.5, 60..180);
    let working =
        PhaseSpan { phase: Phase::Working, from: start(), to: None, confidence: model::Confidence::Medium };
    let (from, to) = (start(), minute(240.0));
    let bare = Sheet::new("Alder", from, to, &zone).curve(Channel::Chocolate, &chocolate);
    let hatched = |svg: &str| svg.matches("hd-s-gap").count();
    let in_panel = hatched(&bare.svg());
    let svg = bare.phases(&[working]).svg();
    assert!(in_panel < hatched(&svg), "the strip is hatched like the panel");
    let word = svg.split("<text").find(|text| text.contains(">working</text>")).unwrap();
    let x: f64 = word.split_once(" x=\"").unwrap().1.split_once('"').unwrap().0.parse().unwrap();
    let place =
        |minutes: f64| WIDE.left + minutes / 240.0 * (f64::from(WIDE.width) - WIDE.left - WIDE.right_margin);
    assert!(x < place(60.0) || place(180.0) < x, "{x}");
}

#[test]
fn an_empty_sheet_says_that_it_is_empty() {
    let zone = lisbon();
    let svg = Sheet::new("Birch", start(), start(), &zone).curve(Channel::Chocolate, &[]).svg();
    assert!(svg.contains("There are no readings of the chocolate."));
    assert!(svg.contains("hd-s-gap"));
}

#[test]
fn a_title_cannot_break_out() {
    let zone = lisbon();
    let svg = Sheet::new("<script>&\"", start(), minute(10.0), &zone).svg();
    assert!(!svg.contains("<script>"));
}

#[test]
fn hand_readings_are_shown_one_by_one() {
    let zone = lisbon();
    let few: Readings =
        (0..10).map(|n| (minute(f64::from(n) * 4.0), Some(31.0 + f64::from(n) * 0.1))).collect();
    let svg = Sheet::new("Bowl", start(), minute(40.0), &zone).curve(Channel::Chocolate, &few).svg();
    assert_eq!(svg.matches("<circle").count(), 10);
}
