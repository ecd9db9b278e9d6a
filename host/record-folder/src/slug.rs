//! Site names → names of folders that every system takes, and that lead nowhere else.
//!
//! Letters and figures of any script stay, in lower case; spaces and hyphens become one hyphen. Where
//! anything else had to go, eight hex digits of the name's SHA-256 follow, so that "A/B" and "A-B"
//! do not share a folder.

use pumpwitness_protocol::hex::Hex;
use sha2::{Digest, Sha256};

/// Folder of records whose site has no name.
pub const UNNAMED: &str = "unnamed-site";

/// Longest name before the hex digits, bytes: file systems and old programs hold whole paths of 255.
const BYTES_MAX: usize = 48;

/// Names that Windows keeps for its devices, whatever follows a full stop.
const RESERVED: [&str; 6] = ["con", "prn", "aux", "nul", "conin", "conout"];

/// The folder's name for a site.
pub fn slug(site: &str) -> String {
    let site = site.trim();
    if site.is_empty() {
        return UNNAMED.to_owned();
    }
    let mut name = String::new();
    let mut faithful = true;
    for letter in site.chars().flat_map(char::to_lowercase) {
        if name.len() + letter.len_utf8() > BYTES_MAX {
            faithful = false;
            break;
        }
        if letter.is_alphanumeric() {
            name.push(letter);
            continue;
        }
        faithful &= matches!(letter, ' ' | '-');
        if !name.is_empty() && !name.ends_with('-') {
            name.push('-');
        }
    }
    let name = name.trim_end_matches('-');
    let taken = name.is_empty() || is_reserved(name) || name == UNNAMED || name == INCOMING;
    if faithful && !taken {
        return name.to_owned();
    }
    let digest = Sha256::digest(site.as_bytes());
    let name = if name.is_empty() { "site" } else { name };
    format!("{name}-{}", Hex(&digest[..4]))
}

/// Folder of downloads on their way.
pub(crate) const INCOMING: &str = "incoming";

fn is_reserved(name: &str) -> bool {
    let port = name.strip_prefix("com").or_else(|| name.strip_prefix("lpt"));
    // Superscript figures count there too.
    let numbered = port.is_some_and(|rest| {
        let mut letters = rest.chars();
        letters.next().is_some_and(char::is_numeric) && letters.next().is_none()
    });
    numbered || RESERVED.contains(&name)
}

/// True for a name that may stand in an address and in a path without being read as anything else.
pub(crate) fn is_plain(name: &str) -> bool {
    (1..=96).contains(&name.len())
        && name.bytes().all(|byte| byte.is_ascii_alphanumeric() || matches!(byte, b'_' | b'-'))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::path::{Component, Path};

    #[test]
    fn ordinary_names_can_be_recognised() {
        assert_eq!(slug("Upper orchard well"), "upper-orchard-well");
        assert_eq!(slug("  Poço  2 - norte "), "poço-2-norte");
        assert_eq!(slug("上の井戸"), "上の井戸");
        assert_eq!(slug(""), UNNAMED);
        assert_eq!(slug(" \t"), UNNAMED);
    }

    #[test]
    fn names_that_differ_by_signs_have_folders_of_their_own() {
        let names = ["A/B", "A-B", "A\\B", "A:B", "A.B", "A..B"];
        let mut slugs: Vec<_> = names.map(slug).to_vec();
        slugs.sort();
        slugs.dedup();
        assert_eq!(slugs.len(), names.len(), "{slugs:?}");
    }

    #[test]
    fn paths_and_device_names_lead_nowhere() {
        for name in [
            "..",
            ".",
            "../../etc/passwd",
            "/etc",
            "C:\\Windows",
            "\\\\server\\share",
            "con",
            "NUL",
            "com1",
            "LPT9",
            "com¹",
            "aux.",
            "incoming",
            "unnamed site",
            "\u{202e}gpj.exe",
            "a\0b",
            "~",
            "-rf",
            "%2e%2e",
            ".hidden",
            "a\nb",
        ] {
            let slug = slug(name);
            let path = Path::new(&slug);
            let parts: Vec<_> = path.components().collect();
            assert!(matches!(parts[..], [Component::Normal(_)]), "{name:?} → {slug:?}");
            assert!(
                !slug.starts_with(['.', '-', '~']) && !slug.contains(['/', '\\', ':', '\0', '.'])
            );
            assert!(!is_reserved(&slug) && slug != INCOMING && slug != UNNAMED, "{slug}");
        }
    }

    proptest! {
        #[test]
        fn every_name_has_a_short_plain_folder(name in any::<String>()) {
            let slug = slug(&name);
            prop_assert!((1..=BYTES_MAX + 9).contains(&slug.len()));
            prop_assert!(slug.chars().all(|letter| letter.is_alphanumeric() || letter == '-'));
            prop_assert!(!slug.starts_with('-') && !slug.ends_with('-'));
            prop_assert!(!is_reserved(&slug));
        }
    }
}
