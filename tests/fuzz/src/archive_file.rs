//! Archive files: foreign ones, and a good one with bytes changed, cut, moved or grown.

use crate::{archive, mend};
use arbitrary::Arbitrary;
use pumpwitness_protocol::archive::ARCHIVE_HEADER_BYTES;
use pumpwitness_recording::archive::read_archive;
use std::sync::LazyLock;

#[derive(Arbitrary, Debug)]
enum Change<'a> {
    Write {
        at: u16,
        bytes: &'a [u8],
    },
    Flip {
        at: u16,
        bit: u8,
    },
    Cut(u16),
    Copy {
        from: u16,
        to: u16,
        length: u16,
    },
    Append(&'a [u8]),
    /// Puts the head's CRC right again.
    MendHead,
    /// Puts the CRC of the page header right that begins here.
    MendPage(u8),
}

static GOOD: LazyLock<Vec<u8>> = LazyLock::new(archive);

/// Runs the target on one input.
pub fn run(bytes: &[u8]) {
    let Some(input) = crate::input::<Result<Vec<Change<'_>>, &[u8]>>(bytes) else { return };
    let file = match &input {
        Err(bytes) => bytes.to_vec(),
        Ok(changes) => {
            let mut file = GOOD.clone();
            for change in changes {
                apply(&mut file, change);
            }
            file
        }
    };
    if let Ok(recording) = read_archive("fuzz.pwa", &file) {
        let columns = &recording.columns;
        assert!(columns.end_ms.windows(2).all(|pair| pair[0] < pair[1]), "rows out of order");
        assert!(columns.len() <= file.len() * 8, "rows out of nothing");
        assert_eq!(columns.span_ms.len(), columns.len());
        let whole = file == *GOOD;
        assert_eq!(recording.source.losses.is_empty(), whole, "{:?}", recording.source.losses);
        if whole {
            assert_eq!(columns.len(), 3 * 4 * 29);
        }
    }
}

fn apply(file: &mut Vec<u8>, change: &Change<'_>) {
    match change {
        Change::Write { at, bytes } => {
            for (to, from) in file.iter_mut().skip(usize::from(*at)).zip(*bytes) {
                *to = *from;
            }
        }
        Change::Flip { at, bit } => {
            if let Some(byte) = file.get_mut(usize::from(*at)) {
                *byte ^= 1 << (bit % 8);
            }
        }
        Change::Cut(at) => file.truncate(usize::from(*at)),
        Change::Copy { from, to, length } => {
            let (from, to) = (usize::from(*from), usize::from(*to));
            let length = usize::from(*length);
            if from + length <= file.len() && to + length <= file.len() {
                file.copy_within(from..from + length, to);
            }
        }
        Change::Append(bytes) => file.extend_from_slice(bytes),
        Change::MendHead => mend(file, ARCHIVE_HEADER_BYTES - 4),
        Change::MendPage(page) => {
            let (sector, page) = (usize::from(page / 4), usize::from(page % 4));
            let at = ARCHIVE_HEADER_BYTES + sector * 4096 + page * 1024;
            let at = if page == 0 { at + 96 } else { at };
            if let Some(header) = file.get_mut(at..at + 24) {
                mend(header, 20);
            }
        }
    }
}
