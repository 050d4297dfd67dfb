//! Webhooks, signed as the open specification Standard Webhooks has it (version 1, symmetric): HMAC-SHA256 (RFC 2104, FIPS 180-4)
//! over `id.timestamp.body`, so that a receiver can tell that it comes from here and is not an old one sent again.
//!
//! Headers: `webhook-id` (the same at each try), `webhook-timestamp` (of the try, in seconds since 1970), `webhook-signature` (`v1,` and base64).

use std::fmt;
use std::time::Duration;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;

use crate::config::ReachError;
use crate::message::Message;

/// A receiver that takes longer has not taken it.
const PATIENCE: Duration = Duration::from_secs(15);

/// The shortest key, and the longest (Standard Webhooks: 24 to 64 bytes).
const KEY_BYTES: std::ops::RangeInclusive<usize> = 24..=64;

/// What signs a webhook, never shown.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(Vec<u8>);

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret(…)")
    }
}

impl Secret {
    /// Reads `whsec_` and base64, as receivers give it out, or at least 24 characters of any text.
    ///
    /// # Errors
    /// What is wrong with it, in words.
    pub fn new(text: &str) -> Result<Secret, &'static str> {
        let key = match text.strip_prefix("whsec_") {
            Some(coded) => STANDARD.decode(coded).map_err(|_| "behind whsec_ stands base64")?,
            None => text.as_bytes().to_vec(),
        };
        if KEY_BYTES.contains(&key.len()) { Ok(Secret(key)) } else { Err("it has 24 to 64 bytes") }
    }
}

/// The signature of a request.
pub fn signature(secret: &Secret, id: &str, seconds: i64, body: &str) -> String {
    let mut mac = Hmac::<Sha256>::new_from_slice(&secret.0).expect("a key of any length will do");
    mac.update(format!("{id}.{seconds}.").as_bytes());
    mac.update(body.as_bytes());
    format!("v1,{}", STANDARD.encode(mac.finalize().into_bytes()))
}

/// Calls addresses.
#[derive(Debug, Clone)]
pub(crate) struct Caller(reqwest::Client);

impl Caller {
    pub(crate) fn new() -> Result<Caller, ReachError> {
        let client = reqwest::Client::builder()
            .timeout(PATIENCE)
            // The body is signed for one receiver and goes to no other.
            .redirect(reqwest::redirect::Policy::none())
            .user_agent(concat!("halfdegree/", env!("CARGO_PKG_VERSION")))
            .build();
        client.map(Caller).map_err(|error| ReachError::Prepare(error.to_string()))
    }

    pub(crate) async fn call(&self, url: &str, secret: &Secret, message: &Message) -> Result<(), ReachError> {
        // The moment of this try: receivers refuse what was signed minutes ago, as an old one sent again.
        let (body, seconds) = (message.document(), jiff::Timestamp::now().as_second());
        let request = self
            .0
            .post(url)
            .header("content-type", "application/json")
            .header("webhook-id", &message.id)
            .header("webhook-timestamp", seconds.to_string())
            .header("webhook-signature", signature(secret, &message.id, seconds, &body))
            .body(body);
        // The address itself may hold a secret and is not repeated.
        let response =
            request.send().await.map_err(|error| ReachError::Now(in_words(&error.without_url())))?;
        let status = response.status();
        if status.is_success() {
            return Ok(());
        }
        let says = format!("the webhook's receiver answered {status}");
        // Gone (RFC 9110, 15.5.11): Standard Webhooks has it that nobody calls there again.
        if status == reqwest::StatusCode::GONE {
            Err(ReachError::Never(says))
        } else {
            Err(ReachError::Now(says))
        }
    }
}

fn in_words(error: &reqwest::Error) -> String {
    if error.is_timeout() {
        format!("the webhook's receiver did not answer within {} s", PATIENCE.as_secs())
    } else if error.is_connect() {
        "the webhook's receiver cannot be connected to; look at its address, the network and its certificate"
            .to_owned()
    } else {
        format!("the webhook could not be sent: {error}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example that the libraries of the specification Standard Webhooks are tested with.
    #[test]
    fn the_signature_is_that_of_the_specification() {
        let secret = Secret::new("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw").unwrap();
        let signed =
            signature(&secret, "msg_p5jXN8AQM9LWM0D4loKWxJek", 1_614_265_330, "{\"test\": 2432232314}");
        assert_eq!(signed, "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=");
    }

    /// RFC 4231, test case 2: the key is too short for us, and the code the same.
    #[test]
    fn the_code_is_that_of_the_rfc() {
        let mut mac = Hmac::<Sha256>::new_from_slice(b"Jefe").unwrap();
        mac.update(b"what do ya want for nothing?");
        let hex: String = mac.finalize().into_bytes().iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(hex, "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843");
    }

    #[test]
    fn a_weak_secret_is_refused() {
        assert_eq!(Secret::new("short"), Err("it has 24 to 64 bytes"));
        assert_eq!(Secret::new("whsec_!"), Err("behind whsec_ stands base64"));
        assert_eq!(format!("{:?}", Secret::new(&"x".repeat(30)).unwrap()), "Secret(…)");
    }
}
