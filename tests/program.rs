//! Runs the program and the streams that whole-program tests share.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::Duration;

/// A page that takes longer has hung.
const ANSWERS_WITHIN: Duration = Duration::from_secs(30);

/// The top of the project.
pub(crate) fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").canonicalize().unwrap()
}

/// The program, ready for arguments.
pub(crate) fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_halfdegree"));
    command.env("HALFDEGREE_LOG", "warn").current_dir(root());
    command
}

/// Runs it to its end.
pub(crate) fn run(args: &[&str]) -> Output {
    program().args(args).output().unwrap()
}

/// What it printed, which must be text.
pub(crate) fn text(bytes: &[u8]) -> &str {
    std::str::from_utf8(bytes).unwrap()
}

/// Standard output of a run that must have succeeded.
pub(crate) fn output(args: &[&str]) -> String {
    let output = run(args);
    assert!(output.status.success(), "{args:?} ended with {}: {}", output.status, text(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

/// A service of our own, on a free port; killed when the test is over.
pub(crate) struct Service {
    child: Child,
    address: String,
}

impl Service {
    /// Starts it and waits until its pages answer.
    pub(crate) fn start(plant: &Path, data: &Path) -> Service {
        Service::start_in(plant, data, &[])
    }

    /// The same with these variables in its environment.
    pub(crate) fn start_in(plant: &Path, data: &Path, environment: &[(&str, &Path)]) -> Service {
        let mut command = program();
        command.envs(environment.iter().copied());
        Service::launch(command, plant, data)
    }

    /// The same with whatever else the command says.
    pub(crate) fn launch(command: Command, plant: &Path, data: &Path) -> Service {
        Service::launch_on("127.0.0.1:0", command, plant, data)
    }

    /// The same on another address.
    pub(crate) fn launch_on(listen: &str, mut command: Command, plant: &Path, data: &Path) -> Service {
        let mut child = command
            .args(["serve", "--listen", listen, "--plant"])
            .arg(plant)
            .arg("--data")
            .arg(data)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let address = line.trim().strip_prefix("Pages at http://").and_then(|rest| rest.strip_suffix('/'));
        let address = address.unwrap_or_else(|| panic!("no address in {line:?}")).to_owned();
        Service { child, address }
    }

    /// Where it listens: host and port.
    pub(crate) fn address(&self) -> &str {
        &self.address
    }

    /// Status and body of a page.
    pub(crate) fn get(&self, path: &str) -> (u16, String) {
        let (status, _, body) = self.ask("GET", path, &[], "");
        (status, body)
    }

    /// Status, head and body of whatever is asked.
    pub(crate) fn ask(
        &self,
        method: &str,
        path: &str,
        headers: &[(&str, &str)],
        body: &str,
    ) -> (u16, String, String) {
        let mut stream = TcpStream::connect(self.address.replace("0.0.0.0", "127.0.0.1")).unwrap();
        stream.set_read_timeout(Some(ANSWERS_WITHIN)).unwrap();
        let lines: String = headers.iter().map(|(name, value)| format!("{name}: {value}\r\n")).collect();
        write!(
            stream,
            "{method} {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\nContent-Length: {}\r\n{lines}\r\n{body}",
            self.address,
            body.len()
        )
        .unwrap();
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).unwrap();
        let answer = String::from_utf8(answer).unwrap();
        let (head, body) = answer.split_once("\r\n\r\n").unwrap();
        let status = head.split(' ').nth(1).unwrap().parse().unwrap();
        let body = if head.to_ascii_lowercase().contains("transfer-encoding: chunked") {
            unchunked(body)
        } else {
            body.to_owned()
        };
        (status, head.to_owned(), body)
    }

    /// The body of a page as JSON.
    pub(crate) fn json(&self, path: &str) -> serde_json::Value {
        let (_, body) = self.get(path);
        serde_json::from_str(&body).unwrap_or_else(|error| panic!("{path}: {error}: {body}"))
    }

    /// Sends a signal, such as `HUP`.
    pub(crate) fn tell(&self, signal: &str) {
        let told = Command::new("sh").arg("-c").arg(format!("kill -{signal} {}", self.child.id())).status();
        assert!(told.unwrap().success());
    }

    /// SIGTERM, and waits until it has gone. It must say that all went well.
    pub(crate) fn stop(mut self) {
        self.tell("TERM");
        assert!(self.child.wait().unwrap().success(), "a service that is told to stop ends with 0");
    }

    /// Kills it: it saves nothing. It must have been running until then.
    pub(crate) fn kill(mut self) {
        const SIGKILL: i32 = 9;
        self.child.kill().unwrap();
        assert_eq!(self.child.wait().unwrap().signal(), Some(SIGKILL));
    }
}

impl Drop for Service {
    fn drop(&mut self) {
        // Gone already after `stop` or `kill`.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn unchunked(body: &str) -> String {
    let (mut rest, mut whole) = (body, String::new());
    while let Some((size, after)) = rest.split_once("\r\n") {
        let size = usize::from_str_radix(size.trim(), 16).unwrap();
        if size == 0 {
            break;
        }
        whole.push_str(&after[..size]);
        rest = after[size..].trim_start_matches("\r\n");
    }
    whole
}
