//! What people read: results go to standard output, everything else to standard error.
//!
//! Whoever reads may stop at any moment (`| head`). A command that prints results then ends without a word, because nobody wants the rest; what
//! goes to standard error is let go, because a service goes on whether anybody reads its log or not. The standard library's own macros
//! panic in both cases.

use std::fmt::Arguments;
use std::io::{self, Write};
use std::process;

use crate::FAILED;

/// A line of a result.
macro_rules! say {
    ($($text:tt)*) => { $crate::say::result(format_args!($($text)*)) };
}

/// A line beside the result.
macro_rules! note {
    ($($text:tt)*) => { $crate::say::aside(format_args!("{}\n", format_args!($($text)*))) };
}

/// A line on standard output of a command that does something, and goes on whether anybody reads it or not.
macro_rules! announce {
    ($($text:tt)*) => { $crate::say::announcement(format_args!($($text)*)) };
}

pub(crate) use {announce, note, say};

/// Standard output, for results. A reader who has gone ends the program.
#[derive(Debug, Default)]
pub(crate) struct Results(());

impl Write for Results {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        io::stdout().write(bytes).map_err(unless_gone)
    }

    fn flush(&mut self) -> io::Result<()> {
        io::stdout().flush().map_err(unless_gone)
    }
}

fn unless_gone(error: io::Error) -> io::Error {
    if error.kind() == io::ErrorKind::BrokenPipe {
        process::exit(0);
    }
    error
}

/// Standard error. What nobody reads is let go.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Aside(());

impl Write for Aside {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        Ok(io::stderr().write(bytes).unwrap_or(bytes.len()))
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// A line of a result. Where it cannot be written, such as on a full disk, the program says so and ends.
pub(crate) fn result(line: Arguments<'_>) {
    if let Err(error) = writeln!(Results::default(), "{line}") {
        note!("halfdegree: cannot write to standard output: {error}");
        process::exit(FAILED.into());
    }
}

/// A line on standard output, if somebody reads it.
pub(crate) fn announcement(line: Arguments<'_>) {
    let _ = writeln!(io::stdout(), "{line}");
}

/// Text on standard error, as it is.
pub(crate) fn aside(text: Arguments<'_>) {
    let _ = Aside::default().write_fmt(text);
}
