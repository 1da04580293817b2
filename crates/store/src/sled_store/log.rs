//! Reads sled's own file without sled, and without changing a byte of it.
//!
//! Why: sled 0.34 cannot open for reading only. Opening writes: it fills the file with zeros from
//! the first message on that it cannot read, and drops later segments with it. On a damaged file
//! that destroys what was acknowledged; on a full disk or a read-only folder it fails.
//!
//! Layout (read from the source of sled 0.34.7, which the manifest pins):
//!
//! ```text
//! file    = segments of SEGMENT_BYTES, each: header | messages | zeros
//! header  = !CRC-32 of the rest (4) | place ^ i64::MAX (8) | stable place ^ i64::MAX (8)
//! message = !CRC-32 over body and the rest of the head (4) | kind (1) | length | segment number
//!           | page (three varints) | body
//! ```
//!
//! A place (sled: log sequence number) counts bytes written ever; numbers are little-endian.

use std::collections::BTreeMap;
use std::fs::File;
use std::io;
use std::os::unix::fs::FileExt;
use std::path::{Path, PathBuf};

use super::SEGMENT_BYTES;

const SEGMENT: u64 = SEGMENT_BYTES as u64;
const SEGMENT_HEAD: usize = 20;
/// Bytes of a message's checksum, which comes first.
const SUM: usize = 4;
/// The checksum, the kind and three numbers of nine bytes.
const LONGEST_HEAD: usize = SUM + 1 + 3 * 9;
/// The polynomial of CRC-32/ISO-HDLC, its lowest power first.
const CRC_32: u32 = 0xedb8_8320;
/// No message begins within this many bytes of a segment's end.
const RED_ZONE: usize = 32;
const PLACE_MASK: u64 = i64::MAX as u64;

/// What a message does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// Nothing: it was cancelled, or is sled's own book-keeping.
    Idle,
    /// Fills the rest of the segment.
    Cap,
    /// Begins an atomic batch; the body is the place of its last byte.
    Batch,
    /// Ends a page.
    Free,
    /// Sets a page.
    Page,
    /// Changes one key of a page.
    Link,
}

/// A message whose checksum holds.
#[derive(Clone, Copy, Debug)]
pub(super) struct Message<'a> {
    pub(super) kind: Kind,
    pub(super) page: u64,
    pub(super) place: u64,
    /// Place of its last byte.
    pub(super) end: u64,
    pub(super) body: &'a [u8],
}

/// A stretch of the file that holds no readable message although one was expected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Gap {
    /// Its place in the log.
    pub(super) place: u64,
    /// Its first byte in the file.
    pub(super) offset: u64,
    /// Whether readable messages follow, in its segment or a later one.
    pub(super) inside: bool,
}

/// The segments of a file in the order in which they were written.
#[derive(Debug)]
pub(super) struct Log {
    file: File,
    /// Place of the first byte -> offset in the file.
    segments: BTreeMap<u64, u64>,
    /// From here on no segment may be missing.
    stable: u64,
    /// Segments whose header is damaged although they hold messages.
    headless: Vec<Gap>,
}

impl Log {
    /// Opens the file and reads the headers.
    pub(super) fn open(path: &Path) -> io::Result<Self> {
        let file = File::open(path)?;
        let length = file.metadata()?.len();
        let mut log = Self { file, segments: BTreeMap::new(), stable: 0, headless: Vec::new() };
        let mut unknown = Vec::new();
        for offset in (0..length).step_by(SEGMENT_BYTES) {
            let mut head = [0; SEGMENT_HEAD];
            let read = read_at(&log.file, &mut head, offset)?;
            match (read == SEGMENT_HEAD).then(|| segment_head(&head)).flatten() {
                Some((place, stable)) => {
                    log.segments.insert(place, offset);
                    log.stable = log.stable.max(stable / SEGMENT * SEGMENT);
                }
                None => unknown.push(offset),
            }
        }
        let mut bytes = Vec::new();
        for offset in unknown {
            log.segment(offset, &mut bytes)?;
            let first =
                (SEGMENT_HEAD..end_of_data(&bytes)).find_map(|at| message(&bytes, at, None));
            let Some((found, _)) = first else { continue };
            let place = found.place / SEGMENT * SEGMENT;
            if let std::collections::btree_map::Entry::Vacant(free) = log.segments.entry(place) {
                free.insert(offset);
                log.headless.push(Gap { place, offset, inside: true });
            }
        }
        Ok(log)
    }

    /// Reads a segment. One stretch of memory does for all of them.
    fn segment(&self, offset: u64, bytes: &mut Vec<u8>) -> io::Result<()> {
        bytes.resize(SEGMENT_BYTES, 0);
        let read = read_at(&self.file, bytes, offset)?;
        bytes.truncate(read);
        Ok(())
    }

    /// Hands out every readable message from `start` on in the order of writing, and returns the
    /// gaps between them.
    pub(super) fn walk(&self, start: u64, each: impl FnMut(Message<'_>)) -> io::Result<Vec<Gap>> {
        self.read(start, None, each)
    }

    /// Like [`Self::walk`] from the first message on, with those of which only one bit is wrong;
    /// they are among the gaps as well.
    pub(super) fn walk_corrected(&self, each: impl FnMut(Message<'_>)) -> io::Result<Vec<Gap>> {
        self.read(0, Some(&mut Vec::new()), each)
    }

    fn read(
        &self,
        start: u64,
        mut corrected: Option<&mut Vec<u8>>,
        mut each: impl FnMut(Message<'_>),
    ) -> io::Result<Vec<Gap>> {
        let start = start / SEGMENT * SEGMENT;
        let mut gaps: Vec<Gap> =
            self.headless.iter().filter(|gap| gap.place >= start).copied().collect();
        // A gap is inside if anything follows it; so the last one waits for what comes.
        let mut open: Option<Gap> = None;
        let mut expected = None;
        let mut bytes = Vec::new();
        for (&base, &offset) in self.segments.range(start..) {
            if let Some(expected) = expected
                && base != expected
                && expected >= self.stable
            {
                gaps.extend(open.take().map(|gap| Gap { inside: true, ..gap }));
                gaps.push(Gap { place: expected, offset, inside: true });
            }
            expected = Some(base + SEGMENT);
            self.segment(offset, &mut bytes)?;
            let number = base / SEGMENT;
            let mut at = SEGMENT_HEAD;
            while at + RED_ZONE <= SEGMENT_BYTES {
                let Some((found, length)) = message(&bytes, at, Some(number)) else {
                    let gap =
                        Gap { place: base + at as u64, offset: offset + at as u64, inside: false };
                    let next = (at + 1..end_of_data(&bytes))
                        .find(|at| message(&bytes, *at, Some(number)).is_some());
                    gaps.extend(open.take().map(|gap| Gap { inside: true, ..gap }));
                    if let Some(corrected) = corrected.as_deref_mut()
                        && correct(&bytes, at, number, corrected)
                        && let Some((found, length)) = message(corrected, at, Some(number))
                    {
                        gaps.push(Gap { inside: true, ..gap });
                        at += length;
                        if found.kind == Kind::Cap {
                            break;
                        }
                        each(found);
                        continue;
                    }
                    let Some(next) = next else {
                        open = Some(gap);
                        break;
                    };
                    gaps.push(Gap { inside: true, ..gap });
                    at = next;
                    continue;
                };
                gaps.extend(open.take().map(|gap| Gap { inside: true, ..gap }));
                at += length;
                if found.kind == Kind::Cap {
                    break;
                }
                each(found);
            }
        }
        gaps.extend(open);
        gaps.sort_by_key(|gap| gap.place);
        Ok(gaps)
    }
}

/// Where the zeros begin that end a segment, to a block.
fn end_of_data(segment: &[u8]) -> usize {
    const BLOCK: usize = 4096;
    let blocks = segment.rchunks(BLOCK).take_while(|block| **block == [0; BLOCK][..block.len()]);
    segment.len() - blocks.map(<[u8]>::len).sum::<usize>()
}

fn read_at(file: &File, buffer: &mut [u8], offset: u64) -> io::Result<usize> {
    let mut done = 0;
    while done < buffer.len() {
        match file.read_at(&mut buffer[done..], offset + done as u64) {
            Ok(0) => break,
            Ok(read) => done += read,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(done)
}

/// Place and stable place of a segment.
fn segment_head(head: &[u8; SEGMENT_HEAD]) -> Option<(u64, u64)> {
    let (sum, rest) = head.split_first_chunk::<4>()?;
    let number = |bytes: &[u8]| Some(u64::from_le_bytes(bytes.try_into().ok()?) ^ PLACE_MASK);
    let (place, stable) = (number(&rest[..8])?, number(&rest[8..])?);
    let holds = !crc32fast::hash(rest) == u32::from_le_bytes(*sum);
    // A new log is stable "before its first byte".
    let stable = if stable > PLACE_MASK { 0 } else { stable };
    (holds && place % SEGMENT == 0 && place <= PLACE_MASK).then_some((place, stable))
}

/// What stands before the body of a message.
#[derive(Clone, Copy, Debug)]
struct Head {
    kind: Kind,
    /// Bytes of the body.
    body: usize,
    /// The segment's number.
    segment: u64,
    page: u64,
    /// Bytes of the head.
    length: usize,
}

impl Head {
    fn read(bytes: &[u8]) -> Option<Self> {
        let kind = match bytes.get(SUM)? {
            1 | 5..=7 => Kind::Idle,
            2 => Kind::Cap,
            3 => Kind::Batch,
            4 => Kind::Free,
            8 => Kind::Page,
            10 => Kind::Link,
            // 9 and 11 stand in files of their own; records are too short for that.
            _ => return None,
        };
        let mut rest = Bytes(&bytes[SUM + 1..]);
        let body = usize::try_from(rest.number()?).ok()?;
        let (segment, page) = (rest.number()?, rest.number()?);
        Some(Self { kind, body, segment, page, length: bytes.len() - rest.0.len() })
    }

    /// The checksum that a message with this body ought to tell.
    fn checksum(&self, bytes: &[u8], body: &[u8]) -> u32 {
        let mut sum = crc32fast::Hasher::new();
        sum.update(body);
        sum.update(&bytes[SUM..self.length]);
        !sum.finalize()
    }
}

/// The message at `at` in a segment, and its length; of any segment if `number` is `None`.
fn message(segment: &[u8], at: usize, number: Option<u64>) -> Option<(Message<'_>, usize)> {
    let bytes = segment.get(at..)?;
    let head = Head::read(bytes)?;
    if number.is_some_and(|number| number != head.segment) || head.segment > PLACE_MASK / SEGMENT {
        return None;
    }
    let length = head.length.checked_add(head.body)?;
    let body = bytes.get(head.length..length)?;
    if head.checksum(bytes, body).to_le_bytes() != bytes[..SUM] {
        return None;
    }
    let place = head.segment * SEGMENT + at as u64;
    let end = place + length as u64 - 1;
    Some((Message { kind: head.kind, page: head.page, place, end, body }, length))
}

/// Puts into `to` the segment with the message at `at` as it was before one of its bits was
/// flipped; `false` if there is none that one flipped bit explains.
///
/// A checksum of 32 bits tells which bit it was, in messages far longer than a segment (Koopman and
/// Chakravarty 2004, "Cyclic redundancy code polynomial selection"). If more is wrong, a bit may be
/// found by chance; then a record's own checksum does not hold.
fn correct(segment: &[u8], at: usize, number: u64, to: &mut Vec<u8>) -> bool {
    to.clear();
    to.extend_from_slice(segment);
    let holds = |bytes: &mut [u8], bit: usize| {
        bytes[at + bit / 8] ^= 1 << (bit % 8);
        let holds = message(bytes, at, Some(number)).is_some();
        if !holds {
            bytes[at + bit / 8] ^= 1 << (bit % 8);
        }
        holds
    };
    // The head says how long all is, so each of its bits is tried.
    let head = LONGEST_HEAD.min(segment.len() - at);
    if (0..head * 8).any(|bit| holds(to, bit)) {
        return true;
    }
    let Some(head) = Head::read(&segment[at..]) else { return false };
    let end = head.length.checked_add(head.body);
    let body = end.and_then(|end| segment[at..].get(head.length..end));
    let Some(body) = body else { return false };
    let told = segment[at..].first_chunk().map_or(0, |sum| u32::from_le_bytes(*sum));
    let differs = told ^ head.checksum(&segment[at..], body);
    // What a flipped bit changes in the checksum, from the last bit of the last byte on: that byte
    // is one of the head, which was tried.
    let behind = (head.length - SUM) * 8;
    let mut change = CRC_32;
    for back in 0..behind + body.len() * 8 {
        if change == differs && back >= behind {
            let bit = (head.length + body.len()) * 8 - 1 - (back - behind);
            return holds(to, bit);
        }
        change = change >> 1 ^ if change & 1 == 1 { CRC_32 } else { 0 };
    }
    false
}

/// Takes apart what sled wrote.
#[derive(Debug)]
struct Bytes<'a>(&'a [u8]);

impl<'a> Bytes<'a> {
    fn take(&mut self, length: usize) -> Option<&'a [u8]> {
        let (taken, rest) = self.0.split_at_checked(length)?;
        self.0 = rest;
        Some(taken)
    }

    fn byte(&mut self) -> Option<u8> {
        self.take(1).map(|byte| byte[0])
    }

    /// sled's varint: up to 240 in one byte, up to 67,823 in three, then the length leads.
    fn number(&mut self) -> Option<u64> {
        let first = u64::from(self.byte()?);
        Some(match first {
            0..=240 => first,
            241..=248 => 240 + 256 * (first - 241) + u64::from(self.byte()?),
            249 => 2288 + 256 * u64::from(self.byte()?) + u64::from(self.byte()?),
            _ => {
                let bytes = self.take(usize::try_from(first - 247).ok()?)?;
                bytes.iter().rev().fold(0, |number, byte| number << 8 | u64::from(*byte))
            }
        })
    }

    fn string(&mut self) -> Option<&'a [u8]> {
        let length = usize::try_from(self.number()?).ok()?;
        self.take(length)
    }
}

/// What a page message says.
#[derive(Debug)]
pub(super) enum Page<'a> {
    /// A leaf: keys are kept without their common prefix.
    Leaf {
        /// The prefix.
        prefix: &'a [u8],
        /// The rest of each key, and its record.
        records: Vec<(&'a [u8], &'a [u8])>,
    },
    /// A page that leads to others.
    Index,
}

/// Takes a page message apart; `None` for one of another shape.
pub(super) fn page(body: &[u8]) -> Option<Page<'_>> {
    let mut bytes = Bytes(body);
    let (_next, _merging_child, _merging) = (bytes.number()?, bytes.number()?, bytes.byte()?);
    let prefix = usize::from(bytes.byte()?);
    let (low, _high) = (bytes.string()?, bytes.string()?);
    let prefix = low.get(..prefix)?;
    if bytes.byte()? == 1 {
        return Some(Page::Index);
    }
    let count = usize::try_from(bytes.number()?).ok().filter(|count| *count <= body.len())?;
    let mut strings = || -> Option<Vec<&[u8]>> { (0..count).map(|_| bytes.string()).collect() };
    let (keys, values) = (strings()?, strings()?);
    Some(Page::Leaf { prefix, records: keys.into_iter().zip(values).collect() })
}

/// What a link message says: key without its page's prefix, and the record unless it is removed.
/// `None` if it is about the page as a whole.
pub(super) fn link(body: &[u8]) -> Option<(&[u8], Option<&[u8]>)> {
    let mut bytes = Bytes(body);
    match bytes.byte()? {
        0 => Some((bytes.string()?, Some(bytes.string()?))),
        1 => Some((bytes.string()?, None)),
        _ => None,
    }
}

/// Place up to which sled's last snapshot file holds the pages: sled reads the log from here on
/// when it opens. 0 without a snapshot, or with one that sled will refuse anyway.
pub(super) fn snapshot_place(folder: &Path) -> io::Result<u64> {
    Ok(last_snapshot(folder)?.map_or(0, |(place, _)| place))
}

/// The newest snapshot: its place in the log, and its file.
fn last_snapshot(folder: &Path) -> io::Result<Option<(u64, PathBuf)>> {
    let mut last = None;
    for entry in std::fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name();
        let hex = name.to_str().and_then(|name| name.strip_prefix("snap."));
        if let Some(place) = hex.and_then(|hex| u64::from_str_radix(hex, 16).ok()) {
            last = last.max(Some((place, entry.path())));
        }
    }
    Ok(last)
}

/// The small file beside the log that does not match its checksum, which is its last four bytes:
/// over all before them in `conf`, and not over the length (8) before them in a snapshot.
pub(super) fn damaged_beside(folder: &Path) -> io::Result<Option<PathBuf>> {
    let snapshot = last_snapshot(folder)?.map(|(_, path)| (path, 8));
    for (path, length) in [(folder.join("conf"), 0)].into_iter().chain(snapshot) {
        let bytes = match std::fs::read(&path) {
            Ok(bytes) => bytes,
            Err(error) if error.kind() == io::ErrorKind::NotFound => continue,
            Err(error) => return Err(error),
        };
        let parts = bytes.split_last_chunk::<4>();
        let body = parts.and_then(|(rest, sum)| Some((rest.len().checked_sub(length)?, rest, sum)));
        let holds = body.is_some_and(|(end, rest, sum)| {
            crc32fast::hash(&rest[..end]) == u32::from_le_bytes(*sum)
        });
        if !holds {
            return Ok(Some(path));
        }
    }
    Ok(None)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: a checksum of 32 bits tells one flipped bit from every other one in a message of up
    // to 2^32 bits (Koopman and Chakravarty 2004, "Cyclic redundancy code polynomial selection").
    #[test]
    fn a_message_with_one_flipped_bit_is_as_it_was_wherever_that_is() {
        const AT: usize = 40;
        // A page of 300 bytes in segment 7: kind 8, 60 over 240, segment, page 300.
        let mut bytes = vec![0, 0, 0, 0, 8, 241, 60, 7, 241, 60];
        bytes.extend((0..300_u32).map(|n| (n * n / 7).to_le_bytes()[0]));
        let head = Head::read(&bytes).unwrap();
        assert_eq!((head.length, head.body, head.page), (10, 300, 300));
        let sum = head.checksum(&bytes, &bytes[head.length..]);
        bytes[..SUM].copy_from_slice(&sum.to_le_bytes());
        let segment = [&[9; AT][..], &bytes, &[0; 100]].concat();
        assert!(message(&segment, AT, Some(7)).is_some());
        let mut corrected = Vec::new();
        for bit in 0..bytes.len() * 8 {
            let mut bad = segment.clone();
            bad[AT + bit / 8] ^= 1 << (bit % 8);
            assert!(message(&bad, AT, Some(7)).is_none(), "bit {bit}");
            assert!(correct(&bad, AT, 7, &mut corrected), "bit {bit}");
            assert!(corrected == segment, "bit {bit}");
            bad[AT + 100] ^= 7;
            assert!(!correct(&bad, AT, 7, &mut corrected), "bit {bit} and others");
        }
    }
}
