//! Passwords, PINs and keys: how they are made, kept and compared.
//!
//! Passwords and PINs are kept as Argon2id hashes (RFC 9106) in PHC strings, which carry their own parameters, so that a later version may ask
//! for more without locking anybody out. The parameters are those of OWASP's cheat sheet on password storage: two passes, one lane, 19 MiB; salt
//! and tag have the 128 and 256 bits of RFC 9106, section 4. That is less memory than the options of that section ask for (64 MiB and more),
//! because the service may run on a small computer beside the kettles; long passwords and the throttle stand against guessing as well.
//!
//! A key (of a session, of a program) has 256 bits from the operating system and is no word that anybody could guess: its SHA-256 is enough.
//!
//! A PIN is short and could be guessed from its hash by whoever has the file. It is worth something only on a device that is signed in
//! already, and lets its owner do no more than a worker may.

use std::fmt;
use std::sync::LazyLock;

use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier, try_generate_salt};
use argon2::{Algorithm, Argon2, Params, Version};

use crate::RecordsError;
use crate::digest::{hexadecimal, sha256_of};

/// 19 MiB.
const MEMORY_KIB: u32 = 19 * 1024;
const PASSES: u32 = 2;
const LANES: u32 = 1;
const TAG_BYTES: usize = 32;

/// NIST SP 800-63B-4, section 3.1.1.2: at least 15 characters where a password is all there is, and no rules about their kinds.
const SHORTEST_PASSWORD: usize = 15;
/// The same section: at least 64 must be taken. More than this is no password, and hashing it costs the same.
const LONGEST_PASSWORD: usize = 200;
/// Fewer different characters are one key held down. Common practice, no source.
const FEWEST_DIFFERENT: usize = 5;
/// Four digits are typed with gloves on; more than eight are a password. Common practice, no source.
const PIN_DIGITS: std::ops::RangeInclusive<usize> = 4..=8;

/// Why a password or PIN is not taken.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TooWeak {
    /// Too short.
    #[error(
        "a password has at least {SHORTEST_PASSWORD} characters; a few words in a row are easy to keep in mind"
    )]
    Short,
    /// Longer than anything that is typed.
    #[error("a password has at most {LONGEST_PASSWORD} characters")]
    Long,
    /// The same few characters again and again.
    #[error("this password has too few different characters; take a few words in a row")]
    Uniform,
    /// Not digits, or too few or many.
    #[error("a PIN has {} to {} digits", PIN_DIGITS.start(), PIN_DIGITS.end())]
    NotAPin,
    /// One of those that are tried first.
    #[error(
        "this PIN is one of the first that anybody would try; take digits that do not all agree or follow one another"
    )]
    EasyPin,
}

/// A password that may be kept. Shown nowhere.
pub struct Password(String);

/// A PIN that may be kept. Shown nowhere.
pub struct Pin(String);

impl Password {
    /// A new password, if it is good enough.
    ///
    /// # Errors
    /// In words, if it is not.
    pub fn new(text: &str) -> Result<Password, TooWeak> {
        let length = text.chars().count();
        if length < SHORTEST_PASSWORD {
            return Err(TooWeak::Short);
        }
        if LONGEST_PASSWORD < length {
            return Err(TooWeak::Long);
        }
        let mut different: Vec<char> = text.chars().collect();
        different.sort_unstable();
        different.dedup();
        if different.len() < FEWEST_DIFFERENT {
            return Err(TooWeak::Uniform);
        }
        Ok(Password(text.to_owned()))
    }

    pub(crate) fn hash(&self) -> Result<String, RecordsError> {
        hash(&self.0)
    }
}

impl Pin {
    /// A new PIN, if it is good enough.
    ///
    /// # Errors
    /// In words, if it is not.
    pub fn new(text: &str) -> Result<Pin, TooWeak> {
        if !PIN_DIGITS.contains(&text.len()) || !text.bytes().all(|byte| byte.is_ascii_digit()) {
            return Err(TooWeak::NotAPin);
        }
        let steps: Vec<i16> =
            text.as_bytes().windows(2).map(|pair| i16::from(pair[1]) - i16::from(pair[0])).collect();
        let is_run = [-1, 0, 1].iter().any(|step| steps.iter().all(|other| other == step));
        if is_run { Err(TooWeak::EasyPin) } else { Ok(Pin(text.to_owned())) }
    }

    pub(crate) fn hash(&self) -> Result<String, RecordsError> {
        hash(&self.0)
    }
}

impl fmt::Debug for Password {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Password(…)")
    }
}

impl fmt::Debug for Pin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Pin(…)")
    }
}

/// A secret of 256 bits that opens something. Shown once, to whom it is given.
#[derive(Clone, PartialEq, Eq)]
pub struct Key(String);

impl Key {
    /// A new one from the operating system's random numbers.
    pub(crate) fn new() -> Result<Key, RecordsError> {
        let half = || try_generate_salt().map_err(|_| RecordsError::NoRandom);
        Ok(Key(hexadecimal(&half()?) + &hexadecimal(&half()?)))
    }

    /// What somebody brings; it may open nothing.
    pub fn from_lookup(text: &str) -> Key {
        Key(text.to_owned())
    }

    /// The key itself, for whom it is given to.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// What is kept of it.
    pub(crate) fn sha256(&self) -> String {
        sha256_of(&self.0)
    }
}

impl fmt::Debug for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Key(…)")
    }
}

/// A hash of nothing that anybody knows, compared where there is no user, so that an unknown name takes as long as a wrong password.
static NOBODYS: LazyLock<Option<String>> = LazyLock::new(|| hash(Key::new().ok()?.as_str()).ok());

/// Is `text` what `hash` was made of? Takes as long where there is no hash.
pub(crate) fn is_secret_of(text: &str, hash: Option<&str>) -> bool {
    let known = hash.or(NOBODYS.as_deref()).and_then(|hash| PasswordHash::new(hash).ok());
    let fits = text.len() <= 4 * LONGEST_PASSWORD
        && known.is_some_and(|known| argon2().verify_password(text.as_bytes(), &known).is_ok());
    fits && hash.is_some()
}

fn hash(text: &str) -> Result<String, RecordsError> {
    let hash: PasswordHash = argon2().hash_password(text.as_bytes()).map_err(|_| RecordsError::NoRandom)?;
    Ok(hash.to_string())
}

fn argon2() -> Argon2<'static> {
    let params = Params::new(MEMORY_KIB, PASSES, LANES, Some(TAG_BYTES));
    Argon2::new(
        Algorithm::Argon2id,
        Version::V0x13,
        params.expect("the parameters are within the bounds of RFC 9106"),
    )
}

#[cfg(test)]
mod tests {
    use argon2::{AssociatedData, ParamsBuilder};

    use super::*;

    #[test]
    fn argon2id_gives_the_tag_of_the_standard() {
        // RFC 9106, section 5.3: password 32 times 01, salt 16 times 02, secret 8 times 03, associated data 12 times 04, 3 passes, 4 lanes, 32 KiB.
        let params = ParamsBuilder::new()
            .m_cost(32)
            .t_cost(3)
            .p_cost(4)
            .output_len(32)
            .data(AssociatedData::new(&[4; 12]).unwrap())
            .build()
            .unwrap();
        let secret = [3; 8];
        let argon2 = Argon2::new_with_secret(&secret, Algorithm::Argon2id, Version::V0x13, params).unwrap();
        let mut tag = [0; 32];
        argon2.hash_password_into(&[1; 32], &[2; 16], &mut tag).unwrap();
        assert_eq!(hexadecimal(&tag), "0d640df58d78766c08c037a34a8b53c9d01ef0452d75b65eb52520e96b01e659");
    }

    #[test]
    fn a_hash_says_how_it_was_made_and_holds_for_its_password_alone() {
        let hash = Password::new("three plain words").unwrap().hash().unwrap();
        assert!(hash.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{hash}");
        let [salt, tag] = [4, 5].map(|place| hash.split('$').nth(place).unwrap().len());
        assert_eq!((salt, tag), (22, 43), "16 and 32 bytes in base 64");
        assert!(is_secret_of("three plain words", Some(&hash)));
        assert!(!is_secret_of("three plain word", Some(&hash)));
        assert!(!is_secret_of("three plain words", None));
        assert_ne!(Password::new("three plain words").unwrap().hash().unwrap(), hash, "salted");
    }

    #[test]
    fn weak_passwords_and_pins_are_refused_in_words() {
        assert_eq!(Password::new("fourteen chars").unwrap_err(), TooWeak::Short);
        assert_eq!(Password::new("abababababababababab").unwrap_err(), TooWeak::Uniform);
        assert_eq!(Password::new(&"long words ".repeat(20)).unwrap_err(), TooWeak::Long);
        for (pin, fault) in [
            ("123", TooWeak::NotAPin),
            ("123456789", TooWeak::NotAPin),
            ("12a4", TooWeak::NotAPin),
            ("1111", TooWeak::EasyPin),
            ("2345", TooWeak::EasyPin),
            ("9876", TooWeak::EasyPin),
        ] {
            assert_eq!(Pin::new(pin).unwrap_err(), fault, "{pin}");
        }
        assert!(Pin::new("2718").is_ok());
        assert_eq!(format!("{:?}", Pin::new("2718").unwrap()), "Pin(…)");
    }

    #[test]
    fn keys_have_256_bits_and_are_never_the_same() {
        let [one, other] = [Key::new().unwrap(), Key::new().unwrap()];
        assert_eq!(one.as_str().len(), 64);
        assert_ne!(one, other);
        assert_ne!(one.as_str(), one.sha256());
    }
}
