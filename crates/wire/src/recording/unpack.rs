//! Unpacking: plain, gzip (RFC 1952) or zstd (RFC 8878), told by the first bytes.

use std::io::{self, BufRead, BufReader, Read};

const GZIP: &[u8] = &[0x1f, 0x8b];
const ZSTD: &[u8] = &[0x28, 0xb5, 0x2f, 0xfd];

/// A packed file may unfold to this much: seven weeks of twenty machines with five readings a second each make about
/// this much, and a file made only to fill memory or time ends here.
const MOST_UNPACKED: u64 = 64 * 1024 * 1024 * 1024;
/// Zstd may ask for a window as large as the file; 2^27 bytes is what its own program takes without being asked.
const LARGEST_ZSTD_WINDOW_LOG: u32 = 27;
/// Reading in pieces of this size keeps the disk busy.
const BUFFER: usize = 128 * 1024;

/// The plain bytes behind `bytes`.
pub(crate) fn unpacked(bytes: impl Read + Send + 'static) -> io::Result<Box<dyn BufRead + Send>> {
    let mut packed = BufReader::with_capacity(BUFFER, bytes);
    let start = packed.fill_buf()?;
    if start.starts_with(GZIP) {
        let plain = flate2::bufread::MultiGzDecoder::new(packed);
        return Ok(bounded(plain));
    }
    if start.starts_with(ZSTD) {
        let mut plain = zstd::stream::read::Decoder::with_buffer(packed)?;
        plain.window_log_max(LARGEST_ZSTD_WINDOW_LOG)?;
        return Ok(bounded(plain));
    }
    Ok(Box::new(packed))
}

fn bounded(plain: impl Read + Send + 'static) -> Box<dyn BufRead + Send> {
    Box::new(BufReader::with_capacity(BUFFER, Bounded { plain, left: MOST_UNPACKED }))
}

/// Gives at most so many bytes, and then an error and not an end: an end would pass for a whole file.
struct Bounded<R> {
    plain: R,
    left: u64,
}

impl<R: Read> Read for Bounded<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let read = self.plain.read(buffer)?;
        self.left = self.left.checked_sub(read as u64).ok_or_else(|| {
            io::Error::new(
                io::ErrorKind::InvalidData,
                format!("it unpacks to more than {MOST_UNPACKED} bytes; split it"),
            )
        })?;
        Ok(read)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn too_much_is_an_error_and_not_an_end() {
        let mut bounded = Bounded { plain: io::repeat(b'x'), left: 10 };
        let mut buffer = [0; 8];
        assert_eq!(bounded.read(&mut buffer).unwrap(), 8);
        assert!(bounded.read(&mut buffer).unwrap_err().to_string().contains("split it"));
    }
}
