//! What leaves the program: documents for programs, sentences for people.
//!
//! Shapes here are promises to others. Each has its own type and one conversion from the model, so that a rename
//! inside breaks nobody outside; numbers carry their unit in the key, times are RFC 3339 in UTC, and what could not be
//! measured is `null`. Sentences speak the plant's local time.
//!
//! **Invariant:** no sentence calls a batch tempered because of its temperature. Only a temper test says so.
//!
//! - [`AnalysisDocument`], [`BatchDto`], [`FindingDto`], [`EventDto`], [`MachineDto`], [`StandingDto`]: for programs.
//! - [`statement`]: a batch in words, for its report; [`measure_rows`]: its figures beside the usual ones.
//! - [`analysis_text`]: a whole analysis for a person at the kettle.
//! - [`day_words`]: what was different on a day; [`review_sheet`]: the review of a week. Both as page, document and paper.
//! - [`batch_source`], [`day_source`], [`review_source`]: the same for a typesetter.
//! - [`help`]: what each kind of finding means and what to do.
//!
//! Never reads a clock, a file or a database, and never computes a measure or a finding.

mod analysis;
mod analysis_text;
mod baseline;
mod batch;
mod batch_paper;
mod correction;
mod day;
mod decision;
mod event;
mod finding;
mod help;
mod kept;
mod machine;
mod measures;
mod names;
#[cfg(test)]
mod sample;
mod saying;
mod standing;
mod statement;
mod typst;
mod week;

pub use crate::analysis::{
    Analysed, AnalysedMachine, AnalysisDocument, IntakeDto, MachineAnalysisDto, SCHEMA,
};
pub use crate::analysis_text::analysis_text;
pub use crate::baseline::{BaselineDto, UsualDto};
pub use crate::batch::{BatchDto, BatchReportDto, MeasuresDto, PhaseDto};
pub use crate::batch_paper::{BatchPaper, batch_source};
pub use crate::correction::{CorrectionDto, CorrectionsDto};
pub use crate::day::{
    CaseDto, CauseWords, DayDto, DayWords, FigureRow, day_source, day_words, figure_rows, figures_xlsx,
};
pub use crate::decision::{ConcernedDto, DecisionDto, DoubtDto};
pub use crate::event::EventDto;
pub use crate::finding::{FindingDto, ValueDto};
pub use crate::help::{Help, TEMPER_CAUTION, help};
pub use crate::kept::{ChangeoverDto, ContentDto, KeptDto, LOT_ASSUMPTIONS, MILK_CAUTION, PartDto, UseDto};
pub use crate::machine::{ForecastDto, LatestDto, MachineDto};
pub use crate::measures::{MeasureRow, measure_rows};
pub use crate::names::Names;
pub use crate::standing::StandingDto;
pub use crate::statement::{Telling, statement};
pub use crate::week::{
    Cell, Course, Gallery, Holds, Picture, ReviewDto, ReviewSheet, Reviewed, Section, Table, XlsxError,
    review_html, review_sheet, review_source, review_xlsx,
};
