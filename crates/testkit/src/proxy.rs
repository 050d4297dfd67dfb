//! A wire that can be cut, as a pulled cable, or frozen, as a switch that hangs: between a program under test and its broker.
//!
//! Threads and no runtime, so that a test of either kind can use it.

use std::io::{Read, Write};
use std::net::{Ipv4Addr, Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;

/// A piece is what a read gives; larger ones save nothing.
const PIECE: usize = 16 * 1024;

/// Forwards connections to a port of this computer until it is dropped.
#[derive(Debug)]
pub struct Proxy {
    address: SocketAddr,
    wire: Arc<Wire>,
}

#[derive(Debug, Default)]
struct Wire {
    state: Mutex<State>,
    thawed: Condvar,
    forwarded: AtomicU64,
    connections: AtomicU64,
}

#[derive(Debug, Default)]
struct State {
    open: Vec<TcpStream>,
    is_frozen: bool,
    is_over: bool,
}

impl Wire {
    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn wait_until_thawed(&self) {
        let state = self.state();
        drop(self.thawed.wait_while(state, |state| state.is_frozen && !state.is_over));
    }
}

impl Proxy {
    /// A wire to `port`.
    ///
    /// # Panics
    /// If the machine has no free port.
    pub fn to(port: u16) -> Proxy {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("the machine has a free port");
        let address = listener.local_addr().expect("a bound listener has an address");
        let wire = Arc::new(Wire::default());
        let accepting = Arc::clone(&wire);
        thread::spawn(move || {
            while let Ok((inside, _)) = listener.accept() {
                if accepting.state().is_over {
                    return;
                }
                let Ok(outside) = TcpStream::connect((Ipv4Addr::LOCALHOST, port)) else { continue };
                // Nobody waits for either thread: both end when their connection does.
                let _ = connect(&accepting, inside, outside);
            }
        });
        Proxy { address, wire }
    }

    /// Its port on 127.0.0.1.
    pub fn port(&self) -> u16 {
        self.address.port()
    }

    /// Its address, as it stands in a plant file.
    pub fn url(&self) -> String {
        format!("mqtt://{}", self.address)
    }

    /// Ends every connection there is, wherever it stands, and says how many that were.
    pub fn cut(&self) -> usize {
        let open = std::mem::take(&mut self.wire.state().open);
        // One that has ended by itself cannot be ended again; when one end goes, the other may follow before we reach it.
        let ended = |ends: &&[TcpStream]| {
            let ended = ends.iter().map(|end| end.shutdown(Shutdown::Both).is_ok());
            ended.filter(|&ended| ended).count() > 0
        };
        open.chunks(2).filter(ended).count()
    }

    /// From now on nothing passes, and no connection ends.
    pub fn freeze(&self) {
        self.wire.state().is_frozen = true;
    }

    /// Everything passes again.
    pub fn thaw(&self) {
        self.wire.state().is_frozen = false;
        self.wire.thawed.notify_all();
    }

    /// Bytes that have passed in either direction.
    pub fn forwarded(&self) -> u64 {
        self.wire.forwarded.load(Ordering::Relaxed)
    }

    /// Connections that were made through it.
    pub fn connections(&self) -> u64 {
        self.wire.connections.load(Ordering::Relaxed)
    }
}

impl Drop for Proxy {
    fn drop(&mut self) {
        self.wire.state().is_over = true;
        self.wire.thawed.notify_all();
        self.cut();
        // Wakes the accepting thread, which then sees that it is over.
        let _ = TcpStream::connect(self.address);
    }
}

fn connect(wire: &Arc<Wire>, inside: TcpStream, outside: TcpStream) -> std::io::Result<()> {
    inside.set_nodelay(true)?;
    outside.set_nodelay(true)?;
    wire.connections.fetch_add(1, Ordering::Relaxed);
    wire.state().open.extend([inside.try_clone()?, outside.try_clone()?]);
    let (to_outside, to_inside) = (Arc::clone(wire), Arc::clone(wire));
    let ends = (inside.try_clone()?, outside.try_clone()?);
    thread::spawn(move || pass(&to_outside, ends.0, ends.1));
    thread::spawn(move || pass(&to_inside, outside, inside));
    Ok(())
}

fn pass(wire: &Wire, mut from: TcpStream, mut to: TcpStream) {
    let mut piece = [0; PIECE];
    while let Ok(bytes @ 1..) = from.read(&mut piece) {
        wire.wait_until_thawed();
        if to.write_all(&piece[..bytes]).is_err() {
            break;
        }
        wire.forwarded.fetch_add(bytes as u64, Ordering::Relaxed);
    }
    // The other direction ends with this one.
    let _ = from.shutdown(Shutdown::Both);
    let _ = to.shutdown(Shutdown::Both);
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::wait_until;

    /// Sends back whatever it gets.
    fn echo() -> u16 {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap();
        let port = listener.local_addr().unwrap().port();
        thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                thread::spawn(move || {
                    let (mut from, mut to) = (stream.try_clone().unwrap(), stream);
                    std::io::copy(&mut from, &mut to)
                });
            }
        });
        port
    }

    fn say_and_hear(stream: &mut TcpStream, word: &[u8; 4]) -> std::io::Result<[u8; 4]> {
        stream.write_all(word)?;
        let mut heard = [0; 4];
        stream.read_exact(&mut heard)?;
        Ok(heard)
    }

    #[test]
    fn a_wire_passes_freezes_thaws_and_is_cut() {
        let proxy = Proxy::to(echo());
        let mut stream = TcpStream::connect((Ipv4Addr::LOCALHOST, proxy.port())).unwrap();
        assert_eq!(&say_and_hear(&mut stream, b"snap").unwrap(), b"snap");
        // A piece is counted after it has been handed on.
        wait_until("both words are counted", || proxy.forwarded() == 8);
        proxy.freeze();
        stream.write_all(b"cool").unwrap();
        stream.set_read_timeout(Some(Duration::from_millis(50))).unwrap();
        assert!(stream.read(&mut [0; 4]).is_err(), "nothing passes");
        assert_eq!(proxy.forwarded(), 8);
        proxy.thaw();
        stream.set_read_timeout(None).unwrap();
        let mut heard = [0; 4];
        stream.read_exact(&mut heard).unwrap();
        assert_eq!(&heard, b"cool");
        assert_eq!(proxy.cut(), 1);
        wait_until("the end is noticed", || say_and_hear(&mut stream, b"gone").is_err());
        assert_eq!(proxy.connections(), 1);
    }
}
