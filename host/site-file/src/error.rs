//! What can be wrong with a site file. Each error is one readable line: place, cause, remedy.

/// What is wrong with a site file.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SiteFileError {
    /// Longer than [`crate::TEXT_BYTES_MAX`].
    #[error(
        "the text is {bytes} bytes long, a site file has at most {}: is this the right file?",
        crate::TEXT_BYTES_MAX
    )]
    TooLong {
        /// Length of the text.
        bytes: usize,
    },
    /// Not TOML.
    #[error("line {line}: this cannot be read as TOML: {cause}")]
    Syntax {
        /// Line, from 1.
        line: usize,
        /// What the TOML reader says.
        cause: String,
    },
    /// A section that does not exist.
    #[error("line {line}: there is no section [{section}]: {remedy}")]
    UnknownSection {
        /// Line, from 1.
        line: usize,
        /// Name as written.
        section: String,
        /// What to write.
        remedy: String,
    },
    /// A value where a section belongs.
    #[error("line {line}: `{section}` is a section: write [{section}] on a line of its own")]
    NotASection {
        /// Line, from 1.
        line: usize,
        /// Name of the section.
        section: &'static str,
    },
    /// A key that does not exist.
    #[error("line {line}: [{section}] has no key `{key}`: {remedy}")]
    UnknownKey {
        /// Line, from 1.
        line: usize,
        /// Section.
        section: &'static str,
        /// Key as written.
        key: String,
        /// What to write.
        remedy: String,
    },
    /// A value of the wrong kind, such as text for a number.
    #[error("line {line}: `{key}` must be {wanted}, this is {found}")]
    WrongKind {
        /// Line, from 1.
        line: usize,
        /// Key as written.
        key: String,
        /// What belongs there, with an example.
        wanted: &'static str,
        /// What stands there.
        found: String,
    },
    /// A number outside its bounds.
    #[error("line {line}: `{key}` = {value}: the {noun} must lie between {range}")]
    OutOfRange {
        /// Line, from 1.
        line: usize,
        /// Key as written.
        key: String,
        /// Value as written.
        value: String,
        /// What it measures.
        noun: &'static str,
        /// Least and greatest value, in the unit of the key: `50 and 700 V`.
        range: String,
    },
    /// A word or number that is not one of those allowed.
    #[error("line {line}: `{key}` = {value}: it must be {allowed}")]
    NotAllowed {
        /// Line, from 1.
        line: usize,
        /// Key as written.
        key: String,
        /// Value as written.
        value: String,
        /// What is allowed.
        allowed: String,
    },
    /// Text that is empty or too long for the logger.
    #[error("line {line}: `{key}` is {bytes} bytes long: it must have 1 to {max}")]
    TextLength {
        /// Line, from 1.
        line: usize,
        /// Key as written.
        key: String,
        /// Its length.
        bytes: usize,
        /// Most bytes it may have.
        max: usize,
    },
    /// One quantity given in two units.
    #[error("line {line}: `{key}` and `{other}` give the same quantity twice: keep one of them")]
    TwoUnits {
        /// Line of the second, from 1.
        line: usize,
        /// The second.
        key: String,
        /// The first.
        other: String,
    },
    /// A section that must be there.
    #[error("the section [{section}] is missing: add it with `{key}`")]
    MissingSection {
        /// Name of the section.
        section: &'static str,
        /// A key it must have.
        key: String,
    },
    /// A key that must be there.
    #[error("line {line}: [{section}] lacks `{key}`: add it{remedy}")]
    MissingKey {
        /// Line of the section, from 1.
        line: usize,
        /// Name of the section.
        section: &'static str,
        /// The key.
        key: String,
        /// What else would do.
        remedy: &'static str,
    },
    /// Values that contradict each other.
    #[error("line {line}: {cause}")]
    Conflict {
        /// Line, from 1.
        line: usize,
        /// What contradicts what, and what to do.
        cause: String,
    },
}

impl SiteFileError {
    /// Line of the text that it is about, from 1; `None` where it is about none.
    pub fn line(&self) -> Option<usize> {
        match self {
            Self::TooLong { .. } | Self::MissingSection { .. } => None,
            Self::Syntax { line, .. }
            | Self::UnknownSection { line, .. }
            | Self::NotASection { line, .. }
            | Self::UnknownKey { line, .. }
            | Self::WrongKind { line, .. }
            | Self::OutOfRange { line, .. }
            | Self::NotAllowed { line, .. }
            | Self::TextLength { line, .. }
            | Self::TwoUnits { line, .. }
            | Self::MissingKey { line, .. }
            | Self::Conflict { line, .. } => Some(*line),
        }
    }
}
