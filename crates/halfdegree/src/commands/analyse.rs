//! `halfdegree analyse`: recorded streams in, one document out.

use std::collections::BTreeSet;
use std::io::Write;
use std::process::ExitCode;

use anyhow::{Context, bail};
use engine::{Analysis, Analyst, MachineAnalysis};
use plant::Plant;
use report::{Analysed, AnalysedMachine, AnalysisDocument, IntakeDto, analysis_text};
use wire::recording::Pipe;
use wire::{Decoded, Decoder};

use super::read_plant;
use super::streams::{Streams, Unread};
use crate::args::{AnalyseArgs, AnalysisFormat};
use crate::say;
use crate::say::note;

pub(crate) fn run(args: &AnalyseArgs) -> anyhow::Result<ExitCode> {
    let plant = read_plant(&args.plant)?;
    let mut decoder = Decoder::new(&plant);
    let mut analyst = Analyst::new(plant.clone());
    let (mut messages, mut unread, mut taken) = (0_u64, Unread::default(), false);
    let mut take = |decoded: Decoded, unread: &mut Unread| {
        unread.rejects(decoded.rejects);
        taken |= !decoded.arrivals.is_empty();
        decoded.arrivals.iter().for_each(|arrival| analyst.push(arrival));
    };
    for line in Streams::open(&args.streams, Pipe::IsSorted)? {
        match line {
            Ok(message) => {
                messages += 1;
                take(decoder.decode(&message), &mut unread);
            }
            Err(fault) => unread.line(&fault),
        }
    }
    take(decoder.finish(), &mut unread);
    unread.tell();
    unread.refuse(messages)?;
    if !taken && 0 < unread.count() {
        bail!(
            "none of the {messages} messages could be taken; is {} the plant file that belongs to them?",
            args.plant.display()
        );
    }
    let analysis = analyst.finish()?;
    let intake = IntakeDto {
        messages,
        readings: analysis.readings as u64,
        duplicates: analysis.duplicates as u64,
        rejected: unread.count(),
    };
    tell_of_unknown_couvertures(&plant, &analysis);
    let analysed = analysed(&plant, intake, &analysis);
    let mut out = say::Results::default();
    match args.format {
        AnalysisFormat::Json => serde_json::to_writer_pretty(&mut out, &AnalysisDocument::from(&analysed))?,
        AnalysisFormat::Text => {
            out.write_all(analysis_text(&analysed, plant.time_zone.rules()).as_bytes())?;
        }
    }
    writeln!(out).context("cannot write to standard output")?;
    Ok(ExitCode::SUCCESS)
}

/// A charge may name what the plant file does not have. Told once of each machine.
fn tell_of_unknown_couvertures(plant: &Plant, analysis: &Analysis) {
    let mut told = BTreeSet::new();
    for batch in analysis.machines.iter().flat_map(|machine| &machine.batches) {
        let usual = plant.machine(&batch.machine).map(|machine| &machine.couverture);
        if let (None, Some(usual)) = (plant.couverture(&batch.couverture), usual)
            && told.insert((&batch.machine, &batch.couverture))
        {
            note!(
                "halfdegree: a charge of {} names the couverture `{}`, which is not in the plant file; the limits of `{usual}` are used. Add it to the \
                 plant file, or correct the charge",
                batch.id,
                batch.couverture
            );
        }
    }
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
