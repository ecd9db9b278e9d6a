//! Bytes as people read them.

use core::fmt;

/// Shows bytes as lower-case hex digits.
///
/// ```
/// assert_eq!(pumpwitness_protocol::hex::Hex(&[0x0A, 0xFF]).to_string(), "0aff");
/// ```
#[derive(Clone, Copy, Debug)]
pub struct Hex<'a>(pub &'a [u8]);

impl fmt::Display for Hex<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}
