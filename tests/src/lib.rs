//! What the suites share: the built program, and running it as a user does.

pub mod sweep;

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// The program, built before the tests by `scripts/test` (or `cargo build --release`).
///
/// # Panics
/// When it has not been built.
pub fn program() -> PathBuf {
    // …/target/release/deps/suite-hash → …/target/release/pumpwitness
    let here = std::env::current_exe().expect("a test knows its own path");
    let folder = here.ancestors().nth(2).expect("a test lies in deps");
    let program = folder.join(format!("pumpwitness{}", std::env::consts::EXE_SUFFIX));
    assert!(
        program.exists(),
        "{} is missing: run `cargo build --release` first, or use scripts/test",
        program.display()
    );
    program
}

/// What came of running the program.
#[derive(Debug)]
pub struct Outcome {
    /// Exit code; −1 after a signal.
    pub code: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

/// Runs the program with these arguments in `folder`.
///
/// # Panics
/// When it cannot be started, or prints what is not text.
pub fn run(folder: &Path, arguments: &[&str]) -> Outcome {
    let output = Command::new(program())
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .expect("the program starts");
    outcome(output)
}

/// Turns raw output into text.
///
/// # Panics
/// When the program printed what is not text.
pub fn outcome(output: Output) -> Outcome {
    Outcome {
        code: output.status.code().unwrap_or(-1),
        out: String::from_utf8(output.stdout).expect("text on standard output"),
        err: String::from_utf8(output.stderr).expect("text on standard error"),
    }
}

impl Outcome {
    /// The one line of error the program printed, asserting that it is one, and the exit code.
    ///
    /// # Panics
    /// When there is none, more than one, or a panic message.
    pub fn one_line_error(&self) -> (i32, &str) {
        let line = self.err.trim_end();
        assert!(line.starts_with("pumpwitness: "), "no error line: {self:?}");
        assert_eq!(line.lines().count(), 1, "more than one line: {self:?}");
        assert!(!line.contains("panicked"), "{self:?}");
        (self.code, line)
    }

    /// Asserts that all went well and gives what was printed.
    ///
    /// # Panics
    /// When the exit code is not 0.
    pub fn fine(self) -> String {
        assert_eq!(self.code, 0, "{self:?}");
        self.out
    }
}

/// The folder of recordings of an independent simulator, where it is there: named by
/// `PUMPWITNESS_SAMPLES`, or beside the repository.
pub fn samples() -> Option<PathBuf> {
    // Asked when run: clones may share what is built.
    let beside = || {
        Some(PathBuf::from(std::env::var_os("CARGO_MANIFEST_DIR")?).join("../../shared/samples"))
    };
    let folder = std::env::var_os("PUMPWITNESS_SAMPLES").map(PathBuf::from).or_else(beside)?;
    folder.is_dir().then_some(folder)
}
