//! A bare number on a channel's topic: as it is, as ohms, as millivolts.
#![no_main]

libfuzzer_sys::fuzz_target!(|payload: &[u8]| {
    wire_fuzz::decode_alone("works/alder/chocolate", payload);
    wire_fuzz::decode_alone("works/birch/chocolate", payload);
    wire_fuzz::decode_alone("works/birch/jacket", payload);
});
