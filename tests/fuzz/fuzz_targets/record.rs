//! `pumpwitness_fuzz::record` under the fuzzer.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| pumpwitness_fuzz::record::run(bytes));
