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

    fn bytes(hex: &str) -> Vec<u8> {
        (0..hex.len())
            .step_by(2)
            .map(|at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap())
            .collect()
    }

    /// RFC 8032 §7.1, tests 1 to 3 and SHA(abc): secret key, public key, message, signature.
    const VECTORS: [[&str; 4]; 4] = [
        [
            "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
            "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
            "",
            "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
        ],
        [
            "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
            "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
            "72",
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
        ],
        [
            "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
            "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
            "af82",
            "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
        ],
        [
            "833fe62409237b9d62ec77587520911e9a759cec1d19755b7da901b96dca3d42",
            "ec172b93ad5e563bf4932c70e1245034c35467ef2efd4d64ebf819683467e2bf",
            "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f",
            "dc2a4459e7369633a52b1bf277839a00201009a3efbf3ecb69bea2186c26b58909351fc9ac90b3ecfdfbc7c66431e0303dca179c138ac17ad9bef1177331a704",
        ],
    ];

    #[test]
    fn keys_and_signatures_are_those_of_rfc_8032() {
        for [secret, public, message, signature] in VECTORS {
            let seed = Seed(bytes(secret).try_into().unwrap());
            let sealer = Sealer::new(Some(&seed), false, 0);
            assert_eq!(sealer.public_key().unwrap().to_vec(), bytes(public));
            let signed = sealer.key.as_ref().unwrap().sign(&bytes(message));
            assert_eq!(signed.to_bytes().to_vec(), bytes(signature));
        }
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
