//! Entries on the page of a week: an action opened, an action done, the week signed.
//!
//! Who may do it is decided in `access`. Whoever signs does so under the name and in the role in which they are signed in. In the demo, where
//! nobody signs in, the name is typed, and the role is written down as what it is: not checked.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::{IntoResponse, Redirect, Response};
use history::week::{Charted, IsoWeek};
use jiff::civil::Date;
use model::Timestamp;
use records::{Action, By, SignOff};

use crate::access::{Right, Visitor, admit};
use crate::app::App;
use crate::handlers::week::{Drawn, Said, Told, page, week_of};
use crate::problem::Problem;
use crate::query::{Params, wrong};
use crate::typed;
use crate::written::{LONGEST_NAME, name_of};

/// Longer is a letter and no action.
const LONGEST_ACTION: usize = 300;

/// The role of whoever types a name where nobody signs in.
const UNCHECKED: &str = "quality, name typed in, not checked";

/// `POST /weeks/{week}/actions`
pub(crate) async fn open_action(
    State(app): State<Arc<App>>,
    Path(week): Path<String>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (by, week, form) = entry_of(&app, Right::Act, &week, &headers, body)?;
    let done = match action_of(&app, week, &form) {
        Ok(action) => app.write_records(move |records| records.open_action(&by, &action)).await.map(drop),
        Err(problem) => Err(problem),
    };
    back(&app, week, done).await
}

/// `POST /weeks/{week}/actions/done`
pub(crate) async fn close_action(
    State(app): State<Arc<App>>,
    Path(week): Path<String>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (by, week, form) = entry_of(&app, Right::Act, &week, &headers, body)?;
    form.only(&["action"])?;
    let id = form.required::<String>("action", "the number of an action")?;
    let named = id.clone();
    let closed = app.write_records(move |records| records.close_action(&by, &named, Some(by.at))).await?;
    let done = closed.map(drop).ok_or_else(|| wrong("action", &id, "the number of an action that is open"));
    back(&app, week, done).await
}

/// `POST /weeks/{week}/sign-off`
pub(crate) async fn sign_off(
    State(app): State<Arc<App>>,
    Path(week): Path<String>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (by, week, form) = entry_of(&app, Right::Sign, &week, &headers, body)?;
    form.only(&["by"])?;
    let signed = sign(&app, by, week, &form).await;
    back(&app, week, signed).await
}

async fn sign(app: &App, by: By, week: IsoWeek, form: &Params) -> Result<(), Problem> {
    let (name, role) = match (name_of(&by), Visitor::now()) {
        (Some(name), Some(visitor)) => (name.to_owned(), visitor.role.as_str()),
        (Some(_), None) | (None, _) => {
            let typed = words(form, "by", LONGEST_NAME)?;
            (typed.ok_or_else(|| wrong("by", "", "the name of whoever signs"))?, UNCHECKED)
        }
    };
    let told = Told::of(app, week, Drawn::Nothing).await?;
    if !told.is_over() {
        return Err(Problem::refused("week-not-over", "A week can be signed when it is over."));
    }
    if told.is_signed() {
        return Err(Problem::refused(
            "week-signed",
            "This week has been signed already; a week is signed once.",
        ));
    }
    let sign_off = SignOff::new(&week.to_string(), &name, role, by.at, told.document());
    let is_first = app.write_records(move |records| records.sign_off(&by, &sign_off)).await?;
    if is_first {
        Ok(())
    } else {
        Err(Problem::refused(
            "week-signed",
            "Somebody else has signed this week just now; a week is signed once.",
        ))
    }
}

/// The week of an entry and what its form says, if the entry may be made.
fn entry_of(
    app: &App,
    right: Right,
    week: &str,
    headers: &HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<(By, IsoWeek, Params), Problem> {
    let week = week_of(week)?;
    let (by, body) = admit(app, right, headers, body, "application/x-www-form-urlencoded")?;
    Ok((by, week, Params::parse(&String::from_utf8_lossy(&body))))
}

/// Back to the page; a fault stands on it, above the forms.
async fn back(app: &App, week: IsoWeek, done: Result<(), Problem>) -> Result<Response, Problem> {
    match done {
        Ok(()) => Ok(Redirect::to(&format!("/weeks/{week}?entered=yes#entries-title")).into_response()),
        Err(problem) => {
            let told = Told::of(app, week, Drawn::Galleries).await?;
            let said = Said { entered: false, fault: Some(typed::in_words("week", &problem.sentence).1) };
            let shown = page(app, &told, said)?;
            Ok((problem.status, axum::response::Html(shown)).into_response())
        }
    }
}

/// Words of at most so many characters: what would be signed is not cut in silence.
fn words(form: &Params, name: &str, longest: usize) -> Result<Option<String>, Problem> {
    match form.text(name) {
        Some(text) if longest < text.chars().count() => {
            Err(wrong(name, text, format!("at most {longest} characters long")))
        }
        text => Ok(text.map(str::to_owned)),
    }
}

fn action_of(app: &App, week: IsoWeek, form: &Params) -> Result<Action, Problem> {
    form.only(&["what", "who", "due", "machine", "figure"])?;
    let needed = |name: &str, longest: usize, should_be: &str| {
        words(form, name, longest)?.ok_or_else(|| {
            Problem::bad_request(
                "missing-parameter",
                format!("`{name}` is missing; it should be {should_be}."),
            )
        })
    };
    let machine = form.text("machine").map(|named| app.machine(named)).transpose()?;
    let figure = form
        .text("figure")
        .map(|key| {
            let known = Charted::ALL.into_iter().find(|charted| charted.key() == key);
            known.ok_or_else(|| wrong("figure", key, "one of the figures that the page offers"))
        })
        .transpose()?;
    let due = form.optional::<Date>("due", "a day such as 2026-11-30")?;
    let zone = app.state.plant.time_zone.rules();
    let midnight = |date: Date| {
        let at = date.to_zoned_datetime(zone.clone()).map(|at| Timestamp::from(at.timestamp()));
        at.map_err(|_| wrong("due", &date.to_string(), "a day such as 2026-11-30"))
    };
    Ok(Action {
        id: String::new(),
        week: week.to_string(),
        what: needed("what", LONGEST_ACTION, "what is to be done")?,
        who: needed("who", LONGEST_NAME, "who does it")?,
        due: due.map(midnight).transpose()?,
        machine: machine.map(|machine| machine.id.clone()),
        figure: figure.map(|charted| charted.key().to_owned()),
        opened: app.now(),
        done: None,
    })
}
