//! Failures as the user sees them: one line, an exit code.

use std::fmt::Display;
use std::io::{self, ErrorKind};
use std::process::ExitCode;

/// Whose fault it is; the exit codes of the program, defined here and nowhere else.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Blame {
    /// The input or the device: exit 1.
    Input,
    /// The way the program was called: exit 2.
    Use,
    /// The file is not what it should be, as `verify` found: exit 3.
    Damage,
}

/// What went wrong, in one line with cause, place and remedy.
#[derive(Debug)]
pub struct Failure {
    blame: Blame,
    text: String,
}

impl Failure {
    /// The input or the device is at fault.
    pub fn input(text: impl Display) -> Self {
        Self { blame: Blame::Input, text: text.to_string() }
    }

    /// The program was called wrongly.
    pub fn usage(text: impl Display) -> Self {
        Self { blame: Blame::Use, text: text.to_string() }
    }

    /// `verify` found damage, or no proof where proof was asked for.
    pub fn damage(text: impl Display) -> Self {
        Self { blame: Blame::Damage, text: text.to_string() }
    }

    /// The exit code.
    pub fn exit_code(&self) -> ExitCode {
        ExitCode::from(match self.blame {
            Blame::Input => 1,
            Blame::Use => 2,
            Blame::Damage => 3,
        })
    }
}

impl Display for Failure {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        // One line, whatever an inner error brought along.
        let mut words = self.text.split_whitespace();
        if let Some(first) = words.next() {
            f.write_str(first)?;
        }
        words.try_for_each(|word| write!(f, " {word}"))
    }
}

/// Gives a foreign error its place: `what` says what was being done, with the file or port.
pub trait Context<T> {
    /// The input or the device is at fault.
    fn or_input(self, what: impl Display) -> Result<T, Failure>;
}

impl<T, E: Display> Context<T> for Result<T, E> {
    fn or_input(self, what: impl Display) -> Result<T, Failure> {
        self.map_err(|error| Failure::input(format_args!("{what}: {error}")))
    }
}

/// The same where the file system refused: its reason in plain words, with what to do about it.
pub trait FileContext<T> {
    /// `what` could not be read.
    fn or_unread(self, what: impl Display) -> Result<T, Failure>;
    /// `what` could not be written.
    fn or_unwritten(self, what: impl Display) -> Result<T, Failure>;
}

impl<T> FileContext<T> for io::Result<T> {
    fn or_unread(self, what: impl Display) -> Result<T, Failure> {
        self.map_err(|error| unread(what, &error))
    }

    fn or_unwritten(self, what: impl Display) -> Result<T, Failure> {
        self.map_err(|error| unwritten(what, &error))
    }
}

/// What to say of a file that could not be read.
pub fn unread(what: impl Display, error: &io::Error) -> Failure {
    let remedy = match error.kind() {
        ErrorKind::NotFound => "there is no such file: check its name and its folder",
        ErrorKind::IsADirectory => "this is a folder: name a file in it",
        ErrorKind::PermissionDenied => "you may not read it: ask its owner, or copy it",
        ErrorKind::InvalidData => "it is no text: name another file",
        _ => "",
    };
    refused(what, error, remedy)
}

/// What to say of a file or folder that could not be written.
pub fn unwritten(what: impl Display, error: &io::Error) -> Failure {
    let remedy = match error.kind() {
        ErrorKind::NotFound => "there is no such folder: make it first, or name another",
        ErrorKind::PermissionDenied => "you may not write there: name another folder",
        ErrorKind::StorageFull => "the disk is full: make room, or name another disk",
        _ => "",
    };
    refused(what, error, remedy)
}

fn refused(what: impl Display, error: &io::Error, remedy: &str) -> Failure {
    match remedy {
        "" => Failure::input(format_args!("{what}: {error}")),
        remedy => Failure::input(format_args!("{what}: {remedy}")),
    }
}
