//! Signatures over what was recorded here while the key of this device was away.

use deepbend_ledger::event::Hash;
use deepbend_ledger::exchange::{Signature, verify};
use deepbend_ledger::fold::Member;

use super::layout::{SIGNATURES, branch_key, chain_key, put, remove};
use super::load::walk;
use super::{Inventory, InventoryError};
use crate::api::{Condition, MAX_WRITES, Row, StoreError};

impl Inventory {
    /// Signs the ends of the chains that the key of this store may sign and for which no enrolled
    /// key vouches: others would never take what stands there. What was signed with no enrolled key
    /// loses its signature, since others refuse an event that has such a one.
    pub(super) fn vouch(&self) -> Result<(), InventoryError> {
        let Some(key) = self.key().filter(|_| self.store.condition() == Condition::Sound) else {
            return Ok(());
        };
        let view = self.view();
        for (chain, stored) in self.heads().iter() {
            let member = view.roll().member(&chain.device);
            let Some(member) = member.filter(|member| member.keys.contains(&key.public())) else {
                continue;
            };
            let end = branch_key(chain, &stored.head);
            if self.store.get(SIGNATURES, &end)?.is_some_and(|row| is_good(member, &row)) {
                continue;
            }
            let mut signatures = Vec::new();
            walk(&*self.store, SIGNATURES, &chain_key(chain), |row| {
                signatures.push(row);
                Ok::<_, StoreError>(())
            })?;
            let bad = signatures.rsplit(|row| is_good(member, row)).next().unwrap_or_default();
            for step in bad.chunks(MAX_WRITES) {
                self.store.commit(step.iter().map(|row| remove(SIGNATURES, row)).collect())?;
            }
            let signature = key.sign(&stored.head.hash);
            self.store.commit(vec![put(SIGNATURES, end, signature.as_bytes())])?;
        }
        Ok(())
    }
}

/// Whether a key of the device made a signature. Its key in the store ends in the hash of what it
/// is over.
fn is_good(member: &Member, row: &Row) -> bool {
    let hash = row.key.last_chunk().map(|hash| Hash::from_bytes(*hash));
    hash.zip(Signature::read(&row.value)).is_some_and(|(hash, signature)| {
        member.keys.iter().any(|key| verify(key, &hash, &signature).is_ok())
    })
}
