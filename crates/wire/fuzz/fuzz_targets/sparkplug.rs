//! A stream of Sparkplug B messages: each is a byte for its topic, a byte for the seconds since the one before, a byte for
//! its length, and the payload.
#![no_main]

const TOPICS: [&str; 9] = [
    "spBv1.0/hall/NBIRTH/edge",
    "spBv1.0/hall/NDATA/edge",
    "spBv1.0/hall/NDEATH/edge",
    "spBv1.0/hall/DBIRTH/edge/alder",
    "spBv1.0/hall/DDATA/edge/alder",
    "spBv1.0/hall/DDEATH/edge/alder",
    "spBv1.0/hall/DDATA/edge/birch",
    "spBv1.0/hall/DDATA/other/alder",
    "spBv1.0/hall/DBIRTH/edge/oven",
];

libfuzzer_sys::fuzz_target!(|stream: &[u8]| {
    let mut decoder = wire_fuzz::decoder();
    let (mut rest, mut seconds) = (stream, 0);
    while let [topic, later, length, after @ ..] = rest {
        let (payload, next) = after.split_at(after.len().min((*length).into()));
        rest = next;
        seconds += i64::from(*later);
        let topic = TOPICS[usize::from(*topic) % TOPICS.len()];
        let message = wire_fuzz::message(topic, payload, seconds, *later == 255);
        // What waited may come out with it.
        wire_fuzz::hold(&decoder.decode(&message), stream.len());
    }
    let last = decoder.finish();
    assert!(last.arrivals.len() <= stream.len());
    assert!(!decoder.is_waiting());
});
