//! `pumpwitness_fuzz::journal` under the fuzzer.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| pumpwitness_fuzz::journal::run(bytes));
