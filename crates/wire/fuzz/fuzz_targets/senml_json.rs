//! A SenML pack in JSON.
#![no_main]

libfuzzer_sys::fuzz_target!(|payload: &[u8]| {
    wire_fuzz::decode_alone("works/alder", payload);
    wire_fuzz::decode_alone("works/birch/chocolate", payload);
});
