//! Keys and values of the trees, see [`super`].

use deepbend_ledger::event::{Chain, EventId, Hash, Head, Sealed};

use deepbend_ledger::id::Id;

use crate::api::{Expect, Row, Tree, Write};

pub(super) const EVENTS: Tree = Tree(1);
pub(super) const HEADS: Tree = Tree(2);
pub(super) const SIGNATURES: Tree = Tree(4);
pub(super) const BRANCHES: Tree = Tree(5);
pub(super) const STRAYS: Tree = Tree(6);
pub(super) const STRAY_SIGNATURES: Tree = Tree(7);

/// A row that is not there yet.
pub(super) fn put(tree: Tree, key: Vec<u8>, value: &[u8]) -> Write {
    Write { tree, key, expect: Expect::Absent, value: Some(value.to_vec()) }
}

/// A row that is taken away.
pub(super) fn remove(tree: Tree, row: &Row) -> Write {
    let expect = Expect::WrittenBy(row.written_by);
    Write { tree, key: row.key.clone(), expect, value: None }
}

pub(super) fn chain_key(chain: &Chain) -> Vec<u8> {
    let device = chain.device.as_str().as_bytes();
    [device, &[0], &chain.incarnation.to_be_bytes()].concat()
}

pub(super) fn read_chain(key: &[u8]) -> Option<Chain> {
    let (rest, incarnation) = key.split_last_chunk()?;
    let device = rest.strip_suffix(&[0])?;
    let device = Id::new(std::str::from_utf8(device).ok()?).ok()?;
    Some(Chain { device, incarnation: u32::from_be_bytes(*incarnation) })
}

pub(super) fn event_key(chain: &Chain, sequence: u64) -> Vec<u8> {
    [chain_key(chain), sequence.to_be_bytes().to_vec()].concat()
}

pub(super) fn branch_key(chain: &Chain, head: &Head) -> Vec<u8> {
    [&event_key(chain, head.sequence)[..], head.hash.as_bytes()].concat()
}

pub(super) fn named(event: &Sealed) -> Vec<u8> {
    let EventId { chain, sequence } = &event.event().id;
    branch_key(chain, &Head { sequence: *sequence, hash: event.hash() })
}

pub(super) fn head_value(head: &Head) -> Vec<u8> {
    [&head.sequence.to_be_bytes()[..], head.hash.as_bytes()].concat()
}

pub(super) fn read_head(value: &[u8]) -> Option<Head> {
    let (sequence, hash) = value.split_first_chunk()?;
    let sequence = u64::from_be_bytes(*sequence);
    Some(Head { sequence, hash: Hash::from_bytes(hash.try_into().ok()?) })
}
