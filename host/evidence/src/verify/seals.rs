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
    use ed25519_dalek::{Signer, SigningKey};
    use pumpwitness_protocol::hex::Hex;

    /// RFC 8032 §7.1, tests 1, 2, 3 and SHA(abc): secret key, public key, message, signature.
    const RFC_8032: [[&str; 4]; 4] = [
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
    fn rfc_8032_vectors() {
        for [secret, public, message, signature] in RFC_8032 {
            let message: Vec<u8> = (0..message.len() / 2)
                .map(|n| u8::from_str_radix(&message[2 * n..2 * n + 2], 16).unwrap())
                .collect();
            let signing = SigningKey::from_bytes(&hex::bytes(secret).unwrap());
            assert_eq!(Hex(&signing.verifying_key().to_bytes()).to_string(), public);
            assert_eq!(Hex(&signing.sign(&message).to_bytes()).to_string(), signature);
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
