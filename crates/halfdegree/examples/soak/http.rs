//! Just enough HTTP to ask a service on this machine.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::time::Duration;

use crate::Outcome;

/// The body of an answer, whatever its code.
pub(crate) fn get(address: &str, path: &str) -> Outcome<String> {
    let mut stream = TcpStream::connect(address)?;
    stream.set_read_timeout(Some(Duration::from_secs(60)))?;
    write!(stream, "GET {path} HTTP/1.0\r\nHost: {address}\r\nConnection: close\r\n\r\n")?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer)?;
    if !answer.starts_with("HTTP/1.0 200") && !answer.starts_with("HTTP/1.1 200") {
        return Err(format!("{path}: {}", answer.lines().next().unwrap_or_default()).into());
    }
    Ok(answer.split_once("\r\n\r\n").map(|(_, body)| body.to_owned()).unwrap_or_default())
}

/// The `data:` lines of a live page, until it ends.
pub(crate) fn events(address: &str, path: &str) -> Outcome<impl Iterator<Item = String> + use<>> {
    let mut stream = TcpStream::connect(address)?;
    stream.set_read_timeout(Some(Duration::from_secs(60)))?;
    write!(stream, "GET {path} HTTP/1.0\r\nHost: {address}\r\nAccept: text/event-stream\r\n\r\n")?;
    let lines = BufReader::new(stream).lines().map_while(Result::ok);
    Ok(lines.filter_map(|line| line.strip_prefix("data:").map(|data| data.trim_start().to_owned())))
}
