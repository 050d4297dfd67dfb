//! Photos of smears, without what a camera writes into them: place, time, names and makers' notes.
//!
//! A filter of segments, and no decoder: what makes the picture is copied as it is, everything else is left out, and what cannot be followed is
//! refused.
//!
//! ```text
//! JPEG (ISO/IEC 10918-1, annex B): SOI, then segments FF xx length data; behind SOS coded data up to the next marker; EOI.
//!   kept: frames, tables, restarts and scans, and the 12 bytes of an APP14 `Adobe` that say how colours are coded
//!   left out: all other APPn (Exif, XMP, colour profiles, thumbnails), comments, and whatever follows EOI
//! PNG (ISO/IEC 15948): a signature, then chunks length type data CRC; IEND.
//!   kept: IHDR, PLTE, tRNS, IDAT, IEND
//!   left out: all other ancillary chunks (tEXt, zTXt, iTXt, eXIf, tIME, iCCP, ...), and whatever follows IEND
//! ```
//! With Exif goes its note on how the camera was held, so that a picture may lie on its side.

/// A picture of a telephone at its usual quality.
pub(crate) const LARGEST_PHOTO: usize = 5 * 1024 * 1024;
/// Wider or higher is no photo of a smear, and would fill a browser's memory.
const LONGEST_SIDE: u32 = 10_000;

const PNG_SIGNATURE: &[u8] = b"\x89PNG\r\n\x1a\n";

/// A photo that may be shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Photo {
    pub media_type: &'static str,
    pub bytes: Vec<u8>,
}

/// `bytes` with nothing but the picture, or what is wrong with them.
pub(crate) fn stripped(bytes: &[u8]) -> Result<Photo, &'static str> {
    if LARGEST_PHOTO < bytes.len() {
        return Err("it is larger than 5 MB; take it with a lower quality");
    }
    if bytes.starts_with(&[0xFF, 0xD8]) {
        let bytes = stripped_jpeg(bytes).ok_or("it begins like a JPEG and does not go on like one")?;
        Ok(Photo { media_type: "image/jpeg", bytes })
    } else if bytes.starts_with(PNG_SIGNATURE) {
        let bytes = stripped_png(bytes).ok_or("it begins like a PNG and does not go on like one")?;
        Ok(Photo { media_type: "image/png", bytes })
    } else {
        Err("it is neither a JPEG nor a PNG")
    }
}

/// How many pixels a photo has that has been stripped before; `None` if it does not say.
pub(crate) fn pixels_of(photo: &[u8]) -> Option<u64> {
    let sides = if photo.starts_with(PNG_SIGNATURE) {
        let side = |at: usize| Some(u32::from_be_bytes(photo.get(at..at + 4)?.try_into().ok()?));
        // Behind the signature, and the length and name of IHDR.
        (side(16)?, side(20)?)
    } else {
        frame_of_jpeg(photo)?
    };
    Some(u64::from(sides.0) * u64::from(sides.1))
}

fn frame_of_jpeg(photo: &[u8]) -> Option<(u32, u32)> {
    let number = |at: usize| Some(u32::from(u16::from_be_bytes(photo.get(at..at + 2)?.try_into().ok()?)));
    let mut at = 2;
    loop {
        let marker = *photo.get(at + 1)?;
        match segment(marker)? {
            Segment::Frame => return Some((number(at + 5)?, number(at + 7)?)),
            Segment::Scan => return None,
            Segment::Kept | Segment::LeftOut | Segment::Adobe => at += 2 + number(at + 2)? as usize,
        }
    }
}

mod marker {
    pub(super) const SOI: u8 = 0xD8;
    pub(super) const EOI: u8 = 0xD9;
    pub(super) const SOS: u8 = 0xDA;
    pub(super) const APP14: u8 = 0xEE;
}

/// What becomes of a segment.
enum Segment {
    /// Width and height stand in it.
    Frame,
    Kept,
    LeftOut,
    Adobe,
    Scan,
}

fn segment(marker: u8) -> Option<Segment> {
    match marker {
        // DHT, JPG (reserved) and DAC stand among the frames.
        0xC4 | 0xCC => Some(Segment::Kept),
        0xC8 => None,
        0xC0..=0xCF => Some(Segment::Frame),
        marker::SOS => Some(Segment::Scan),
        // DQT, DNL, DRI, DHP and EXP.
        0xDB..=0xDF => Some(Segment::Kept),
        marker::APP14 => Some(Segment::Adobe),
        0xE0..=0xFE => Some(Segment::LeftOut),
        _ => None,
    }
}

/// `None` if the bytes cannot be followed to their end.
fn stripped_jpeg(bytes: &[u8]) -> Option<Vec<u8>> {
    let mut kept = vec![0xFF, marker::SOI];
    let (mut at, mut has_frame, mut has_scan) = (2, false, false);
    loop {
        // Any number of FF may stand before a marker.
        let marker_at = at + bytes.get(at..)?.iter().position(|byte| *byte != 0xFF)?;
        if marker_at == at {
            return None;
        }
        let marker = bytes[marker_at];
        at = marker_at + 1;
        if marker == marker::EOI {
            kept.extend([0xFF, marker::EOI]);
            return (has_frame && has_scan).then_some(kept);
        }
        let length = usize::from(u16::from_be_bytes(bytes.get(at..at + 2)?.try_into().ok()?));
        let data = bytes.get(at..at + length).filter(|data| 2 <= data.len())?;
        at += length;
        let stays = match segment(marker)? {
            Segment::Frame => {
                let side = |place: usize| {
                    Some(u32::from(u16::from_be_bytes(data.get(place..place + 2)?.try_into().ok()?)))
                };
                let (height, width) = (side(3)?, side(5)?);
                has_frame = (1..=LONGEST_SIDE).contains(&width) && height <= LONGEST_SIDE;
                has_frame.then_some(true)?
            }
            Segment::Kept => true,
            Segment::Adobe => data.len() == 14 && data[2..].starts_with(b"Adobe"),
            Segment::LeftOut => false,
            Segment::Scan => true,
        };
        if stays {
            kept.extend([0xFF, marker]);
            kept.extend(data);
        }
        if marker == marker::SOS {
            has_scan = true;
            let coded = coded_length(bytes.get(at..)?)?;
            kept.extend(&bytes[at..at + coded]);
            at += coded;
        }
    }
}

/// Length of coded data: up to a marker that is no restart. FF in the data is followed by 00.
fn coded_length(bytes: &[u8]) -> Option<usize> {
    bytes.windows(2).position(|pair| pair[0] == 0xFF && !matches!(pair[1], 0x00 | 0xFF | 0xD0..=0xD7))
}

/// `None` if the bytes cannot be followed to their end.
fn stripped_png(bytes: &[u8]) -> Option<Vec<u8>> {
    let mut kept = PNG_SIGNATURE.to_vec();
    let mut at = PNG_SIGNATURE.len();
    let mut has_data = false;
    loop {
        let number = |at: usize| Some(u32::from_be_bytes(bytes.get(at..at + 4)?.try_into().ok()?));
        let length = usize::try_from(number(at)?).ok()?;
        let kind: &[u8] = bytes.get(at + 4..at + 8)?;
        let chunk = bytes.get(at..at.checked_add(length)?.checked_add(12)?)?;
        let is_first = at == PNG_SIGNATURE.len();
        if is_first != (kind == b"IHDR") {
            return None;
        }
        if is_first {
            let side = 1..=LONGEST_SIDE;
            (length == 13 && side.contains(&number(at + 8)?) && side.contains(&number(at + 12)?))
                .then_some(())?;
        }
        match kind {
            b"IHDR" | b"PLTE" | b"tRNS" | b"IDAT" | b"IEND" => kept.extend(chunk),
            // An unknown critical chunk, told by its capital, is needed to show the picture.
            [first, ..] if first.is_ascii_uppercase() => return None,
            _ => {}
        }
        has_data |= kind == b"IDAT";
        if kind == b"IEND" {
            return has_data.then_some(kept);
        }
        at += chunk.len();
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn of(marker: u8, data: &[u8]) -> Vec<u8> {
        let length = u16::try_from(data.len() + 2).unwrap().to_be_bytes();
        [&[0xFF, marker], &length[..], data].concat()
    }

    /// Eight by eight, with Exif, XMP, a comment, the colours' note, two scans and a trailer.
    fn jpeg() -> (Vec<u8>, Vec<u8>) {
        let frame = of(0xC2, &[8, 0, 8, 0, 8, 1, 1, 0x11, 0]);
        let table = of(0xDB, &[0; 65]);
        let adobe = of(0xEE, b"Adobe\0\x64\0\0\0\0\x01");
        let scan = [of(0xDA, &[1, 1, 0, 0, 63, 0]), vec![1, 0xFF, 0x00, 2, 0xFF, 0xD0, 3]].concat();
        let exif = of(0xE1, b"Exif\0\0MM\0*SECRET gps 38.7 N, SECRET name");
        let comment = of(0xFE, b"SECRET comment");
        let end = vec![0xFF, 0xD9];
        let start = vec![0xFF, 0xD8];
        let whole = [
            start.clone(),
            of(0xE0, b"JFIF\0\x01\x02\0\0\x01\0\x01\0\0"),
            exif,
            table.clone(),
            adobe.clone(),
            frame.clone(),
            scan.clone(),
            comment,
            vec![0xFF, 0xFF],
            scan[1..].to_vec(),
            end.clone(),
            b"SECRET trailer".to_vec(),
        ]
        .concat();
        (whole, [start, table, adobe, frame, scan.clone(), scan, end].concat())
    }

    fn chunk(kind: &[u8; 4], data: &[u8]) -> Vec<u8> {
        let length = u32::try_from(data.len()).unwrap().to_be_bytes();
        [&length[..], kind, data, &[9, 9, 9, 9]].concat()
    }

    fn png() -> (Vec<u8>, Vec<u8>) {
        let head = chunk(b"IHDR", &[0, 0, 0, 8, 0, 0, 0, 8, 8, 2, 0, 0, 0]);
        let data = chunk(b"IDAT", &[1, 2, 3]);
        let end = chunk(b"IEND", &[]);
        let text = chunk(b"tEXt", b"Author\0SECRET");
        let exif = chunk(b"eXIf", b"MM\0*SECRET");
        let signature = PNG_SIGNATURE.to_vec();
        let whole =
            [signature.clone(), head.clone(), text, data.clone(), exif, end.clone(), b"SECRET".to_vec()]
                .concat();
        (whole, [signature, head, data, end].concat())
    }

    #[test]
    fn what_a_camera_wrote_is_gone_and_the_picture_is_whole() {
        let (whole, bare) = jpeg();
        assert_eq!(stripped(&whole).unwrap(), Photo { media_type: "image/jpeg", bytes: bare.clone() });
        assert_eq!(stripped(&bare).unwrap().bytes, bare, "once is as good as twice");
        let (whole, bare) = png();
        assert_eq!(stripped(&whole).unwrap(), Photo { media_type: "image/png", bytes: bare.clone() });
        assert_eq!(stripped(&bare).unwrap().bytes, bare);
    }

    #[test]
    fn a_stripped_photo_says_how_large_it_is() {
        for (_, bare) in [jpeg(), png()] {
            assert_eq!(pixels_of(&bare), Some(64));
        }
        assert_eq!(pixels_of(b"GIF89a"), None);
        assert_eq!(pixels_of(&[0xFF, 0xD8, 0xFF, 0xDA, 0, 2]), None);
    }

    #[test]
    fn what_is_no_photo_is_refused() {
        assert_eq!(stripped(b"GIF89a"), Err("it is neither a JPEG nor a PNG"));
        assert!(stripped(&vec![0; LARGEST_PHOTO + 1]).unwrap_err().contains("larger than 5 MB"));
        for (whole, _) in [jpeg(), png()] {
            let last = whole.windows(6).rposition(|bytes| bytes == b"SECRET").unwrap();
            assert!(stripped(&whole[..last]).is_ok());
            for length in 0..last {
                assert!(stripped(&whole[..length]).is_err(), "{length} of {last}");
            }
        }
        let huge = [&[0xFF, 0xD8][..], &of(0xC0, &[8, 0xFF, 0xFF, 0xFF, 0xFF, 1, 1, 0x11, 0])].concat();
        assert!(stripped(&huge).is_err());
    }

    proptest! {
        #[test]
        fn no_bytes_break_it_and_no_secret_comes_through(place in 0usize..200, byte in any::<u8>()) {
            for (mut whole, _) in [jpeg(), png()] {
                let place = place % whole.len();
                whole[place] = byte;
                if let Ok(photo) = stripped(&whole) {
                    prop_assert!(photo.bytes.len() <= whole.len());
                    prop_assert_eq!(stripped(&photo.bytes), Ok(photo));
                }
            }
        }
    }
}
