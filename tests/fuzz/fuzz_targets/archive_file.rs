//! `pumpwitness_fuzz::archive_file` under the fuzzer.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| pumpwitness_fuzz::archive_file::run(bytes));
