//! Users, for whoever may manage them: `/users` lists and adds, `/users/{name}` changes one and shows what was changed.
//!
//! Whoever changes somebody types their own password again, as for their own PIN: a device that lies about must not be enough. Nobody shuts
//! themselves out or takes their own role away, so that somebody who may manage users is always left.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::{Html, IntoResponse, Redirect, Response};
use records::{By, NotAName, Password, Pin, Records, RecordsError, Role, Subject, TooWeak, User, UserName};
use serde::Serialize;

use crate::access::{Right, TABLE, Visitor, a_role, admit};
use crate::app::App;
use crate::handlers::account::{person, sentence, typed_again};
use crate::page_file::Shows;
use crate::problem::Problem;
use crate::query::Params;
use crate::typed::in_words;
use crate::view::{HistoryView, Moment, history_of};

const FORM: &str = "application/x-www-form-urlencoded";

#[derive(Serialize)]
struct Shown<T> {
    view: T,
}

#[derive(Serialize)]
struct UsersView {
    users: Vec<UserRow>,
    roles: Vec<&'static str>,
    /// Each role, and what it may do besides what those before it may.
    rights: Vec<(&'static str, Vec<&'static str>)>,
    message: Option<String>,
    fault: Option<String>,
}

#[derive(Serialize)]
struct UserView {
    user: UserRow,
    roles: Vec<&'static str>,
    /// It is whoever looks: some things one does not do to oneself.
    is_oneself: bool,
    message: Option<&'static str>,
    fault: Option<String>,
    history: HistoryView,
}

#[derive(Serialize)]
struct UserRow {
    name: String,
    /// `worker`
    role: &'static str,
    /// `a worker`
    a_role: &'static str,
    is_enabled: bool,
    has_pin: bool,
    since: Moment,
}

/// `GET /users`
pub(crate) async fn list(State(app): State<Arc<App>>, params: Params) -> Result<Response, Problem> {
    params.only(&["added"])?;
    if person().is_none() {
        return Ok(Redirect::to("/sign-in?to=/users").into_response());
    }
    app.may(Right::ManageUsers)?;
    let message =
        params.optional::<UserName>("added", "a user's name")?.map(|name| format!("{name} may sign in."));
    show_list(&app, message, None).await
}

async fn show_list(app: &App, message: Option<String>, fault: Option<String>) -> Result<Response, Problem> {
    let users = app.ask_records(Records::users).await?;
    let users = users.iter().map(|user| row(app, user)).collect();
    let view = UsersView { users, roles: roles(), rights: rights(), message, fault };
    let page = app.page("users", Shows::Users)?;
    app.render_page(&page, &app.frame("users", ""), &page.title, Shown { view })
        .map(|page| Html(page).into_response())
}

/// `POST /users`
pub(crate) async fn add(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let form = own_form(&app, &headers, body)?;
    match add_as_asked(&app, &form).await {
        Ok(name) => Ok(Redirect::to(&format!("/users?added={name}")).into_response()),
        Err(problem) => {
            let shown = show_list(&app, None, Some(in_words("users", &problem.sentence).1)).await?;
            Ok((problem.status, shown).into_response())
        }
    }
}

async fn add_as_asked(app: &App, form: &Params) -> Result<UserName, Problem> {
    form.only(&["name", "role", "new_password", "password"])?;
    let name: UserName = form.text("name").unwrap_or_default().parse().map_err(|fault: NotAName| {
        Problem::refused("bad-name", format!("{}.", sentence(&fault.to_string())))
    })?;
    let role: Role = form.required("role", "viewer, worker, engineer or quality")?;
    let password = new_password(form)?;
    let by = typed_again_by(app, form).await?;
    let new = name.clone();
    change(app, move |records| records.add_user(&by, &new, role, &password)).await?;
    Ok(name)
}

/// `GET /users/{name}`
pub(crate) async fn one(
    State(app): State<Arc<App>>,
    Path(name): Path<String>,
    params: Params,
) -> Result<Response, Problem> {
    params.only(&["done"])?;
    let name = named(&name)?;
    let Some(visitor) = person() else {
        return Ok(Redirect::to(&format!("/sign-in?to=/users/{name}")).into_response());
    };
    app.may(Right::ManageUsers)?;
    let message = params.text("done").and_then(|what| match what {
        "role" => Some("The role holds from now on."),
        "enable" => Some("Signing in is possible again."),
        "disable" => Some("Shut out, at once and everywhere."),
        "password" => Some("The password holds from now on; everywhere signed out."),
        "pin" => Some("The PIN holds from now on."),
        _ => None,
    });
    show_one(&app, &visitor, &user(&app, name).await?, message, None).await
}

async fn show_one(
    app: &App,
    visitor: &Visitor,
    user: &User,
    message: Option<&'static str>,
    fault: Option<String>,
) -> Result<Response, Problem> {
    let entries = app.entries_of(history_of(vec![Subject::user(&user.name)])).await?;
    let view = UserView {
        user: row(app, user),
        roles: roles(),
        is_oneself: visitor.name == user.name,
        message,
        fault,
        history: HistoryView::new(app.scene(), &entries),
    };
    let page = app.page("user", Shows::User)?;
    let title = format!("{}: {}", page.title, user.name);
    app.render_page(&page, &app.frame("users", ""), &title, Shown { view })
        .map(|page| Html(page).into_response())
}

/// `POST /users/{name}`
pub(crate) async fn change_one(
    State(app): State<Arc<App>>,
    Path(name): Path<String>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let form = own_form(&app, &headers, body)?;
    let visitor = person().ok_or_else(Problem::sign_in_needed)?;
    let user = user(&app, named(&name)?).await?;
    match change_as_asked(&app, &visitor, &user.name, &form).await {
        Ok(done) => Ok(Redirect::to(&format!("/users/{}?done={done}", user.name)).into_response()),
        Err(problem) => {
            let shown =
                show_one(&app, &visitor, &user, None, Some(in_words("users", &problem.sentence).1)).await?;
            Ok((problem.status, shown).into_response())
        }
    }
}

/// What can be changed of a user.
enum Change {
    Role(Role),
    Enable(bool),
    Password(Password),
    Pin(Option<Pin>),
}

impl Change {
    fn read(form: &Params) -> Result<Change, Problem> {
        form.only(&["what", "role", "new_password", "pin", "password"])?;
        match form.text("what") {
            Some("role") => Ok(Change::Role(form.required("role", "viewer, worker, engineer or quality")?)),
            Some("enable") => Ok(Change::Enable(true)),
            Some("disable") => Ok(Change::Enable(false)),
            Some("password") => Ok(Change::Password(new_password(form)?)),
            Some("pin") => Ok(Change::Pin(form.text("pin").map(Pin::new).transpose().map_err(|w| weak(&w))?)),
            Some(_) | None => {
                let sentence = "The field `what` should be role, enable, disable, password or pin.";
                Err(Problem::bad_request("bad-change", sentence))
            }
        }
    }

    fn word(&self) -> &'static str {
        match self {
            Change::Role(_) => "role",
            Change::Enable(true) => "enable",
            Change::Enable(false) => "disable",
            Change::Password(_) => "password",
            Change::Pin(_) => "pin",
        }
    }

    /// Would it take from whoever does it what they need to do it?
    fn gives_up(&self) -> bool {
        match self {
            Change::Role(_) | Change::Enable(false) => true,
            Change::Enable(true) | Change::Password(_) | Change::Pin(_) => false,
        }
    }

    fn make(&self, records: &Records, by: &By, name: &UserName) -> Result<(), RecordsError> {
        match self {
            Change::Role(role) => records.set_role(by, name, *role),
            Change::Enable(enabled) => records.enable_user(by, name, *enabled),
            Change::Password(password) => records.set_password(by, name, password),
            Change::Pin(pin) => records.set_pin(by, name, pin.as_ref()),
        }
    }
}

async fn change_as_asked(
    app: &App,
    visitor: &Visitor,
    name: &UserName,
    form: &Params,
) -> Result<&'static str, Problem> {
    let asked = Change::read(form)?;
    if visitor.name == *name && asked.gives_up() {
        return Err(Problem::refused(
            "oneself",
            "Nobody shuts themselves out or changes their own role; let somebody else who may manage users do it.",
        ));
    }
    let by = typed_again_by(app, form).await?;
    let (word, name) = (asked.word(), name.clone());
    change(app, move |records| asked.make(records, &by, &name)).await?;
    Ok(word)
}

/// Changes something, and tells what the reader can mend.
async fn change(
    app: &App,
    make: impl FnOnce(&Records) -> Result<(), RecordsError> + Send + 'static,
) -> Result<(), Problem> {
    let made = app.write_records(move |records| match make(records) {
        Ok(()) => Ok(None),
        Err(told @ (RecordsError::UserExists { .. } | RecordsError::NoSuchUser { .. })) => {
            Ok(Some(told.to_string()))
        }
        Err(other) => Err(other),
    });
    match made.await? {
        None => Ok(()),
        Some(told) => Err(Problem::refused("bad-user", format!("{}.", sentence(&told)))),
    }
}

/// A form of somebody who may manage users.
fn own_form(app: &App, headers: &HeaderMap, body: Result<Bytes, BytesRejection>) -> Result<Params, Problem> {
    let (_, body) = admit(app, Right::ManageUsers, headers, body, FORM)?;
    Ok(Params::parse(&String::from_utf8_lossy(&body)))
}

async fn typed_again_by(app: &App, form: &Params) -> Result<By, Problem> {
    let visitor = person().ok_or_else(Problem::sign_in_needed)?;
    Ok(typed_again(app, &visitor, form).await?.1)
}

fn new_password(form: &Params) -> Result<Password, Problem> {
    Password::new(form.exact("new_password").unwrap_or_default()).map_err(|fault| weak(&fault))
}

fn weak(fault: &TooWeak) -> Problem {
    Problem::refused("too-weak", format!("{}.", sentence(&fault.to_string())))
}

/// The name in an address.
fn named(text: &str) -> Result<UserName, Problem> {
    text.parse().map_err(|_| no_such_user(&text.chars().take(60).collect::<String>()))
}

async fn user(app: &App, name: UserName) -> Result<User, Problem> {
    let none = no_such_user(name.as_str());
    app.ask_records(move |records| records.user(&name)).await?.ok_or(none)
}

fn no_such_user(shown: &str) -> Problem {
    Problem::not_found("no-such-user", format!("There is no user `{shown}`."))
}

fn row(app: &App, user: &User) -> UserRow {
    UserRow {
        name: user.name.to_string(),
        role: user.role.as_str(),
        a_role: a_role(user.role),
        is_enabled: user.is_enabled,
        has_pin: user.has_pin,
        since: app.scene().moment(user.added),
    }
}

fn roles() -> Vec<&'static str> {
    Role::ALL.iter().map(|role| role.as_str()).collect()
}

fn rights() -> Vec<(&'static str, Vec<&'static str>)> {
    let of =
        |role: Role| TABLE.iter().filter(move |(_, lowest, _)| *lowest == role).map(|(_, _, what)| *what);
    Role::ALL.iter().map(|role| (role.as_str(), of(*role).collect())).collect()
}
