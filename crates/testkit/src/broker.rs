//! A real Mosquitto for one test: started on a free port in a folder of its own, stopped, killed and restarted at will.
//!
//! It must be installed; the command that runs all tests sees to that.

use std::fs;
use std::io::{self, Write as _};
use std::net::{Ipv4Addr, SocketAddr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

/// Where Debian puts it; it is not on every user's path.
const DEBIAN: &str = "/usr/sbin/mosquitto";

/// A start takes some milliseconds; a busy machine may need longer.
const STARTS_WITHIN: Duration = Duration::from_secs(10);
const LOOK_EVERY: Duration = Duration::from_millis(5);

/// A free port can be taken by somebody else before the broker has it.
const TRIES: usize = 5;

/// A running broker. Dropping it kills it.
#[derive(Debug)]
pub struct Mosquitto {
    folder: PathBuf,
    config: Vec<String>,
    port: u16,
    child: Option<Child>,
}

impl Mosquitto {
    /// Starts a broker that keeps its files in `folder`, lets everybody in, and has these further lines of configuration.
    ///
    /// # Panics
    /// If Mosquitto is not installed or does not start; its log is in the message.
    pub fn start(folder: &Path, config: &[&str]) -> Mosquitto {
        let config: Vec<String> = config.iter().map(|line| (*line).to_owned()).collect();
        let mut failure = None;
        for _ in 0..TRIES {
            let port = free_port();
            let mut broker =
                Mosquitto { folder: folder.to_owned(), config: config.clone(), port, child: None };
            match broker.launch() {
                Ok(()) => return broker,
                Err(error) => failure = Some(error),
            }
        }
        panic!("Mosquitto does not start: {failure:?}");
    }

    /// The same with persistence: sessions and queues survive a SIGTERM.
    ///
    /// # Panics
    /// As [`Mosquitto::start`].
    pub fn start_persistent(folder: &Path, config: &[&str]) -> Mosquitto {
        let location = format!("persistence_location {}/", folder.display());
        let mut lines = vec!["persistence true", location.as_str(), "max_queued_messages 0"];
        lines.extend(config);
        Mosquitto::start(folder, &lines)
    }

    /// The port it listens on, on 127.0.0.1. A restart keeps it.
    pub fn port(&self) -> u16 {
        self.port
    }

    /// Its address, as it stands in a plant file.
    pub fn url(&self) -> String {
        format!("mqtt://127.0.0.1:{}", self.port)
    }

    /// What it has logged since it was last started.
    pub fn log(&self) -> String {
        fs::read_to_string(self.folder.join("mosquitto.log")).unwrap_or_default()
    }

    /// Stops it as a service manager does: SIGTERM, and waits until it has gone.
    ///
    /// # Panics
    /// If it cannot be told.
    pub fn stop(&mut self) {
        if let Some(mut child) = self.child.take() {
            // Sending a signal needs `unsafe` or a program; the shell has `kill` built in.
            let told = Command::new("sh").arg("-c").arg(format!("kill -TERM {}", child.id())).status();
            assert!(told.is_ok_and(|status| status.success()), "cannot send SIGTERM");
            child.wait().expect("a child that has been told to end can be waited for");
        }
    }

    /// Kills it: it saves nothing.
    ///
    /// # Panics
    /// If it cannot be killed.
    pub fn kill(&mut self) {
        if let Some(mut child) = self.child.take() {
            child.kill().expect("a child of ours can be killed");
            child.wait().expect("a killed child can be waited for");
        }
    }

    /// Starts it again after [`stop`](Mosquitto::stop) or [`kill`](Mosquitto::kill), on the same port with the same files.
    ///
    /// # Panics
    /// If it does not start.
    pub fn restart(&mut self) {
        assert!(self.child.is_none(), "stop it first");
        self.launch().expect("Mosquitto starts again on its old port");
    }

    fn launch(&mut self) -> io::Result<()> {
        let file = self.folder.join("mosquitto.conf");
        let mut text = format!("listener {} 127.0.0.1\nallow_anonymous true\n", self.port);
        // Started by root it would give up its rights, and with them the folder.
        text += "user root\n";
        self.config.iter().for_each(|line| text += &format!("{line}\n"));
        fs::File::create(&file)?.write_all(text.as_bytes())?;
        let log = fs::File::create(self.folder.join("mosquitto.log"))?;
        let program = if Path::new(DEBIAN).exists() { DEBIAN } else { "mosquitto" };
        let child = Command::new(program)
            .arg("-c")
            .arg(&file)
            .stdin(Stdio::null())
            .stdout(log.try_clone()?)
            .stderr(log)
            .spawn()?;
        let child = self.child.insert(child);
        let address = SocketAddr::from((Ipv4Addr::LOCALHOST, self.port));
        let started = Instant::now();
        while TcpStream::connect(address).is_err() {
            if child.try_wait()?.is_some() || started.elapsed() > STARTS_WITHIN {
                return Err(io::Error::other(self.log()));
            }
            thread::sleep(LOOK_EVERY);
        }
        Ok(())
    }
}

impl Drop for Mosquitto {
    fn drop(&mut self) {
        self.kill();
    }
}

fn free_port() -> u16 {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("the machine has a free port");
    listener.local_addr().expect("a bound listener has an address").port()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_broker_stops_and_comes_back_on_its_port() {
        let folder = std::env::temp_dir().join(format!("testkit-broker-{}", std::process::id()));
        fs::create_dir_all(&folder).unwrap();
        let mut broker = Mosquitto::start_persistent(&folder, &[]);
        let address = SocketAddr::from((Ipv4Addr::LOCALHOST, broker.port()));
        broker.stop();
        assert!(TcpStream::connect(address).is_err());
        assert!(folder.join("mosquitto.db").exists(), "a broker that is stopped saves its sessions");
        broker.restart();
        assert!(TcpStream::connect(address).is_ok());
        broker.kill();
        assert!(TcpStream::connect(address).is_err());
        drop(broker);
        fs::remove_dir_all(&folder).unwrap();
    }
}
