//! Page tokens: where the next page begins, sealed so that nobody else can make one.

use deepbend_core::gear::Word as _;
use deepbend_ledger::id::Id;
use deepbend_ledger::item::{ItemKey, ItemKind};
use hmac::{Hmac, Mac as _};
use sha2::Sha256;

use crate::error::ServiceError;

/// Bytes of the seal that go into a token: 128 bits.
const SEAL: usize = 16;

/// The key that seals the tokens of one store.
#[derive(Clone)]
pub(crate) struct PageKey {
    mac: Hmac<Sha256>,
}

impl PageKey {
    /// Length of its bytes.
    pub(crate) const BYTES: usize = 32;

    /// A key from its bytes.
    pub(crate) fn new(bytes: &[u8]) -> Option<Self> {
        Some(Self { mac: Hmac::new_from_slice(bytes).ok()? })
    }

    /// The token of the page that begins after `place`, for the request that `request` stands for.
    pub(super) fn issue(&self, request: &[u8], place: &[u8]) -> String {
        let mut bytes = place.to_vec();
        let seal = self.seal(request, &bytes).finalize().into_bytes();
        bytes.extend_from_slice(&seal[..SEAL]);
        bytes.iter().map(|byte| format!("{byte:02x}")).collect()
    }

    /// Where the page begins that a token of ours asks for.
    pub(super) fn read(&self, request: &[u8], token: &str) -> Result<Vec<u8>, ServiceError> {
        self.try_read(request, token).ok_or(ServiceError::PageToken)
    }

    fn try_read(&self, request: &[u8], token: &str) -> Option<Vec<u8>> {
        let bytes = from_hex(token)?;
        let (place, seal) = bytes.split_at_checked(bytes.len().checked_sub(SEAL)?)?;
        self.seal(request, place).verify_truncated_left(seal).ok()?;
        Some(place.to_vec())
    }

    fn seal(&self, request: &[u8], place: &[u8]) -> Hmac<Sha256> {
        let length = (request.len() as u64).to_be_bytes();
        self.mac.clone().chain_update(length).chain_update(request).chain_update(place)
    }
}

/// An item as a place of a listing.
pub(super) fn place_of(after: &ItemKey) -> Vec<u8> {
    let kind = ItemKind::ALL.iter().position(|kind| *kind == after.kind).unwrap_or_default();
    // There are six kinds.
    let mut bytes = vec![kind as u8];
    bytes.extend_from_slice(after.id.as_str().as_bytes());
    bytes
}

/// The item at a place of a listing.
pub(super) fn key_of(place: &[u8]) -> Option<ItemKey> {
    let (kind, id) = place.split_first()?;
    let kind = *ItemKind::ALL.get(usize::from(*kind))?;
    Some(ItemKey { kind, id: Id::new(std::str::from_utf8(id).ok()?).ok()? })
}

fn from_hex(text: &str) -> Option<Vec<u8>> {
    const LONGEST: usize = 2 * (256 + SEAL);
    let fits = text.len() <= LONGEST && text.len().is_multiple_of(2) && text.is_ascii();
    if !fits {
        return None;
    }
    let pairs = text.as_bytes().chunks_exact(2);
    pairs.map(|pair| u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: AIP-158 (tokens are opaque; the other arguments must be those of the first page).
    #[test]
    fn a_token_serves_its_own_request_only() {
        let key = PageKey::new(&[7; PageKey::BYTES]).unwrap();
        for kind in ItemKind::ALL {
            let after = ItemKey { kind: *kind, id: Id::new("R14").unwrap() };
            let token = key.issue(b"rods", &place_of(&after));
            assert_eq!(key_of(&key.read(b"rods", &token).unwrap()), Some(after));
            assert!(key.read(b"reels", &token).is_err());
            let other = PageKey::new(&[8; PageKey::BYTES]).unwrap();
            assert!(other.read(b"rods", &token).is_err());
            for place in 0..token.len() {
                let mut bytes = token.clone().into_bytes();
                bytes[place] = if bytes[place] == b'0' { b'1' } else { b'0' };
                assert!(key.read(b"rods", &String::from_utf8(bytes).unwrap()).is_err());
            }
        }
        for bad in ["0", "zz", "é", "", "+1", &"0".repeat(10_000)] {
            assert!(key.read(b"rods", bad).is_err(), "{bad}");
        }
    }
}
