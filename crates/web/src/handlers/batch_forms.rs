//! The report of a batch as files: the drawing, the picture, the readings, the document for programs.

use std::sync::Arc;

use axum::http::header;
use axum::response::{IntoResponse, Response};
use model::{Batch, Span};
use store::ExportFormat;

use crate::app::App;
use crate::curve::{self, Place, Wanted};
use crate::curve_query::{CURVE_PARAMETERS, CurveQuery, CurveSpan};
use crate::handlers::batch::{Gathered, seen_to};
use crate::handlers::batch_paper;
use crate::handlers::files::{FormLink, form_links};
use crate::handlers::machine::{png_file, svg_file};
use crate::problem::Problem;
use crate::query::Params;
use crate::view::BatchView;

/// Two days of seven channels at one reading a second are some 20 MB of text, and are made in memory.
const LONGEST_EXPORT: Span = Span::from_hours(48);

/// A form in which a batch can be taken along.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Form {
    Pdf,
    Svg,
    Png,
    Csv,
    Parquet,
    Json,
}

impl Form {
    pub(crate) const ALL: [Form; 6] = [Form::Pdf, Form::Svg, Form::Png, Form::Csv, Form::Parquet, Form::Json];

    /// The form that an ending names.
    pub(crate) fn named(ending: &str) -> Option<Form> {
        Form::ALL.into_iter().find(|form| form.ending() == ending)
    }

    fn ending(self) -> &'static str {
        match self {
            Form::Pdf => "pdf",
            Form::Svg => "svg",
            Form::Png => "png",
            Form::Csv => "csv",
            Form::Parquet => "parquet",
            Form::Json => "json",
        }
    }

    fn word(self) -> &'static str {
        match self {
            Form::Pdf => "Report, two pages of paper",
            Form::Svg => "Curve sheet, drawing",
            Form::Png => "Curve sheet, picture",
            Form::Csv => "Readings, table",
            Form::Parquet => "Readings, columns",
            Form::Json => "Everything, for programs",
        }
    }

    /// All forms of the batch at `href`; a PDF only where something can set one.
    pub(crate) fn links(href: &str, has_pdf: bool) -> Vec<FormLink> {
        form_links(href, &Form::ALL.map(|form| (form.ending(), form.word())), has_pdf)
    }
}

/// The batch `id` in this form.
pub(crate) async fn answer(
    app: &Arc<App>,
    id: &str,
    form: Form,
    params: &Params,
) -> Result<Response, Problem> {
    match form {
        Form::Svg | Form::Png => params.only(&CURVE_PARAMETERS)?,
        Form::Pdf | Form::Csv | Form::Parquet | Form::Json => params.only(&[])?,
    }
    let batch = app.batch(id).await?;
    match form {
        Form::Pdf => batch_paper::answer(app, batch).await,
        Form::Svg => svg_file(document(app, &batch, params).await?),
        Form::Png => png_file(document(app, &batch, params).await?).await,
        Form::Csv => readings(app, &batch, ExportFormat::Csv).await,
        Form::Parquet => readings(app, &batch, ExportFormat::Parquet).await,
        Form::Json => Ok(axum::Json(Gathered::of(app, batch).await?.document(app)).into_response()),
    }
}

async fn document(app: &App, batch: &Batch, params: &Params) -> Result<String, Problem> {
    let query = CurveQuery::read(params, CurveSpan::Batch)?;
    draw(app, batch, query, Place::Document).await
}

/// The curve sheet of `batch`, as much of it as `query` asks for.
pub(crate) async fn draw(
    app: &App,
    batch: &Batch,
    query: CurveQuery,
    place: Place,
) -> Result<String, Problem> {
    let head = BatchView::new(app.scene(), batch, seen_to(app, batch));
    let wanted = Wanted {
        title: format!("{}, {}", head.machine, head.start.says),
        machine: batch.machine.clone(),
        couverture: batch.couverture.clone(),
        span: query.span.covers(Some(curve::span_of(batch, seen_to(app, batch), app.now())), app.now()),
        query,
        reference: app.reference_for(batch).await?,
    };
    curve::draw(app, wanted, place).await
}

async fn readings(app: &App, batch: &Batch, format: ExportFormat) -> Result<Response, Problem> {
    let to = batch.end.unwrap_or_else(|| curve::known_until(seen_to(app, batch), app.now()));
    if to.since(batch.start) > LONGEST_EXPORT {
        let sentence = "This batch is too long for one answer; export its readings with `halfdegree export`.";
        return Err(Problem::refused("too-many-readings", sentence));
    }
    let (ending, media_type) = match format {
        ExportFormat::Csv => ("csv", "text/csv; charset=utf-8"),
        ExportFormat::Parquet => ("parquet", PARQUET),
    };
    let file = app.export(&batch.machine, batch.start, to, format).await?;
    let name = batch.id.as_str().replace(':', "");
    let disposition = format!("attachment; filename=\"{name}.{ending}\"");
    let headers = [(header::CONTENT_TYPE, media_type.to_owned()), (header::CONTENT_DISPOSITION, disposition)];
    Ok((headers, file).into_response())
}

/// Registered with IANA in 2024.
pub(crate) const PARQUET: &str = "application/vnd.apache.parquet";
