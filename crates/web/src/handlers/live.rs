//! Live pages: server-sent events with the parts of a page that have changed.
//!
//! The server renders and the page's script puts each part in its place, so that a page looks the same whether it was
//! just loaded or has stood on the wall for a week. Every message carries the time of day; one comes at least every
//! five seconds, so that a page can tell silence from quiet.

use std::collections::{BTreeMap, HashMap};
use std::convert::Infallible;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::Arc;
use std::time::Duration;

use axum::extract::State;
use axum::response::Sse;
use axum::response::sse::Event;
use futures_util::Stream;
use model::{Board, MachineId};
use serde::Serialize;
use tokio::sync::{OwnedSemaphorePermit, watch};
use tokio::time::{Instant, sleep_until, timeout_at};

use crate::access::Visitor;
use crate::app::App;
use crate::archive::made_aside;
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
#[derive(Clone)]
enum Subject {
    /// The works page of that name.
    Works(String),
    Machine(MachineId),
    /// The alarms of the works.
    Alarms,
    /// A bowl on the bench, as it was last read.
    Bowl(MachineId, Option<(Instant, Arc<BowlNow>)>),
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
    /// If it has changed.
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
        sent: Arc::default(),
        open: Open::default(),
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
    /// The parts as they are on the page.
    sent: Arc<Parts>,
    /// The findings of which it has told.
    open: Open,
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
        let told = match self.read_bowl().await {
            Ok(()) => self.tell().await,
            Err(problem) => Err(problem),
        };
        Some(match told {
            Ok(news) => Event::default().event("parts").data(news),
            Err(problem) => Event::default().event("problem").data(problem.sentence),
        })
    }

    /// Waits for a new board, but neither too short nor too long; not so long for one that says that somebody may have to go.
    async fn wait(&mut self) {
        let LivePace { at_most_every, at_least_every, findings_at_most_every } = self.app.pace;
        if let Some(last) = self.last {
            sleep_until(last + findings_at_most_every.min(at_most_every)).await;
            // A board that has ended does not change any more; the service then stops, and says so by itself.
            // A receiver of its own, so that what it has looked at still counts as changed.
            let (told_of, mut boards) = (self.open, self.board.clone());
            let has_news = async { boards.wait_for(|board| Open::of(board) != told_of).await.is_ok() };
            if !timeout_at(last + at_most_every, has_news).await.unwrap_or(false) {
                sleep_until(last + at_most_every).await;
                let latest = last + at_least_every;
                if let Ok(Err(_)) = timeout_at(latest, self.board.changed()).await {
                    sleep_until(latest).await;
                }
            }
        }
        self.last = Some(Instant::now());
    }

    /// What has changed on the page.
    async fn tell(&mut self) -> Result<String, Problem> {
        let board = self.board.borrow_and_update().clone();
        self.open = Open::of(&board);
        let (subject, sent) = (self.subject.clone(), self.sent.clone());
        let make = move |app: &App| subject.parts(app, &board).map(|parts| news(app, parts, &sent));
        let (news, sent) = made_aside(&self.app, self.reader, self.visitor.clone(), make).await??;
        self.sent = sent;
        Ok(news)
    }

    /// What the parts of a bowl are made from lies on disk.
    async fn read_bowl(&mut self) -> Result<(), Problem> {
        let app = self.app.clone();
        if let Subject::Bowl(id, bowl) = &mut self.subject
            && bowl.as_ref().is_none_or(|(read, _)| READ_EVERY <= read.elapsed())
        {
            *bowl = Some((Instant::now(), Arc::new(BowlNow::of(&app, app.machine(id.as_str())?).await?)));
        }
        Ok(())
    }
}

/// The open findings of a board, told apart by a number.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Open(u64);

impl Open {
    fn of(board: &Board) -> Open {
        let mut hasher = DefaultHasher::new();
        for finding in board.lanes.iter().flat_map(|lane| &lane.open).chain(&board.plant_open) {
            (finding.id.as_str(), finding.priority).hash(&mut hasher);
        }
        Open(hasher.finish())
    }
}

impl Subject {
    fn parts(&self, app: &App, board: &Arc<Board>) -> Result<Arc<Parts>, Problem> {
        match self {
            Subject::Works(name) => app.fragments.of_works(app, board, name),
            Subject::Alarms => alarms::live_parts(app, board).map(Arc::new),
            Subject::Machine(id) => machine::live_parts(app, board, id).map(Arc::new),
            Subject::Bowl(_, Some((_, bowl))) => bench::live_parts(app, board, bowl).map(Arc::new),
            Subject::Bowl(_, None) => Ok(Arc::default()),
        }
    }
}

/// What differs from what was sent, and what has been sent then.
fn news(app: &App, now: Arc<Parts>, sent: &Parts) -> (String, Arc<Parts>) {
    let known: HashMap<&str, &Arc<str>> =
        sent.parts.iter().map(|(name, text)| (name.as_str(), text)).collect();
    let is_new = |(name, text): &&(String, Arc<str>)| known.get(name.as_str()) != Some(&text);
    let frame = app.frame("", "");
    let news = News {
        at: frame.now.says,
        exact: frame.now.exact,
        version: frame.version,
        parts: now.parts.iter().filter(is_new).map(|(name, text)| (name.as_str(), &**text)).collect(),
        order: if now.order == sent.order { &[] } else { &now.order },
    };
    let text = serde_json::to_string(&news).expect("names and texts can be written as JSON");
    (text, now)
}
