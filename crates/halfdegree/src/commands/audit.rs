//! `halfdegree audit`: read the audit trail, or prove that nobody changed it. Only reads, so that a service may be running.

use std::process::ExitCode;

use records::{Entry, EntryQuery, Known, Records, Verdict};
use serde_json::{Value, json};
use service::DataFolder;

use crate::NO;
use crate::args::{AnalysisFormat, AuditArgs, AuditCommand};
use crate::say::{note, say};

pub(crate) fn run(args: &AuditArgs) -> anyhow::Result<ExitCode> {
    match &args.command {
        AuditCommand::Verify { data, known } => verify(data, known.as_ref()),
        AuditCommand::List { data, limit, behind, about, format } => {
            let subjects = about.iter().cloned().collect();
            let query = EntryQuery { subjects, behind: *behind, limit: *limit, ..EntryQuery::default() };
            let entries = Records::audit_at(DataFolder::new(data).records_path(), &query)?;
            if entries.is_empty() {
                note!("halfdegree: there is no such entry");
            }
            for entry in entries {
                match format {
                    AnalysisFormat::Text => say!("{}", line(&entry)),
                    AnalysisFormat::Json => say!("{}", document(&entry)),
                }
            }
            Ok(ExitCode::SUCCESS)
        }
    }
}

fn verify(data: &std::path::Path, known: Option<&Known>) -> anyhow::Result<ExitCode> {
    match Records::verify_audit(DataFolder::new(data).records_path(), known)? {
        Verdict::Whole { entries: 0, .. } => say!("The audit trail is whole. It has no entry yet."),
        Verdict::Whole { entries, sha256 } => say!(
            "The audit trail is whole: {entries} entries.\nWrite this down elsewhere, and later ask whether it still holds: \
             --known {entries}:{sha256}"
        ),
        Verdict::Broken { number, fault } => {
            say!("The audit trail is broken at entry {number}: {fault}.");
            return Ok(ExitCode::from(NO));
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// Number, time, who, what, to what, before and after.
fn line(entry: &Entry) -> String {
    let Entry { number, at, who, way, deed, subject, old, new, .. } = entry;
    let way = if way.is_empty() { String::new() } else { format!(" ({way})") };
    let change = match (old, new) {
        (Value::Null, Value::Null) => String::new(),
        (Value::Null, new) => format!("  {new}"),
        (old, new) => format!("  {old} -> {new}"),
    };
    format!("{number}  {at}  {who}{way}  {deed}  {} {}{change}", subject.kind, subject.id)
}

fn document(entry: &Entry) -> Value {
    let Entry { number, at, who, way, deed, subject, about, old, new, sha256 } = entry;
    json!({
        "number": number, "at": at.to_string(), "who": who, "way": way, "deed": deed, "kind": subject.kind,
        "id": subject.id, "about": about.map(|about| about.to_string()), "old": old, "new": new, "sha256": sha256,
    })
}
