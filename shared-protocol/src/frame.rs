//! Frames on a line (FORMAT.md §1): postcard, CRC, COBS, 00.

use crate::check;
use serde::{Deserialize, Serialize};

/// Longest frame, coded, with its closing 00.
pub const FRAME_BYTES_MAX: usize = 1100;

const CRC_BYTES: usize = 4;

/// Why a message could not be framed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("message longer than a frame of {FRAME_BYTES_MAX} bytes")]
pub struct TooLong;

/// Codes `message` into `out`; gives the frame, closing 00 included.
pub fn encode<'a, T: Serialize>(
    message: &T,
    out: &'a mut [u8; FRAME_BYTES_MAX],
) -> Result<&'a [u8], TooLong> {
    let mut plain = [0; FRAME_BYTES_MAX];
    let used = postcard::to_slice(message, &mut plain).map_err(|_| TooLong)?.len();
    let crc = check::crc32(&plain[..used]);
    let end = used + CRC_BYTES;
    plain.get_mut(used..end).ok_or(TooLong)?.copy_from_slice(&crc.to_le_bytes());
    // COBS adds a byte for each 254 begun, and the frame one 00.
    if end + end.div_ceil(254) + 1 > FRAME_BYTES_MAX {
        return Err(TooLong);
    }
    let coded = cobs::encode(&plain[..end], out);
    out[coded] = 0;
    Ok(&out[..=coded])
}

/// What a decoder found at the end of a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Found<T> {
    /// A message.
    Message(T),
    /// The frame passed its CRC, but is no message this side knows.
    Unknown,
    /// Noise: a bad code, a bad CRC, or too long.
    Damaged,
}

/// Collects bytes from a line into frames. It never reads the line, and never holds more than one
/// frame.
pub struct Decoder {
    bytes: [u8; FRAME_BYTES_MAX],
    used: usize,
    overflown: bool,
}

impl Default for Decoder {
    fn default() -> Self {
        Self::new()
    }
}

impl Decoder {
    /// A decoder at the start of a frame.
    pub const fn new() -> Self {
        Self { bytes: [0; FRAME_BYTES_MAX], used: 0, overflown: false }
    }

    /// Takes bytes up to the end of a frame; gives what was found there, if the end was reached,
    /// and the bytes not taken.
    pub fn feed<'b, T: for<'de> Deserialize<'de>>(
        &mut self,
        input: &'b [u8],
    ) -> (Option<Found<T>>, &'b [u8]) {
        let (part, rest, ended) = match input.iter().position(|byte| *byte == 0) {
            Some(end) => (&input[..end], &input[end + 1..], true),
            None => (input, &input[input.len()..], false),
        };
        match self.bytes.get_mut(self.used..self.used + part.len()) {
            Some(room) if !self.overflown => {
                room.copy_from_slice(part);
                self.used += part.len();
            }
            _ => self.overflown = true,
        }
        if !ended {
            return (None, rest);
        }
        let (used, overflown) = (self.used, self.overflown);
        self.used = 0;
        self.overflown = false;
        if overflown {
            return (Some(Found::Damaged), rest);
        }
        if used == 0 {
            // 00 alone: a sender clearing the line.
            return (None, rest);
        }
        (Some(open(&mut self.bytes[..used])), rest)
    }
}

fn open<T: for<'de> Deserialize<'de>>(coded: &mut [u8]) -> Found<T> {
    let Ok(length) = cobs::decode_in_place(coded) else { return Found::Damaged };
    let Some((message, crc)) = coded.get(..length).and_then(|plain| plain.split_last_chunk())
    else {
        return Found::Damaged;
    };
    if check::crc32(message).to_le_bytes() != *crc {
        return Found::Damaged;
    }
    match postcard::take_from_bytes(message) {
        Ok((message, [])) => Found::Message(message),
        _ => Found::Unknown,
    }
}

#[cfg(test)]
#[path = "frame_tests.rs"]
mod tests;
