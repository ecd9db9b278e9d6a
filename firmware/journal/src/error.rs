//! What can go wrong with the journal.

/// Why the journal could not do what it was asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Error<E> {
    /// The flash driver failed.
    #[error("flash failed at {address:#x}")]
    Flash {
        /// Where.
        address: u32,
        /// What the driver said.
        inner: E,
    },
    /// The flash has another geometry than the format needs: erase units that divide 4096 bytes,
    /// words of 1 to 16 bytes, at least five sectors.
    #[error("the geometry of the flash does not fit the journal")]
    Geometry,
    /// The ring is full and keeps the oldest; sectors become free by `release`.
    #[error("the memory is full and keeps the oldest records")]
    Full,
    /// No sector takes data any more.
    #[error("no sector of the flash takes data any more")]
    Worn,
    /// A record that no page can hold.
    #[error("the record is too long for a page")]
    RecordTooLong,
    /// Sequence numbers are used up (after 2³² sectors).
    #[error("sequence numbers are used up")]
    SequenceExhausted,
    /// The journal contradicts itself.
    #[error("the journal contradicts itself")]
    LogicBug,
}
