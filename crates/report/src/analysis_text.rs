//! An analysis as text for a person at the kettle: narrow enough for any terminal, what needs someone marked in words.

use std::fmt::Write as _;

use jiff::tz::TimeZone;
use model::{Batch, Channel, Event, Finding, Priority};

use crate::help::TEMPER_CAUTION;
use crate::saying::{day_and_hour, hour_beside, length, plain};
use crate::statement::{Telling, statement};
use crate::{Analysed, AnalysedMachine, measure_rows};

/// Lines are broken here.
const WIDTH: usize = 80;

/// The analysis in words, on the plant's clock.
pub fn analysis_text(analysed: &Analysed<'_>, zone: &TimeZone) -> String {
    let mut text = Text { out: String::new(), zone };
    text.head(analysed);
    for machine in &analysed.machines {
        text.machine(machine, analysed);
    }
    if !analysed.plant_findings.is_empty() {
        text.line(0, "The works as a whole");
        text.findings(analysed.plant_findings);
    }
    text.line(0, TEMPER_CAUTION);
    text.out
}

struct Text<'a> {
    out: String,
    zone: &'a TimeZone,
}

impl Text<'_> {
    /// Writes `words`, broken into lines that hang at `indent`.
    fn line(&mut self, indent: usize, words: &str) {
        self.hanging(indent, indent, words);
    }

    /// The same, with later lines at `hang`.
    fn hanging(&mut self, indent: usize, hang: usize, words: &str) {
        let mut line = " ".repeat(indent);
        let mut is_fresh = true;
        for word in words.split(' ') {
            if !is_fresh && WIDTH < line.chars().count() + 1 + word.chars().count() {
                self.raw(&line);
                line = " ".repeat(hang);
                is_fresh = true;
            }
            if !is_fresh {
                line.push(' ');
            }
            line.push_str(word);
            is_fresh = false;
        }
        self.raw(&line);
    }

    fn raw(&mut self, line: &str) {
        writeln!(self.out, "{}", line.trim_end()).expect("a String takes all that is written");
    }

    fn blank(&mut self) {
        self.out.push('\n');
    }

    fn head(&mut self, analysed: &Analysed<'_>) {
        self.line(0, analysed.plant);
        let zone = self.zone.iana_name().unwrap_or("local time");
        match analysed.span {
            Some((from, to)) => {
                let span = format!(
                    "{} to {}, {zone}",
                    day_and_hour(from, self.zone),
                    hour_beside(to, from, self.zone)
                );
                self.line(0, &span);
            }
            None => self.line(0, "There is no reading and no event in what was given."),
        }
        let intake = analysed.intake;
        let counts = format!(
            "{} messages, {} readings, {} seen twice, {} could not be read",
            intake.messages, intake.readings, intake.duplicates, intake.rejected
        );
        self.line(0, &counts);
        self.blank();
    }

    fn machine(&mut self, machine: &AnalysedMachine<'_>, analysed: &Analysed<'_>) {
        let known = machine.coverage.iter().find(|(channel, _)| *channel == Channel::Chocolate);
        let known = match known {
            Some((_, share)) => format!("chocolate known for {:.1} % of the time", share * 100.0),
            None => "no readings of the chocolate".to_owned(),
        };
        self.line(0, &format!("{} ({}): {known}", machine.name, machine.id));
        for batch in machine.batches {
            self.batch(batch, machine, analysed);
        }
        if machine.batches.is_empty() {
            self.line(2, "No batch.");
            self.blank();
        }
        let outside: Vec<Finding> =
            machine.findings.iter().filter(|f| !is_of_a_batch(f, machine.batches)).cloned().collect();
        if !outside.is_empty() {
            self.line(2, "Outside of any batch");
            self.findings(&outside);
        }
    }

    fn batch(&mut self, batch: &Batch, machine: &AnalysedMachine<'_>, analysed: &Analysed<'_>) {
        let reasons = batch.reasons.join("; ");
        let reasons = if reasons.is_empty() { String::new() } else { format!(" ({reasons})") };
        self.hanging(2, 4, &format!("Batch {}: {}{reasons}", batch.id, plain(batch.standing.as_str())));
        let findings: Vec<Finding> = machine
            .findings
            .iter()
            .filter(|finding| finding.batch.as_ref() == Some(&batch.id))
            .cloned()
            .collect();
        let seen_to = analysed.span.map_or(batch.start, |(_, to)| to);
        let events: Option<Vec<Event>> =
            machine.events.map(|events| events.iter().filter(|e| is_during(e, batch)).cloned().collect());
        let telling = Telling {
            batch,
            machine: machine.name,
            couverture: batch.couverture.as_str(),
            findings: &findings,
            events: events.as_deref(),
            usual: None,
            zone: self.zone,
            seen_to,
        };
        for paragraph in statement(&telling) {
            self.line(4, &paragraph);
        }
        self.blank();
        for span in &batch.phases {
            let (from, to) = (hour_beside(span.from, batch.start, self.zone), span.to.unwrap_or(seen_to));
            let lasted = length(to - span.from);
            let open = if span.to.is_none() { " so far" } else { "" };
            self.line(4, &format!("{:<12}from {from:<20} {lasted:>10}{open}", span.phase.as_str()));
        }
        self.blank();
        for row in measure_rows(&batch.measures, None).iter().filter(|row| row.value.is_some()) {
            self.line(4, &format!("{:<30} {:>14}", row.label, row.says()));
        }
        self.blank();
        self.findings(&findings);
    }

    fn findings(&mut self, findings: &[Finding]) {
        for finding in findings {
            let Finding { kind, priority, from, to, raised_at, says, advice, superseded_by, .. } = finding;
            let mark = match priority {
                Priority::High => "NOW  ",
                Priority::Medium => "soon ",
                Priority::Low => "later",
            };
            let raised = day_and_hour(*raised_at, self.zone);
            let state = match to {
                None => "still open".to_owned(),
                Some(to) => format!("over after {}", length(*to - *from)),
            };
            let taken = superseded_by.as_ref().map(|_| ", taken over by a worse one").unwrap_or_default();
            self.hanging(4, 10, &format!("{mark} {}: raised {raised}, {state}{taken}", plain(kind.as_str())));
            self.line(10, says);
            if superseded_by.is_none() && !advice.is_empty() {
                self.line(10, &format!("To do: {advice}"));
            }
        }
        if !findings.is_empty() {
            self.blank();
        }
    }
}

fn is_of_a_batch(finding: &Finding, batches: &[Batch]) -> bool {
    batches.iter().any(|batch| finding.batch.as_ref() == Some(&batch.id))
}

fn is_during(event: &Event, batch: &Batch) -> bool {
    batch.start <= event.at && batch.end.is_none_or(|end| event.at <= end)
}
