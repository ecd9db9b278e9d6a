//! Signatures (FORMAT.md §6).

use crate::outcome::{Kind, Place, SealCheck, SealResult, Trouble};
use ed25519_dalek::{Signature, VerifyingKey};
use pumpwitness_protocol::seal::{Occasion, Seal, Statement};
use pumpwitness_recording::clock::utc_text;

/// True when `seal` carries a right signature by `key`. Keys of small order, under which a
/// signature can fit any statement, are refused.
pub fn signed_by(seal: &Seal, key: &[u8; 32]) -> bool {
    let Ok(key) = VerifyingKey::from_bytes(key) else { return false };
    let signature = Signature::from_bytes(&seal.signature.bytes());
    key.verify_strict(&seal.statement.signed_bytes(), &signature).is_ok()
}

/// The keys that may have made a seal.
#[derive(Clone, Copy, Debug)]
pub struct Keys {
    /// In the head of the file.
    pub in_file: Option<[u8; 32]>,
    /// Known for this device from elsewhere.
    pub trusted: Option<[u8; 32]>,
}

impl Keys {
    /// The key that counts: the trusted one, else that of the file.
    pub fn counting(&self) -> Option<[u8; 32]> {
        self.trusted.or(self.in_file)
    }
}

/// Checks one seal against the keys and against `hash_of`, which gives the hash of a sector of the
/// file if it is whole.
pub fn check(
    place: Place,
    seal: &Seal,
    keys: &Keys,
    device: [u8; 8],
    hash_of: impl Fn(u32) -> Option<[u8; 32]>,
) -> SealCheck {
    let statement = &seal.statement;
    let result = match keys.counting() {
        None => SealResult::Unchecked,
        Some(key) if signed_by(seal, &key) => {
            if statement.device == device {
                match hash_of(statement.sector) {
                    Some(hash) if hash == statement.chain => SealResult::Holds,
                    Some(_) => SealResult::Contradicted,
                    None => SealResult::OutOfReach,
                }
            } else {
                SealResult::OtherDevice
            }
        }
        Some(_) if keys.in_file.is_some_and(|key| signed_by(seal, &key)) => SealResult::OtherKey,
        Some(_) => SealResult::Forged,
    };
    SealCheck {
        place,
        occasion: occasion(statement),
        up_to_sector: statement.sector,
        time_ms: statement.time_ms,
        result,
    }
}

fn occasion(statement: &Statement) -> &'static str {
    match statement.occasion {
        Occasion::Hour => "hour",
        Occasion::Download => "download",
    }
}

/// The trouble a seal speaks of by itself, if any.
pub fn trouble(check: &SealCheck) -> Option<Trouble> {
    let seal = format!("The {} seal of {}", check.occasion, utc_text(check.time_ms));
    let (kind, text) = match check.result {
        SealResult::Forged => (
            Kind::SealForged,
            format!(
                "{seal} is forged or damaged: its signature is not that of the key it is checked \
                 with."
            ),
        ),
        SealResult::OtherKey => (
            Kind::SealOfOtherKey,
            format!(
                "{seal} was signed by the key in the file, which is not the key known for this \
                 logger."
            ),
        ),
        SealResult::OtherDevice => {
            (Kind::SealOfOtherDevice, format!("{seal} was made by another logger."))
        }
        SealResult::Holds
        | SealResult::OutOfReach
        | SealResult::Contradicted
        | SealResult::Unchecked => return None,
    };
    Some(Trouble { kind, place: check.place, text })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hex;
    use pumpwitness_protocol::hex::Hex;

    /// RFC 8032 §7.1; the file says what is in it.
    const RFC_8032: &str = include_str!("../../../../shared-protocol/vectors/rfc8032.txt");

    #[test]
    fn rfc_8032_vectors() {
        let rows: Vec<[&str; 4]> = RFC_8032
            .lines()
            .filter(|line| !line.starts_with('#'))
            .map(|row| row.split(' ').collect::<Vec<_>>().try_into().unwrap())
            .collect();
        assert_eq!(rows.len(), 4);
        for [_, public, message, signature] in rows {
            let message = message.trim_matches('-');
            let message: Vec<u8> = (0..message.len() / 2)
                .map(|n| u8::from_str_radix(&message[2 * n..2 * n + 2], 16).unwrap())
                .collect();
            let key = VerifyingKey::from_bytes(&hex::bytes(public).unwrap()).unwrap();
            let mut bytes = hex::bytes(signature).unwrap();
            assert!(key.verify_strict(&message, &Signature::from_bytes(&bytes)).is_ok());
            bytes[40] ^= 1;
            assert!(key.verify_strict(&message, &Signature::from_bytes(&bytes)).is_err());
        }
    }

    /// FIPS 180-4, examples of the standard's companion page ("abc", the 448-bit message), and the
    /// empty message of the Secure Hash Standard validation set (SHA256ShortMsg, Len = 0); the
    /// million letters a from FIPS 180-2 appendix B.3.
    #[test]
    fn fips_180_4_vectors() {
        use sha2::{Digest, Sha256};
        let cases: [(&[u8], &str); 3] = [
            (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
            (
                b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
                "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
            ),
            (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        ];
        for (message, hash) in cases {
            assert_eq!(Hex(&Sha256::digest(message)).to_string(), hash);
        }
        assert_eq!(
            Hex(&Sha256::digest(vec![b'a'; 1_000_000])).to_string(),
            "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"
        );
    }

    #[test]
    fn a_key_under_which_anything_passes_is_refused() {
        // The neutral element: R = 0, s = 0 would satisfy the equation for every message
        // (RFC 8032 §5.1.7 with A of small order; Chalkias et al. 2020, from memory).
        let mut neutral = [0; 32];
        neutral[0] = 1;
        let statement = Statement {
            device: [0; 8],
            boot: 0,
            occasion: Occasion::Hour,
            sector: 0,
            chain: [0; 32],
            time_ms: 0,
            papers: [0; 32],
        };
        let mut signature = [0; 64];
        signature[0] = 1;
        let signature = pumpwitness_protocol::seal::Signature::from_bytes(&signature);
        assert!(!signed_by(&Seal { statement, signature }, &neutral));
    }
}
