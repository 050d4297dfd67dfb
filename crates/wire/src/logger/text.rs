//! From bytes to text, as spreadsheets and loggers write it.

/// UTF-8 with or without its mark, UTF-16 with its mark, or else Latin-1, in which every byte is a sign.
pub fn decode_text(bytes: &[u8]) -> String {
    match bytes {
        [0xff, 0xfe, rest @ ..] => utf_16(rest, u16::from_le_bytes),
        [0xfe, 0xff, rest @ ..] => utf_16(rest, u16::from_be_bytes),
        [0xef, 0xbb, 0xbf, rest @ ..] => String::from_utf8_lossy(rest).into_owned(),
        _ => match std::str::from_utf8(bytes) {
            Ok(text) => text.to_owned(),
            Err(_) => bytes.iter().copied().map(char::from).collect(),
        },
    }
}

fn utf_16(bytes: &[u8], unit: fn([u8; 2]) -> u16) -> String {
    let units = bytes.chunks_exact(2).map(|pair| unit([pair[0], pair[1]]));
    char::decode_utf16(units).map(|sign| sign.unwrap_or(char::REPLACEMENT_CHARACTER)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_of_text_is_read() {
        let text = "time,°C";
        let with_mark: Vec<u8> = [0xef, 0xbb, 0xbf].into_iter().chain(text.bytes()).collect();
        let little: Vec<u8> =
            [0xff, 0xfe].into_iter().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect();
        let big: Vec<u8> =
            [0xfe, 0xff].into_iter().chain(text.encode_utf16().flat_map(u16::to_be_bytes)).collect();
        for bytes in [text.as_bytes(), &with_mark, &little, &big, b"time,\xb0C"] {
            assert_eq!(decode_text(bytes), text);
        }
    }
}
