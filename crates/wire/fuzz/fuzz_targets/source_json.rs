//! Plain JSON behind the pointers of a `[[source]]`, with each form of time.
#![no_main]

libfuzzer_sys::fuzz_target!(|payload: &[u8]| {
    wire_fuzz::decode_alone("shed/rfc3339", payload);
    wire_fuzz::decode_alone("shed/unix-s", payload);
    wire_fuzz::decode_alone("shed/unix-ms", payload);
});
