//! A day as other programs see it.

use history::day::{Case, Diagnosis};
use serde::Serialize;

use super::DayWords;

/// What was different on a day.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DayDto {
    /// The form of this document.
    pub schema: &'static str,
    /// The plant's local date.
    pub date: String,
    /// Did anything stand out enough to name a cause?
    pub unusual: bool,
    /// One sentence.
    pub headline: String,
    /// What it means.
    pub statement: Vec<String>,
    /// Machines with a batch, machines that could be compared, machines on which something stands out.
    pub machines: [usize; 3],
    /// Causes, the most probable first.
    pub causes: Vec<CaseDto>,
    /// What moved first, in the order of time.
    pub moved: Vec<String>,
    /// What the first cause does not explain.
    pub unexplained: Vec<String>,
    /// The batches of the day.
    pub batches: Vec<String>,
}

/// A cause.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CaseDto {
    /// Its word.
    pub cause: &'static str,
    /// `most likely`, `likely`, `possible` or `unlikely`.
    pub likelihood: &'static str,
    /// The weight of its evidence; only the order counts.
    pub weight: f64,
    /// On which machines.
    pub machines: Vec<String>,
    /// What speaks for it; empty where it is not told in full.
    pub supports: Vec<String>,
    /// What speaks against it.
    pub opposes: Vec<String>,
    /// What would have helped to tell.
    pub missing: Vec<&'static str>,
    /// The cheapest check.
    pub check: &'static str,
}

impl DayDto {
    /// The document of a day.
    pub fn new(date: &str, found: &Diagnosis, words: &DayWords, batches: Vec<String>) -> DayDto {
        let case = |(place, case): (usize, &Case)| {
            let told = words.causes.get(place);
            CaseDto {
                cause: case.cause.as_str(),
                likelihood: super::likelihood(case.likelihood),
                weight: (case.points * 100.0).round() / 100.0,
                machines: case.machines.iter().map(ToString::to_string).collect(),
                supports: told.map(|told| told.supports.clone()).unwrap_or_default(),
                opposes: told.map(|told| told.opposes.clone()).unwrap_or_default(),
                missing: told.map(|told| told.missing.clone()).unwrap_or_default(),
                check: super::cause::check(case.cause),
            }
        };
        DayDto {
            schema: "halfdegree.day/1",
            date: date.to_owned(),
            unusual: found.is_unusual,
            headline: words.headline.clone(),
            statement: words.lead.clone(),
            machines: [found.reach.ran, found.reach.compared, found.reach.odd],
            causes: found.cases.iter().enumerate().map(case).collect(),
            moved: words.moved.clone(),
            unexplained: words.unexplained.clone(),
            batches,
        }
    }
}
