//! Seals: when one is due, and the device's signature under it. Signing is plain arithmetic, one
//! scalar multiplication in constant time (0.15 s on the microcontroller), with no wait inside.

use ed25519_dalek::{Signer, SigningKey};
use pumpwitness_protocol::device_slot::Seed;
use pumpwitness_protocol::seal::{Seal, Signature, Statement};

/// Between two seals of the hour.
const HOUR_MS: i64 = 3_600_000;

/// The device's key and what it sealed last.
pub(crate) struct Sealer {
    key: Option<SigningKey>,
    /// The key was made in this start and is still to be kept.
    is_new: bool,
    /// Newest sector under a seal of the hour since the start.
    sector: Option<u32>,
    /// The clock when a seal was due last.
    last_ms: i64,
}

impl Sealer {
    /// A sealer that counts its hours from `now_ms`. Makes the public key, which takes as long as
    /// a signature.
    pub(crate) fn new(seed: Option<&Seed>, is_new: bool, now_ms: i64) -> Self {
        let key = seed.map(|Seed(seed)| SigningKey::from_bytes(seed));
        Self { key, is_new, sector: None, last_ms: now_ms }
    }

    /// The public key.
    pub(crate) fn public_key(&self) -> Option<[u8; 32]> {
        self.key.as_ref().map(|key| key.verifying_key().to_bytes())
    }

    /// True once for a key that is still to be kept.
    pub(crate) fn take_new(&mut self) -> bool {
        core::mem::take(&mut self.is_new)
    }

    /// Forgets a key that could not be kept: what it signs nobody could hold the device to.
    pub(crate) fn forget_key(&mut self) {
        self.key = None;
    }

    /// True when the hour is over and a sector was closed that no seal vouches for yet.
    pub(crate) fn due(&self, now_ms: i64, newest_closed: Option<u32>) -> bool {
        self.key.is_some()
            && now_ms.saturating_sub(self.last_ms) >= HOUR_MS
            && newest_closed.is_some_and(|closed| self.sector.is_none_or(|sealed| closed > sealed))
    }

    /// The hour's seal is done with, up to `sector`.
    pub(crate) fn done(&mut self, now_ms: i64, sector: Option<u32>) {
        self.last_ms = now_ms;
        self.sector = sector.or(self.sector);
    }

    /// The clock was set; the hour goes on from where it was.
    pub(crate) fn clock_set(&mut self, by_ms: i64) {
        self.last_ms = self.last_ms.saturating_add(by_ms);
    }

    /// Signs; `None` without a key.
    pub(crate) fn sign(&self, statement: Statement) -> Option<Seal> {
        let key = self.key.as_ref()?;
        let signature = key.sign(&statement.signed_bytes());
        Some(Seal { statement, signature: Signature::from_bytes(&signature.to_bytes()) })
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use pumpwitness_protocol::seal::Occasion;
    use std::vec::Vec;

    /// Bytes of hex digits; none of "-".
    fn bytes(hex: &str) -> Vec<u8> {
        let hex = hex.trim_matches('-');
        (0..hex.len())
            .step_by(2)
            .map(|at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap())
            .collect()
    }

    /// RFC 8032 §7.1; the file says what is in it.
    const VECTORS: &str = include_str!("../../../shared-protocol/vectors/rfc8032.txt");

    #[test]
    fn keys_and_signatures_are_those_of_rfc_8032() {
        let mut signed_rows = 0;
        for row in VECTORS.lines().filter(|line| !line.starts_with('#')) {
            let [secret, public, message, signature]: [&str; 4] =
                row.split(' ').collect::<Vec<_>>().try_into().unwrap();
            let seed = Seed(bytes(secret).try_into().unwrap());
            let sealer = Sealer::new(Some(&seed), false, 0);
            assert_eq!(sealer.public_key().unwrap().to_vec(), bytes(public));
            let signed = sealer.key.as_ref().unwrap().sign(&bytes(message));
            assert_eq!(signed.to_bytes().to_vec(), bytes(signature));
            signed_rows += 1;
        }
        assert_eq!(signed_rows, 4);
    }

    fn statement() -> Statement {
        Statement {
            device: *b"device01",
            boot: 1,
            occasion: Occasion::Hour,
            sector: 3,
            chain: [1; 32],
            time_ms: 5,
            papers: [2; 32],
        }
    }

    #[test]
    fn a_seal_is_over_the_statement() {
        let sealer = Sealer::new(Some(&Seed([7; 32])), false, 0);
        let seal = sealer.sign(statement()).unwrap();
        let key = ed25519_dalek::VerifyingKey::from_bytes(&sealer.public_key().unwrap()).unwrap();
        let signature = ed25519_dalek::Signature::from_bytes(&seal.signature.bytes());
        assert!(key.verify_strict(&statement().signed_bytes(), &signature).is_ok());
        let other = Statement { sector: 4, ..statement() };
        assert!(key.verify_strict(&other.signed_bytes(), &signature).is_err());
        assert_eq!(Sealer::new(None, false, 0).sign(statement()), None);
    }

    #[test]
    fn a_seal_is_due_each_hour_in_which_a_sector_was_closed() {
        let mut sealer = Sealer::new(Some(&Seed([7; 32])), false, 1_000);
        assert!(!sealer.due(1_000 + HOUR_MS - 1, Some(4)));
        assert!(!sealer.due(1_000 + HOUR_MS, None));
        assert!(sealer.due(1_000 + HOUR_MS, Some(4)));
        sealer.done(1_000 + HOUR_MS, Some(4));
        assert!(!sealer.due(1_000 + 3 * HOUR_MS, Some(4)));
        assert!(sealer.due(1_000 + 3 * HOUR_MS, Some(5)));
        // Setting the clock neither makes one due nor puts one off for years.
        sealer.clock_set(-100 * HOUR_MS);
        assert!(!sealer.due(1_000 - 99 * HOUR_MS + HOUR_MS - 1, Some(5)));
        assert!(sealer.due(1_000 - 98 * HOUR_MS, Some(5)));
        sealer.forget_key();
        assert!(!sealer.due(i64::MAX, Some(5)));
    }
}
