//! Site files: any text; one that is accepted comes back from its own writing.
#![no_main]

use libfuzzer_sys::fuzz_target;
use pumpwitness_site_file::parse;

fuzz_target!(|text: &str| {
    match parse(text) {
        Err(error) => assert!(!error.to_string().is_empty()),
        Ok(site) => {
            let _ = site.warnings();
            let written = site.to_toml();
            assert_eq!(parse(&written).as_ref(), Ok(&site), "{written}");
        }
    }
});
