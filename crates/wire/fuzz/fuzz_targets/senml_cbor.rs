//! A SenML pack in CBOR: whatever comes, its first byte is made that of a list.
#![no_main]

libfuzzer_sys::fuzz_target!(|payload: &[u8]| {
    let mut payload = payload.to_owned();
    if let Some(first) = payload.first_mut() {
        *first = 0x80 | (*first & 0x1f);
    }
    wire_fuzz::decode_alone("works/alder", &payload);
    wire_fuzz::decode_alone("works/birch/chocolate", &payload);
});
