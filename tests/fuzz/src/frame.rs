//! Bytes on a line, in pieces, as both ends read them.

use pumpwitness_protocol::check::crc32;
use pumpwitness_protocol::frame::{Decoder, FRAME_BYTES_MAX, Found, encode};
use pumpwitness_protocol::message::{Reply, Request};
use serde::{Deserialize, Serialize};
use std::fmt::Debug;

fn read<T: Serialize + for<'de> Deserialize<'de> + PartialEq + Debug>(line: &[u8], piece: usize) {
    let mut decoder = Decoder::new();
    for mut rest in line.chunks(piece.max(1)) {
        while !rest.is_empty() {
            let (found, left) = decoder.feed::<T>(rest);
            assert!(left.len() < rest.len(), "no progress");
            rest = left;
            if let Some(Found::Message(message)) = found {
                let mut out = [0; FRAME_BYTES_MAX];
                let Ok(frame) = encode(&message, &mut out) else { continue };
                let (again, left) = Decoder::new().feed::<T>(frame);
                assert_eq!(again, Some(Found::Message(message)));
                assert!(left.is_empty());
            }
        }
    }
}

/// Runs the target on one input.
pub fn run(bytes: &[u8]) {
    let Some(input) = crate::input::<(bool, u8, &[u8])>(bytes) else { return };
    let (framed, piece, bytes) = input;
    let line = if framed {
        // The bytes as a message, so that what is behind COBS and CRC is reached.
        let mut plain = bytes.to_vec();
        plain.extend(crc32(bytes).to_le_bytes());
        let mut line = vec![0; cobs::max_encoding_length(plain.len()) + 1];
        let used = cobs::encode(&plain, &mut line);
        line.truncate(used + 1);
        line[used] = 0;
        line
    } else {
        bytes.to_vec()
    };
    read::<Request>(&line, piece.into());
    read::<Reply>(&line, piece.into());
}
