//! A recorded stream, plain or packed. A message that was read is written as one line and read again the same.
#![no_main]

use wire::recording::{Recording, line};

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    // Packed, a few bytes can be gigabytes; a stream is read line by line, so the first thousand show all there is.
    for message in read(bytes.to_owned()).take(1_000) {
        let Ok(message) = message else { continue };
        if message.payload.len() < 100_000 && std::str::from_utf8(&message.payload).is_ok() {
            let again = read(line(&message).into_bytes()).next();
            assert_eq!(again.and_then(Result::ok).as_ref(), Some(&message));
        }
    }
});

fn read(bytes: Vec<u8>) -> Recording {
    Recording::from_reader(std::io::Cursor::new(bytes)).expect("bytes in memory can be read")
}
