//! Oneself: who is signed in, what they may do, their PIN and the keys of their programs.
//!
//! A PIN or a key is set by somebody who signed in with a password and types it again: a device that lies about must not be enough.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::State;
use axum::extract::rejection::BytesRejection;
use axum::http::HeaderMap;
use axum::response::{Html, IntoResponse, Redirect, Response};
use records::{By, LONGEST_KEY_NAME, Pin, RecordsError, Token, UserName, Way};
use serde::Serialize;

use crate::access::{Right, TABLE, Visitor, is_own_page, needs, read};
use crate::app::App;
use crate::page_file::Shows;
use crate::problem::Problem;
use crate::query::Params;
use crate::typed::in_words;
use crate::view::Moment;
use crate::written::bounded;

#[derive(Serialize)]
struct Account {
    view: AccountView,
}

#[derive(Serialize)]
struct AccountView {
    rights: Vec<RightRow>,
    keys: Vec<KeyRow>,
    has_pin: bool,
    /// Signed in with a password, and so free to change these things.
    is_own: bool,
    may_manage_users: bool,
    /// Shown this once.
    new_key: Option<String>,
    message: Option<&'static str>,
    fault: Option<String>,
    /// What was typed as the name of a key that is refused.
    called: String,
}

/// Something that one may do here, or what one needs for it.
#[derive(Serialize)]
struct RightRow {
    what: &'static str,
    needs: Option<String>,
}

#[derive(Serialize)]
struct KeyRow {
    name: String,
    since: Moment,
}

#[derive(Default)]
struct Said {
    new_key: Option<String>,
    message: Option<&'static str>,
    fault: Option<String>,
    called: String,
}

/// `GET /account`
pub(crate) async fn page(State(app): State<Arc<App>>, params: Params) -> Result<Response, Problem> {
    params.only(&["done"])?;
    let Some(visitor) = person() else { return Ok(Redirect::to("/sign-in?to=/account").into_response()) };
    let message = params.text("done").and_then(|what| match what {
        "pin" => Some("The PIN holds from now on."),
        "withdrawn" => Some("The key has been withdrawn; nothing gets in with it any more."),
        _ => None,
    });
    show(&app, &visitor, Said { message, ..Said::default() }).await
}

async fn show(app: &App, visitor: &Visitor, said: Said) -> Result<Response, Problem> {
    let name = visitor.name.clone();
    let (user, keys) = app
        .ask_records(move |records| {
            Ok::<_, records::RecordsError>((records.user(&name)?, records.tokens_of(&name)?))
        })
        .await?;
    let scene = app.scene();
    let key = |token: Token| KeyRow { name: token.name, since: scene.moment(token.made) };
    let view = AccountView {
        rights: TABLE
            .iter()
            .map(|(right, _, what)| RightRow { what, needs: needs(visitor, *right) })
            .collect(),
        keys: keys.into_iter().map(key).collect(),
        has_pin: user.is_some_and(|user| user.has_pin),
        is_own: visitor.has_password(),
        may_manage_users: needs(visitor, Right::ManageUsers).is_none(),
        new_key: said.new_key,
        message: said.message,
        fault: said.fault,
        called: said.called,
    };
    let page = app.page("account", Shows::Account)?;
    let frame = app.frame("account", "");
    app.render_page(&page, &frame, &page.title, Account { view }).map(|page| Html(page).into_response())
}

/// `POST /account/keys`
pub(crate) async fn make_key(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (visitor, form) = own_form(&app, &headers, body)?;
    let made = async {
        let called = bounded("called", form.text("called"), LONGEST_KEY_NAME)?
            .ok_or_else(|| Problem::refused("no-name", "Say what the key is for, in a word or two."))?;
        let (name, by) = typed_again(&app, &visitor, &form).await?;
        let made = app.write_records(move |records| match records.make_token(&by, &name, &called) {
            Err(told @ (RecordsError::TokenExists { .. } | RecordsError::TooManyTokens { .. })) => {
                Ok(Err(format!("{}.", sentence(&told.to_string()))))
            }
            made => made.map(Ok),
        });
        made.await?.map_err(|told| Problem::conflict("key-exists", told))
    };
    let said = match made.await {
        Ok(key) => Said { new_key: Some(key.as_str().to_owned()), ..Said::default() },
        Err(problem) => {
            let called = form.text("called").unwrap_or_default().to_owned();
            return fault(&app, &visitor, problem, called).await;
        }
    };
    show(&app, &visitor, said).await
}

/// `POST /account/keys/withdraw`
pub(crate) async fn withdraw_key(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (visitor, form) = own_form(&app, &headers, body)?;
    let called = form.text("called").unwrap_or_default().to_owned();
    let (name, by) = (visitor.name.clone(), By::new(visitor.actor(), app.now()));
    app.write_records(move |records| records.withdraw_token(&by, &name, &called)).await?;
    Ok(Redirect::to("/account?done=withdrawn").into_response())
}

/// `POST /account/pin`
pub(crate) async fn set_pin(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<Response, Problem> {
    let (visitor, form) = own_form(&app, &headers, body)?;
    let set = async {
        let pin = form.text("pin").map(Pin::new).transpose();
        let pin =
            pin.map_err(|weak| Problem::refused("weak-pin", format!("{}.", sentence(&weak.to_string()))))?;
        let (name, by) = typed_again(&app, &visitor, &form).await?;
        app.write_records(move |records| records.set_pin(&by, &name, pin.as_ref())).await
    };
    match set.await {
        Ok(()) => Ok(Redirect::to("/account?done=pin").into_response()),
        Err(problem) => fault(&app, &visitor, problem, String::new()).await,
    }
}

async fn fault(app: &App, visitor: &Visitor, problem: Problem, called: String) -> Result<Response, Problem> {
    let said = Said { fault: Some(in_words("account", &problem.sentence).1), called, ..Said::default() };
    let shown = show(app, visitor, said).await?;
    Ok((problem.status, shown).into_response())
}

/// A person who is signed in.
pub(crate) fn person() -> Option<Arc<Visitor>> {
    Visitor::now().filter(|visitor| !visitor.is_program())
}

/// A form of a person who signed in with their password.
fn own_form(
    app: &App,
    headers: &HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Result<(Arc<Visitor>, Params), Problem> {
    let visitor = person().ok_or_else(Problem::sign_in_needed)?;
    if !is_own_page(headers, app.origin.as_deref()) {
        return Err(Problem::foreign_origin());
    }
    if !visitor.has_password() {
        return Err(Problem::role_may_not(format!(
            "{} has taken over this device by PIN; sign in with the password to change this.",
            visitor.name
        )));
    }
    let body = read(headers, body, "application/x-www-form-urlencoded")?;
    Ok((visitor, Params::parse(&String::from_utf8_lossy(&body))))
}

/// The password, typed again. Wrong ones count at the door.
pub(crate) async fn typed_again(
    app: &App,
    visitor: &Visitor,
    form: &Params,
) -> Result<(UserName, By), Problem> {
    let name = visitor.name.clone();
    let password = form.exact("password").unwrap_or_default().to_owned();
    let from = format!("account of {name}");
    let knock = app.door.knock(name.as_str(), &Way::Password, &from, app.now()).await?;
    let asked = name.clone();
    let is_right = app.ask_records(move |records| records.is_password_of(&asked, &password)).await?;
    if !is_right {
        app.note_failure(name.as_str(), Way::Password, &from).await?;
        return Err(Problem::refused(
            "wrong-password",
            "That is not the password; nothing has been changed.",
        ));
    }
    app.door.was_right(&knock);
    Ok((name, By::new(visitor.actor(), app.now())))
}

/// With a capital letter.
pub(crate) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
