#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| drop(coilwright_fuzz::sitting(bytes)));
