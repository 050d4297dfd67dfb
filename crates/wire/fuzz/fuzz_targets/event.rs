//! An event, by MQTT and by HTTP.
#![no_main]

libfuzzer_sys::fuzz_target!(|payload: &[u8]| {
    wire_fuzz::decode_alone("works/alder/event", payload);
    let machine = "alder".parse().expect("a good id");
    if let Err(says) = wire::parse_event(&machine, payload, model::Timestamp::default(), &plant::TemperTestRules::default().curve) {
        assert!(!says.is_empty());
    }
});
