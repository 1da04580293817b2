//! Keys and signatures of devices: Ed25519 (RFC 8032) over the hash of an event.
//!
//! An event names the hash of the one before it, so one good signature vouches for its event and
//! for everything before it in the chain. It is kept beside the event, not in it.

use ed25519_dalek::{Signer as _, SigningKey, VerifyingKey};
use serde::{Deserialize, Serialize};

use crate::event::Hash;

/// What stands before the hash in the signed message, so that no other message looks like it.
const CONTEXT: &[u8] = b"deepbend event 1\n";

fn message(hash: &Hash) -> Vec<u8> {
    [CONTEXT, hash.as_bytes()].concat()
}

/// The public key of a device, written as 64 hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct PublicKey(Hash);

impl PublicKey {
    /// A key that was kept as bytes. Whether it is any good shows when it is used.
    #[must_use]
    pub const fn from_bytes(bytes: [u8; 32]) -> Self {
        Self(Hash::from_bytes(bytes))
    }

    /// Its 32 bytes.
    #[must_use]
    pub fn as_bytes(&self) -> &[u8; 32] {
        self.0.as_bytes()
    }
}

impl std::fmt::Display for PublicKey {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.fmt(f)
    }
}

impl std::fmt::Debug for PublicKey {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "PublicKey({self})")
    }
}

impl TryFrom<String> for PublicKey {
    type Error = String;

    /// Of either case. A weak key is refused: anybody can sign for it.
    fn try_from(text: String) -> Result<Self, String> {
        let bytes = Hash::try_from(text.to_ascii_lowercase());
        let key = bytes.map(Self).map_err(|_| "is not 64 hexadecimal digits".to_owned())?;
        match VerifyingKey::from_bytes(key.as_bytes()) {
            Err(_) => Err("is no Ed25519 key".to_owned()),
            Ok(point) if point.is_weak() => Err("is a key that anybody can sign for".to_owned()),
            Ok(_) => Ok(key),
        }
    }
}

/// A signature over the hash of an event.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Signature([u8; 64]);

impl Signature {
    /// A signature that was kept as bytes; `None` if there are not 64 of them.
    #[must_use]
    pub fn read(bytes: &[u8]) -> Option<Self> {
        bytes.try_into().ok().map(Self)
    }

    /// Its 64 bytes.
    #[must_use]
    pub fn as_bytes(&self) -> &[u8; 64] {
        &self.0
    }
}

impl std::fmt::Debug for Signature {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Signature(..)")
    }
}

/// The secret key of this device.
pub struct DeviceKey(SigningKey);

impl DeviceKey {
    /// A key from 32 secret bytes, which the caller draws at random and keeps.
    #[must_use]
    pub fn from_secret(secret: &[u8; 32]) -> Self {
        Self(SigningKey::from_bytes(secret))
    }

    /// The key that others check its signatures with.
    #[must_use]
    pub fn public(&self) -> PublicKey {
        PublicKey::from_bytes(self.0.verifying_key().to_bytes())
    }

    /// Signs an event by its hash. The same event gets the same signature.
    #[must_use]
    pub fn sign(&self, hash: &Hash) -> Signature {
        Signature(self.0.sign(&message(hash)).to_bytes())
    }
}

impl std::fmt::Debug for DeviceKey {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("DeviceKey(secret)")
    }
}

/// A signature that no key of the device made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the signature was not made with a key that is enrolled for this device")]
pub struct BadSignature;

/// Checks a signature over the hash of an event.
///
/// # Errors
/// [`BadSignature`] if it was not made with this key, or if the key is none.
pub fn verify(key: &PublicKey, hash: &Hash, signature: &Signature) -> Result<(), BadSignature> {
    let key = VerifyingKey::from_bytes(key.as_bytes()).map_err(|_| BadSignature)?;
    let signature = ed25519_dalek::Signature::from_bytes(&signature.0);
    key.verify_strict(&message(hash), &signature).map_err(|_| BadSignature)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: RFC 8032, section 7.1, TEST 1: the public key of that secret.
    #[test]
    fn the_public_key_is_that_of_rfc_8032() {
        let secret = Hash::try_from(
            "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60".to_owned(),
        );
        let key = DeviceKey::from_secret(secret.unwrap().as_bytes());
        let public = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a";
        assert_eq!(key.public().to_string(), public);
    }

    // Source: RFC 8032, section 7.1, TEST 1, and section 5.1.3: no y is p or more. y = 0 and y = 1
    // are of order 4 and 1.
    #[test]
    fn a_key_is_read_in_either_case_unless_it_is_weak_or_none() {
        let read = |text: &str| PublicKey::try_from(text.to_owned());
        let public = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a";
        assert_eq!(read(&public.to_uppercase()), read(public));
        assert_eq!(read(public).unwrap().to_string(), public);
        assert!(read(&"0".repeat(64)).unwrap_err().contains("anybody"));
        assert!(read(&format!("01{}", "0".repeat(62))).unwrap_err().contains("anybody"));
        assert!(read(&public[2..]).unwrap_err().contains("64"));
        let none = format!("02{}", "0".repeat(62));
        assert_eq!(read(&none), Err("is no Ed25519 key".to_owned()));
    }

    #[test]
    fn another_hash_key_or_bit_is_refused() {
        let (one, two) = (DeviceKey::from_secret(&[1; 32]), DeviceKey::from_secret(&[2; 32]));
        let (hash, other) = (Hash::of(b"a"), Hash::of(b"b"));
        let signature = one.sign(&hash);
        assert_eq!(verify(&one.public(), &hash, &signature), Ok(()));
        assert!(verify(&two.public(), &hash, &signature).is_err());
        assert!(verify(&one.public(), &other, &signature).is_err());
        let mut bytes = *signature.as_bytes();
        bytes[7] ^= 1;
        assert!(verify(&one.public(), &hash, &Signature(bytes)).is_err());
        assert!(verify(&PublicKey::from_bytes([2; 32]), &hash, &signature).is_err());
    }
}
