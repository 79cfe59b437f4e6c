//! Any bytes as an input list: they are read or refused, never a panic; what is read survives writing.
#![no_main]

use beforedoors::event::{inputs_text, parse_inputs};

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if let Ok((inputs, _)) = parse_inputs("inputs.csv", bytes) {
        match parse_inputs("inputs.csv", inputs_text(&inputs).as_bytes()) {
            Ok((again, _)) => assert_eq!(again, inputs),
            Err(error) => panic!("written, but not read back: {error}"),
        }
    }
});
