//! Keys and values of the trees, see [`super`].

use deepbend_ledger::event::{Chain, EventId, Hash, Head, Sealed};
use deepbend_ledger::id::Id;

use crate::api::{Expect, Row, Store, StoreError, Tree, Write};

pub(super) const EVENTS: Tree = Tree(1);
pub(super) const HEADS: Tree = Tree(2);
pub(super) const SIGNATURES: Tree = Tree(4);
pub(super) const BRANCHES: Tree = Tree(5);
pub(super) const STRAYS: Tree = Tree(6);
pub(super) const STRAY_SIGNATURES: Tree = Tree(7);

/// Where a row of events begins anew: so the row of an event is found from its number.
const BLOCK: u64 = 32;
/// Bytes of a row with several events, at most, before they are compressed.
const ROW_BYTES: usize = 16 * 1024;
/// First byte of a row with several events; an event alone begins with a brace.
const SEVERAL: u8 = 0;
/// Bytes before each of several events: its length.
const LENGTH: usize = 4;
/// Rows that are read at once, to begin with.
const FEW_ROWS: usize = 4;

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

/// Writes events into rows: those that follow each other in a chain stand together.
#[derive(Debug, Default)]
pub(super) struct Rows {
    /// The last row: its place among the writes, and the key of the event that may follow there.
    open: Option<(usize, Vec<u8>)>,
    /// Places of the rows that hold several events.
    several: Vec<usize>,
}

impl Rows {
    /// Adds the write of an event, or lets the last row hold it as well.
    pub(super) fn put(&mut self, writes: &mut Vec<Write>, event: &Sealed) {
        let EventId { chain, sequence } = &event.event().id;
        let key = event_key(chain, *sequence);
        let open = self.open.take().filter(|(_, next)| *next == key);
        let open = open.filter(|_| !sequence.is_multiple_of(BLOCK));
        let index = match open {
            Some((index, _)) if joins(writes.get_mut(index), event.bytes()) => {
                if self.several.last() != Some(&index) {
                    self.several.push(index);
                }
                index
            }
            Some(_) | None => {
                writes.push(put(EVENTS, key, event.bytes()));
                writes.len() - 1
            }
        };
        self.open = sequence.checked_add(1).map(|next| (index, event_key(chain, next)));
    }

    /// Compresses the rows that hold several events: no more can be added.
    pub(super) fn close(self, writes: &mut [Write]) {
        for index in self.several {
            if let Some(value) = writes.get_mut(index).and_then(|write| write.value.as_mut()) {
                *value = compressed(value);
            }
        }
    }
}

/// A row of several events: the byte that says so, then an LZ4 block with its length before it.
fn compressed(value: &[u8]) -> Vec<u8> {
    let rest = value.get(1..).unwrap_or_default();
    [&[SEVERAL], &lz4_flex::compress_prepend_size(rest)[..]].concat()
}

/// Lets the row of a write hold one more event, if it has room.
fn joins(row: Option<&mut Write>, event: &[u8]) -> bool {
    let Some(held) = row.and_then(|row| row.value.as_mut()) else { return false };
    let alone = held.first() != Some(&SEVERAL);
    let head = if alone { 1 + LENGTH } else { 0 };
    if head + held.len() + LENGTH + event.len() > ROW_BYTES {
        return false;
    }
    // Both fit into a row, and its length into its four bytes.
    let length = |bytes: &[u8]| (bytes.len() as u32).to_be_bytes();
    if alone {
        *held = [&[SEVERAL], &length(held)[..], held].concat();
    }
    held.extend_from_slice(&length(event));
    held.extend_from_slice(event);
    true
}

/// The events of a row, in order.
///
/// # Errors
/// `Corrupt` if it cannot be taken apart.
pub(super) fn events_in(value: &[u8]) -> Result<Vec<Vec<u8>>, StoreError> {
    let Some(block) = value.strip_prefix(&[SEVERAL]) else { return Ok(vec![value.to_vec()]) };
    let cut = || StoreError::Corrupt("a row of events cannot be taken apart".to_owned());
    let (length, block) = lz4_flex::block::uncompressed_size(block).map_err(|_| cut())?;
    if length > ROW_BYTES {
        return Err(cut());
    }
    let events = lz4_flex::decompress(block, length).map_err(|_| cut())?;
    let mut rest = events.as_slice();
    let mut events = Vec::new();
    while !rest.is_empty() {
        let (length, after) = rest.split_first_chunk::<LENGTH>().ok_or_else(cut)?;
        let length = usize::try_from(u32::from_be_bytes(*length)).map_err(|_| cut())?;
        let (event, after) = after.split_at_checked(length).ok_or_else(cut)?;
        events.push(event.to_vec());
        rest = after;
    }
    Ok(events)
}

/// The key of an event, and its bytes.
pub(super) type Keyed = (Vec<u8>, Vec<u8>);

/// The events of a row with their keys, in order.
///
/// # Errors
/// As [`events_in`].
pub(super) fn keyed(row: &Row) -> Result<Vec<Keyed>, StoreError> {
    let place = || StoreError::Corrupt("the number of an event".to_owned());
    let (chain, first) = row.key.split_last_chunk().ok_or_else(place)?;
    let events = events_in(&row.value)?.into_iter().zip(u64::from_be_bytes(*first)..);
    Ok(events.map(|(event, n)| ([chain, &n.to_be_bytes()].concat(), event)).collect())
}

/// The rows that hold events of a chain from one number to another, in order; the first may begin
/// before and the last end after.
///
/// # Errors
/// An error of the store.
pub(super) fn rows_of(
    store: &dyn Store,
    chain: &Chain,
    first: u64,
    last: u64,
) -> Result<Vec<Row>, StoreError> {
    let prefix = chain_key(chain);
    let (from, to) = (event_key(chain, first), event_key(chain, last));
    let mut after = (first - first % BLOCK).checked_sub(1).map(|before| event_key(chain, before));
    let mut rows: Vec<Row> = Vec::new();
    let mut many = FEW_ROWS;
    loop {
        let read = store.scan(EVENTS, &prefix, after.as_deref(), many)?;
        let ended = read.len() < many || read.last().is_some_and(|row| row.key > to);
        after = read.last().map(|row| row.key.clone());
        rows.extend(read.into_iter().take_while(|row| row.key <= to));
        if ended {
            break;
        }
        many *= 2;
    }
    // Of those that begin before the first event the last may hold it.
    let before = rows.iter().take_while(|row| row.key <= from).count();
    rows.drain(..before.saturating_sub(1));
    Ok(rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(events: &[&[u8]]) -> Write {
        let mut write = put(EVENTS, Vec::new(), events[0]);
        events[1..].iter().for_each(|event| assert!(joins(Some(&mut write), event)));
        if events.len() > 1 {
            write.value = write.value.map(|value| compressed(&value));
        }
        write
    }

    // Common practice, no source: what is put together comes apart again, and damage is told.
    #[test]
    fn events_of_a_row_come_apart_as_they_were() {
        let events: [&[u8]; 3] = [b"{1}", b"{}", b"{\"three\":0}"];
        for count in 1..=3 {
            let value = row(&events[..count]).value.unwrap();
            assert_eq!(events_in(&value).unwrap(), events[..count]);
        }
        let value = row(&events).value.unwrap();
        for length in 1..value.len() {
            assert!(events_in(&value[..length]).is_err(), "the first {length} bytes");
        }
        let huge = [&[SEVERAL], &u32::MAX.to_le_bytes()[..], &value[5..]].concat();
        assert!(events_in(&huge).is_err());
        let long = vec![b'{'; ROW_BYTES - 10];
        assert!(!joins(Some(&mut row(&[b"{}"])), &long), "too long for one row");
    }
}
