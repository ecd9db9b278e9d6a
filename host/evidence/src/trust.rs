//! Keys known from elsewhere: a small TOML file, device number → public key.
//!
//! ```toml
//! [logger.44454d4f30303031]
//! key = "…64 hex digits…"
//! first_seen = "2026-03-02T09:30:00.000Z"
//! note = "read at the bench before it was lent out"
//! ```

use crate::hex;
use pumpwitness_protocol::hex::Hex;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Keys known from elsewhere.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Trust {
    /// By device number, 16 hex digits.
    #[serde(default)]
    logger: BTreeMap<String, Known>,
}

/// What is known of a logger.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Known {
    /// Public key, 64 hex digits.
    pub key: String,
    /// When the key was noted.
    pub first_seen: String,
    /// Where it was had from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// Why a trust file cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TrustError {
    /// It does not read as one.
    #[error("it is no trust file: {0}")]
    Format(#[from] toml::de::Error),
    /// A device number that is none.
    #[error("[logger.{0}]: a device number has 16 hex digits")]
    Device(String),
    /// A key that is none.
    #[error("[logger.{0}]: a key has 64 hex digits")]
    Key(String),
    /// The device is known with another key.
    #[error(
        "logger {device} is known with another key ({known}, noted {first_seen}): nothing was \
         changed; find out why before you remove the old entry by hand"
    )]
    OtherKey {
        /// Device number.
        device: String,
        /// Key known.
        known: String,
        /// When it was noted.
        first_seen: String,
    },
}

impl Trust {
    /// Reads a trust file.
    pub fn parse(text: &str) -> Result<Self, TrustError> {
        let trust: Self = toml::from_str(text)?;
        for (device, known) in &trust.logger {
            if hex::bytes::<8>(device).is_none() {
                return Err(TrustError::Device(device.clone()));
            }
            if hex::bytes::<32>(&known.key).is_none() {
                return Err(TrustError::Key(device.clone()));
            }
        }
        Ok(trust)
    }

    /// The file's text.
    pub fn to_toml(&self) -> String {
        let mut text =
            "# Public keys of loggers (pumpwitness verify). Each entry was noted when the \
                        key could be\n# believed; a changed key is an alarm, not a nuisance.\n\n"
                .to_owned();
        // Strings in tables: nothing that TOML could not hold.
        text.push_str(&toml::to_string(self).unwrap_or_default());
        text
    }

    /// What is known of a device.
    pub fn known(&self, device: &[u8; 8]) -> Option<&Known> {
        self.logger
            .iter()
            .find_map(|(number, known)| (hex::bytes(number)? == *device).then_some(known))
    }

    /// Key known of a device.
    pub fn key(&self, device: &[u8; 8]) -> Option<[u8; 32]> {
        hex::bytes(&self.known(device)?.key)
    }

    /// Notes a key. False when it was known already; an error when another is.
    pub fn remember(
        &mut self,
        device: &[u8; 8],
        key: &[u8; 32],
        first_seen: String,
        note: Option<String>,
    ) -> Result<bool, TrustError> {
        if let Some(known) = self.known(device) {
            if hex::bytes(&known.key) == Some(*key) {
                return Ok(false);
            }
            return Err(TrustError::OtherKey {
                device: Hex(device).to_string(),
                known: known.key.clone(),
                first_seen: known.first_seen.clone(),
            });
        }
        self.logger
            .insert(Hex(device).to_string(), Known { key: Hex(key).to_string(), first_seen, note });
        Ok(true)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const DEVICE: [u8; 8] = *b"DEMO0001";

    #[test]
    fn what_was_remembered_comes_back_and_another_key_is_refused() {
        let mut trust = Trust::default();
        let note = Some("at the bench, \"red\" case".to_owned());
        assert!(trust.remember(&DEVICE, &[7; 32], "2026-03-02".to_owned(), note).unwrap());
        assert_eq!(Trust::parse(&trust.to_toml()).unwrap(), trust);
        assert_eq!(trust.key(&DEVICE), Some([7; 32]));
        assert_eq!(trust.key(b"DEMO0002"), None);
        assert!(!trust.remember(&DEVICE, &[7; 32], String::new(), None).unwrap());
        let error = trust.remember(&DEVICE, &[8; 32], String::new(), None).unwrap_err();
        assert!(error.to_string().contains("another key"), "{error}");
        assert_eq!(trust.key(&DEVICE), Some([7; 32]));
    }

    #[test]
    fn a_file_that_is_none_is_refused() {
        for text in [
            "logger = 3",
            "[logger.44]\nkey = \"\"\nfirst_seen = \"\"",
            "[logger.44454d4f30303031]\nkey = \"beef\"\nfirst_seen = \"\"",
            "[logger.44454d4f30303031]\nkey = \"beef\"",
            "[loggers]",
        ] {
            assert!(Trust::parse(text).is_err(), "{text}");
        }
        assert_eq!(Trust::parse("").unwrap(), Trust::default());
    }
}
