//! `halfdegree review`: the review of a week as a file, from the data folder of a service, running or not.

use std::fs;
use std::process::ExitCode;

use anyhow::{Context, bail};
use history::gather;
use history::week::review;
use model::Timestamp;
use plant::Plant;
use report::{Gallery, Names, ReviewSheet, Reviewed, review_html, review_sheet, review_source, review_xlsx};
use service::DataFolder;

use super::read_plant;
use crate::args::ReviewArgs;
use crate::say::say;

/// How the review is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    Html,
    Xlsx,
    Pdf,
}

pub(crate) fn run(args: &ReviewArgs) -> anyhow::Result<ExitCode> {
    let form = form_of(args)?;
    if !args.data.join(service::JOURNAL_FILE).is_file() {
        bail!(
            "{} is no data folder of a service: there is no {} in it",
            args.data.display(),
            service::JOURNAL_FILE
        );
    }
    let folder = DataFolder::new(&args.data);
    let plant = read_plant(args.plant.as_ref().unwrap_or(&folder.plant_file()))?;
    let (sheet, end) = sheet_of(args, &folder, &plant)?;
    let zone = plant.time_zone.rules();
    let file = match form {
        Form::Html => review_html(&sheet, zone).into_bytes(),
        Form::Xlsx => review_xlsx(&sheet, zone, end).context("cannot make the workbook")?,
        Form::Pdf => pdf(&sheet, &plant)?,
    };
    fs::write(&args.out, file).with_context(|| format!("cannot write {}", args.out.display()))?;
    say!("{}", args.out.display());
    Ok(ExitCode::SUCCESS)
}

fn form_of(args: &ReviewArgs) -> anyhow::Result<Form> {
    match args.out.extension().and_then(|ending| ending.to_str()) {
        Some("html") => Ok(Form::Html),
        Some("xlsx") => Ok(Form::Xlsx),
        Some("pdf") if cfg!(feature = "pdf") => Ok(Form::Pdf),
        Some("pdf") => bail!(
            "this program was built without PDF; build it with `--features pdf`, or write .html, which prints well, or .xlsx"
        ),
        Some(_) | None => bail!("{}: the ending should be .html, .xlsx or .pdf", args.out.display()),
    }
}

/// The review, and the end of its week.
fn sheet_of(
    args: &ReviewArgs,
    folder: &DataFolder,
    plant: &Plant,
) -> anyhow::Result<(ReviewSheet, Timestamp)> {
    let now = Timestamp::from(jiff::Timestamp::now());
    let (records, readings) = (folder.open_records()?, folder.open_readings()?);
    let (from, to) = args.week.span(plant);
    let mut data = gather::week(&records, plant, args.week, now)?;
    data.rooms = gather::rooms(&readings, plant, (from, to.min(now).max(from)))?;
    let zone = plant.time_zone.rules();
    let gallery = |set: &gather::CourseSet| {
        let machine = plant.machine(&set.machine);
        let working = machine.map(|machine| plant.limits(machine, &set.couverture).working);
        Gallery::of(set, working, zone)
    };
    let course_of = |batch: &model::Batch| gather::gallery_course(&readings, batch, data.seen_to);
    let galleries: Vec<Gallery> = gather::galleries(&data, course_of)?.iter().map(gallery).collect();
    let signed = records.sign_off_of(&args.week.to_string())?.map(|signed| {
        format!("Signed by {} ({}) at {}, SHA-256 {}", signed.by, signed.role, signed.at, signed.sha256)
    });
    let names = Names {
        machines: plant.machines.iter().map(|machine| (machine.id.clone(), machine.name.clone())).collect(),
        couvertures: plant
            .couvertures
            .iter()
            .map(|couverture| (couverture.id.clone(), couverture.display_name().to_owned()))
            .collect(),
    };
    let review = review(data)?;
    let reviewed = Reviewed {
        review: &review,
        names: &names,
        zone,
        plant: &plant.name,
        galleries: &galleries,
        signed: signed.as_deref(),
    };
    Ok((review_sheet(&reviewed), to))
}

#[cfg(feature = "pdf")]
fn pdf(sheet: &ReviewSheet, plant: &Plant) -> anyhow::Result<Vec<u8>> {
    let source = review_source(sheet, plant.time_zone.rules());
    let pictures: Vec<(String, Vec<u8>)> = sheet
        .sections
        .iter()
        .flat_map(|section| &section.pictures)
        .map(|picture| (format!("{}.svg", picture.name), picture.svg.clone().into_bytes()))
        .collect();
    let files: Vec<(&str, Vec<u8>)> =
        pictures.iter().map(|(name, picture)| (name.as_str(), picture.clone())).collect();
    paper::pdf(&source, &files).context("cannot set the review")
}

#[cfg(not(feature = "pdf"))]
fn pdf(sheet: &ReviewSheet, plant: &Plant) -> anyhow::Result<Vec<u8>> {
    // Never reached: the ending has been refused. Its source is what a typesetter elsewhere could set.
    Ok(review_source(sheet, plant.time_zone.rules()).into_bytes())
}
