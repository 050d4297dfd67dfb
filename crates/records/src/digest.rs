//! SHA-256 in hexadecimal digits: of signed reviews, of the audit trail, and of keys that are kept as digests alone.

use sha2::{Digest, Sha256};

/// The digest of `text`.
pub(crate) fn sha256_of(text: &str) -> String {
    hexadecimal(&Sha256::digest(text.as_bytes()))
}

/// Bytes as hexadecimal digits.
pub(crate) fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_digest_is_the_published_one() {
        // FIPS 180-4, the example `abc`.
        assert_eq!(sha256_of("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }
}
