//! Live pages: server-sent events with the parts of a page that have changed.
//!
//! The server renders and the page's script puts each part in its place, so that a page looks the same whether it was
//! just loaded or has stood on the wall for a week. Every message carries the time of day; one comes at least every
//! five seconds, so that a page can tell silence from quiet.

use std::collections::BTreeMap;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::State;
use axum::response::Sse;
use axum::response::sse::Event;
use futures_util::Stream;
use model::MachineId;
use serde::Serialize;
use tokio::sync::{OwnedSemaphorePermit, watch};
use tokio::time::{Instant, sleep_until, timeout_at};

use crate::access::Visitor;
use crate::app::App;
use crate::bowl::BowlNow;
use crate::dashboards::FLOOR;
use crate::handlers::{alarms, bench, machine};
use crate::page_file::Shows;
use crate::problem::Problem;
use crate::query::{Params, wrong};
use crate::reader::Reader;
use crate::rendered::Parts;
use crate::state::{LivePace, Reading};

/// Where reading is for those who have signed in, a live page has to come again so often, and is looked at again: whoever was shut out
/// must not go on seeing for a month.
const LOOKED_AT_AGAIN: Duration = Duration::from_secs(5 * 60);

/// A bowl's readings lie on disk, a shift of them from a probe that sends each second, and no hand is faster.
const READ_EVERY: Duration = Duration::from_secs(3);

/// Which page is being kept alive.
enum Subject {
    /// The works page of that name.
    Works(String),
    Machine(MachineId),
    /// The alarms of the works.
    Alarms,
    /// A bowl on the bench, as it was last read.
    Bowl(MachineId, Option<(Instant, Box<BowlNow>)>),
}

/// One message.
#[derive(Serialize)]
struct News<'a> {
    at: String,
    exact: String,
    /// Of templates, stylesheet and scripts: a page that was made from others loads itself anew.
    version: String,
    /// Only those that have changed since the last message.
    parts: BTreeMap<&'a str, &'a str>,
    #[serde(skip_serializing_if = "<[String]>::is_empty")]
    order: &'a [String],
}

pub(crate) async fn live(
    State(app): State<Arc<App>>,
    params: Params,
) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>>>, Problem> {
    params.only(&["page", "machine", "bowl", "alarms"])?;
    let subject = match (params.text("bowl"), params.text("machine"), params.text("alarms")) {
        (Some(id), _, _) => Subject::Bowl(bench::bowl_machine(&app, id)?.id.clone(), None),
        (None, Some(id), _) => Subject::Machine(app.machine(id)?.id.clone()),
        (None, None, Some("yes")) => Subject::Alarms,
        (None, None, Some(other)) => return Err(wrong("alarms", other, "yes")),
        (None, None, None) => {
            let name = params.text("page").unwrap_or(FLOOR);
            app.page(name, Shows::Works)?;
            Subject::Works(name.to_owned())
        }
    };
    let place = app.live_pages.clone().try_acquire_owned().map_err(|full| {
        Problem::unavailable(
            "too-many-live-pages",
            "Too many pages are kept alive at once; close one and try again.",
            full,
        )
    })?;
    let reading = app.reading;
    let watcher = Watcher {
        board: app.state.board.clone(),
        app,
        subject,
        reader: Reader::now(),
        visitor: Visitor::now(),
        sent: BTreeMap::new(),
        last: None,
        until: (reading == Reading::SignedIn).then(|| Instant::now() + LOOKED_AT_AGAIN),
        _place: place,
    };
    Ok(Sse::new(futures_util::stream::unfold(watcher, |mut watcher| async move {
        let event = watcher.next_event().await?;
        Some((Ok(event), watcher))
    })))
}

/// What one live page has seen.
struct Watcher {
    app: Arc<App>,
    board: watch::Receiver<Arc<model::Board>>,
    subject: Subject,
    /// Who looks, and who they are: parts are made long after the request was answered.
    reader: Reader,
    visitor: Option<Arc<Visitor>>,
    sent: BTreeMap<String, Arc<str>>,
    /// When the last message went out.
    last: Option<Instant>,
    /// The page has to come again then.
    until: Option<Instant>,
    _place: OwnedSemaphorePermit,
}

impl Watcher {
    /// The next message; `None` when the service stops, or the page has to come again.
    async fn next_event(&mut self) -> Option<Event> {
        if self.until.is_some_and(|until| until <= Instant::now()) {
            return None;
        }
        let closing = self.app.closing.clone();
        tokio::select! {
            () = closing.cancelled() => return None,
            () = self.wait() => {}
        }
        if let Err(problem) = self.read_bowl().await {
            return Some(Event::default().event("problem").data(problem.sentence));
        }
        let (reader, visitor) = (self.reader, self.visitor.clone());
        let event = || match self.parts() {
            Ok(parts) => Event::default().event("parts").data(self.news(&parts)),
            Err(problem) => Event::default().event("problem").data(problem.sentence),
        };
        Some(reader.while_making(|| Visitor::while_making(visitor, event)))
    }

    /// Waits for a new board, but neither too short nor too long.
    async fn wait(&mut self) {
        let LivePace { at_most_every, at_least_every } = self.app.pace;
        if let Some(last) = self.last {
            sleep_until(last + at_most_every).await;
            let latest = last + at_least_every;
            // A board that has ended does not change any more; the service then stops, and says so by itself.
            if let Ok(Err(_)) = timeout_at(latest, self.board.changed()).await {
                sleep_until(latest).await;
            }
        }
        self.last = Some(Instant::now());
    }

    /// What the parts of a bowl are made from lies on disk.
    async fn read_bowl(&mut self) -> Result<(), Problem> {
        let app = self.app.clone();
        if let Subject::Bowl(id, bowl) = &mut self.subject
            && bowl.as_ref().is_none_or(|(read, _)| READ_EVERY <= read.elapsed())
        {
            *bowl = Some((Instant::now(), Box::new(BowlNow::of(&app, app.machine(id.as_str())?).await?)));
        }
        Ok(())
    }

    fn parts(&mut self) -> Result<Arc<Parts>, Problem> {
        let board = self.board.borrow_and_update().clone();
        match &self.subject {
            Subject::Works(name) => self.app.fragments.of_works(&self.app, &board, name),
            Subject::Alarms => alarms::live_parts(&self.app, &board).map(Arc::new),
            Subject::Machine(id) => machine::live_parts(&self.app, &board, id).map(Arc::new),
            Subject::Bowl(_, Some((_, bowl))) => bench::live_parts(&self.app, &board, bowl).map(Arc::new),
            Subject::Bowl(_, None) => Ok(Arc::default()),
        }
    }

    fn news(&mut self, now: &Parts) -> String {
        let changed = now.parts.iter().filter(|(name, text)| self.sent.get(name) != Some(text));
        let frame = self.app.frame("", "");
        let news = News {
            at: frame.now.says,
            exact: frame.now.exact,
            version: frame.version,
            parts: changed.map(|(name, text)| (name.as_str(), &**text)).collect(),
            order: &now.order,
        };
        let text = serde_json::to_string(&news).expect("names and texts can be written as JSON");
        self.sent = now.parts.iter().cloned().collect();
        text
    }
}
