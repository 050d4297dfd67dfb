//! Serving: takes a bound listener, answers until it is told to stop, and leaves nothing running behind.
//!
//! Connections are counted before they are taken: past the limit the next one waits in the kernel's queue. On the way
//! out live pages are closed first, since they would never end by themselves.
//!
//! Binds no port and installs no signal handler.

use std::future::Future;
use std::io;
use std::net::{IpAddr, SocketAddr};
use std::path::PathBuf;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};

use axum::Router;
use axum::extract::connect_info::Connected;
use axum::serve::{IncomingStream, Listener};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::MissedTickBehavior;
use tokio_util::sync::CancellationToken;
use tracing::warn;

use crate::app::App;
use crate::router::routes;
use crate::shelf::{LOOKED_AT_EVERY, Shelf};
use crate::state::{Entries, WebConfig, WebState};

/// Connections at once: twice the live pages and room for their pictures.
const CONNECTIONS: usize = 1_024;

/// Why pages cannot be served.
#[derive(Debug, thiserror::Error)]
pub enum WebError {
    /// The folder of `--dashboards` cannot be read.
    #[error("cannot read {}", path.display())]
    Dashboards {
        /// The file or folder.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// A file there is too large to be one of ours.
    #[error("{} is larger than {limit} bytes", path.display())]
    DashboardTooLarge {
        /// The file.
        path: PathBuf,
        /// The most that is read.
        limit: u64,
    },
    /// A page file has a fault.
    #[error("{file}: {says}")]
    PageFile {
        /// Its path in the folder.
        file: String,
        /// What is wrong.
        says: String,
    },
    /// A template has a fault.
    #[error("{says}")]
    Template {
        /// File, line and what is wrong.
        says: String,
    },
    /// The listener failed.
    #[error("cannot serve pages")]
    Serve(#[source] io::Error),
}

/// All routes. Tests call it with `oneshot`.
///
/// # Errors
/// If the folder of `--dashboards` has a fault.
pub fn router(config: &WebConfig, state: WebState) -> Result<Router, WebError> {
    let app = App::new(config, state, CancellationToken::new())?;
    Ok(routes(Arc::new(app)))
}

/// Says what is wrong with the folder of `--dashboards`, and serves nothing.
///
/// # Errors
/// If it has a fault.
pub fn check_dashboards(config: &WebConfig) -> Result<(), WebError> {
    Shelf::open(config.dashboards.as_deref()).map(drop)
}

/// Answers on `listener` until `shutdown` is done, then finishes what it is at.
///
/// # Errors
/// If the folder of `--dashboards` has a fault, or the listener fails.
pub async fn run(
    mut config: WebConfig,
    state: WebState,
    listener: TcpListener,
    shutdown: impl Future<Output = ()> + Send + 'static,
) -> Result<(), WebError> {
    let address = listener.local_addr().map_err(WebError::Serve)?;
    if config.entries == Entries::OpenOnLoopback && !address.ip().is_loopback() {
        warn!(%address, "entries are for people who have signed in: the address is not loopback");
        config.entries = Entries::Closed;
    }
    let closing = CancellationToken::new();
    let app = Arc::new(App::new(&config, state, closing.clone())?);
    if app.dashboards.has_folder() {
        tokio::spawn(keep_looking(app.clone()));
    }
    let routes = routes(app);
    let listener = Counted { listener, free: Arc::new(Semaphore::new(CONNECTIONS)) };
    let stop = async move {
        shutdown.await;
        closing.cancel();
    };
    let routes = routes.into_make_service_with_connect_info::<Peer>();
    axum::serve(listener, routes).with_graceful_shutdown(stop).await.map_err(WebError::Serve)
}

/// Reads changed pages anew, until the service stops.
async fn keep_looking(app: Arc<App>) {
    let mut beat = tokio::time::interval(LOOKED_AT_EVERY);
    beat.set_missed_tick_behavior(MissedTickBehavior::Delay);
    loop {
        tokio::select! {
            () = app.closing.cancelled() => return,
            _ = beat.tick() => {}
        }
        let app = app.clone();
        if let Err(died) = tokio::task::spawn_blocking(move || app.dashboards.look_again()).await {
            warn!(error = %died, "changed pages are not looked at any more");
            return;
        }
    }
}

/// A listener that takes no more connections than it may.
struct Counted {
    listener: TcpListener,
    free: Arc<Semaphore>,
}

/// The address at the other end of a connection.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Peer(pub IpAddr);

impl Connected<IncomingStream<'_, Counted>> for Peer {
    fn connect_info(stream: IncomingStream<'_, Counted>) -> Peer {
        Peer(stream.remote_addr().ip())
    }
}

/// A connection that gives its place back when it ends.
struct CountedStream {
    stream: TcpStream,
    _place: OwnedSemaphorePermit,
}

impl Listener for Counted {
    type Io = CountedStream;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (CountedStream, SocketAddr) {
        let place = self.free.clone().acquire_owned().await.expect("the semaphore is never closed");
        let (stream, address) = Listener::accept(&mut self.listener).await;
        (CountedStream { stream, _place: place }, address)
    }

    fn local_addr(&self) -> io::Result<SocketAddr> {
        self.listener.local_addr()
    }
}

impl AsyncRead for CountedStream {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(cx, buffer)
    }
}

impl AsyncWrite for CountedStream {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.stream).poll_write(cx, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        slices: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.stream).poll_write_vectored(cx, slices)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }
}
