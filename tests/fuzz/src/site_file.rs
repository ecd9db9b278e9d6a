//! Site files: any text; one that is accepted comes back from its own writing.

use pumpwitness_site_file::parse;

/// Runs the target on one input.
pub fn run(bytes: &[u8]) {
    let Some(text) = crate::input::<&str>(bytes) else { return };
    match parse(text) {
        Err(error) => assert!(!error.to_string().is_empty()),
        Ok(site) => {
            let _ = site.warnings();
            let written = site.to_toml();
            assert_eq!(parse(&written).as_ref(), Ok(&site), "{written}");
        }
    }
}
