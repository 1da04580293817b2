//! The token that callers over the network must show.

use std::fmt;

use hmac::{Hmac, Mac as _};
use sha2::Sha256;
use tonic::metadata::{Ascii, MetadataValue};

/// A secret shared with the callers. What is kept and compared is a keyed hash of it, so that the
/// time of a comparison tells nothing and no log can show it.
#[derive(Clone)]
pub struct Token {
    mac: Hmac<Sha256>,
    expected: [u8; 32],
}

impl Token {
    /// A token of 16 to 512 visible ASCII characters; `None` for any other text.
    #[must_use]
    pub fn new(text: &str) -> Option<Self> {
        let fits = (16..=512).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_graphic());
        if !fits {
            return None;
        }
        let mac = Hmac::new_from_slice(b"deepbend.v1 bearer token").ok()?;
        let expected = mac.clone().chain_update(text).finalize().into_bytes().into();
        Some(Self { mac, expected })
    }

    /// Whether the value of an `authorization` header is `Bearer` and this token.
    #[must_use]
    pub fn is_shown_by(&self, authorization: Option<&[u8]>) -> bool {
        let Some((scheme, shown)) = authorization.and_then(|value| value.split_at_checked(7))
        else {
            return false;
        };
        scheme.eq_ignore_ascii_case(b"bearer ")
            && self.mac.clone().chain_update(shown).verify_slice(&self.expected).is_ok()
    }
}

/// The token that this service shows to others. No log shows it.
#[derive(Clone)]
pub struct PeerToken(MetadataValue<Ascii>);

impl PeerToken {
    /// A token as [`Token::new`] takes it.
    #[must_use]
    pub fn new(text: &str) -> Option<Self> {
        Token::new(text)?;
        let mut value = MetadataValue::try_from(format!("Bearer {text}")).ok()?;
        value.set_sensitive(true);
        Some(Self(value))
    }

    /// The value of the `authorization` header.
    pub(crate) fn header(&self) -> MetadataValue<Ascii> {
        self.0.clone()
    }
}

impl fmt::Debug for PeerToken {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("PeerToken(…)")
    }
}

impl fmt::Debug for Token {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Token(…)")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: RFC 6750, 2.1 (header form); RFC 9110, 11.1 (the scheme ignores case).
    #[test]
    fn only_the_token_itself_is_taken() {
        let token = Token::new("0123456789abcdef").unwrap();
        assert!(token.is_shown_by(Some(b"Bearer 0123456789abcdef")));
        assert!(token.is_shown_by(Some(b"bearer 0123456789abcdef")));
        for wrong in ["", "Bearer", "Bearer ", "Bearer 0123456789abcdeg", "Basic 0123456789abcdef"]
        {
            assert!(!token.is_shown_by(Some(wrong.as_bytes())), "{wrong}");
        }
        assert!(!token.is_shown_by(Some(b"Bearer 0123456789abcdef0")));
        assert!(!token.is_shown_by(None));
        assert!(Token::new("too short").is_none() && Token::new("with a space in it!").is_none());
        assert!(!format!("{token:?}").contains("0123"));
    }
}
