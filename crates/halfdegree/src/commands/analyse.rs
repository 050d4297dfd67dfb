//! `halfdegree analyse`: recorded streams in, one document out.

use std::io::Write;
use std::process::ExitCode;

use anyhow::Context;
use engine::{Analysis, Analyst, MachineAnalysis};
use plant::Plant;
use report::{Analysed, AnalysedMachine, AnalysisDocument, IntakeDto, analysis_text};
use wire::Decoder;

use super::read_plant;
use super::streams::Streams;
use crate::args::{AnalyseArgs, AnalysisFormat};

pub(crate) fn run(args: &AnalyseArgs) -> anyhow::Result<ExitCode> {
    let plant = read_plant(&args.plant)?;
    let mut decoder = Decoder::new(&plant);
    let mut analyst = Analyst::new(plant.clone());
    let (mut messages, mut rejected) = (0_u64, 0_u64);
    for line in Streams::open(&args.streams)? {
        match line {
            Ok(message) => {
                messages += 1;
                let decoded = decoder.decode(&message);
                rejected += decoded.rejects.len() as u64;
                decoded.arrivals.iter().for_each(|arrival| analyst.push(arrival));
            }
            Err(fault) => {
                rejected += 1;
                eprintln!("halfdegree: {fault}");
            }
        }
    }
    let last = decoder.finish();
    rejected += last.rejects.len() as u64;
    last.arrivals.iter().for_each(|arrival| analyst.push(arrival));
    let analysis = analyst.finish()?;
    let intake = IntakeDto {
        messages,
        readings: analysis.readings as u64,
        duplicates: analysis.duplicates as u64,
        rejected,
    };
    let analysed = analysed(&plant, intake, &analysis);
    let mut out = std::io::stdout().lock();
    match args.format {
        AnalysisFormat::Json => serde_json::to_writer_pretty(&mut out, &AnalysisDocument::from(&analysed))?,
        AnalysisFormat::Text => {
            out.write_all(analysis_text(&analysed, plant.time_zone.rules()).as_bytes())?;
        }
    }
    writeln!(out).context("cannot write to standard output")?;
    Ok(ExitCode::SUCCESS)
}

/// The facts of an analysis, for the document and for people.
fn analysed<'a>(plant: &'a Plant, intake: IntakeDto, analysis: &'a Analysis) -> Analysed<'a> {
    let machine = |found: &'a MachineAnalysis| AnalysedMachine {
        id: &found.id,
        name: plant.machine(&found.id).map_or(found.id.as_str(), |machine| &machine.name),
        coverage: &found.coverage,
        batches: &found.batches,
        findings: &found.findings,
        events: Some(&found.events),
    };
    Analysed {
        plant: &plant.name,
        span: analysis.span,
        intake,
        machines: analysis.machines.iter().map(machine).collect(),
        plant_findings: &analysis.plant_findings,
    }
}
