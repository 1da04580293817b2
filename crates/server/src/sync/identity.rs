//! Who this service is: files in the data folder, beside the store.
//!
//! | file | holds |
//! |---|---|
//! | `device.key` | the secret key, 64 hexadecimal digits; in the second line the public key, so that damage shows; only its owner may read it |
//! | `device.name` | the name under which events are recorded; in the second line the start of its SHA-256 |
//! | `founder` | the fleet's first device and its public key; in the second line the start of their SHA-256 |
//!
//! Who opens the folder next records under the same name and with the same key. A folder that has
//! the one has the other: what is missing was removed.

use std::fs::{self, OpenOptions};
use std::io::{self, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::Path;

use deepbend_ledger::event::Hash;
use deepbend_ledger::exchange::{DeviceKey, PublicKey};
use deepbend_ledger::fold::Founder;
use deepbend_ledger::id::Id;

const KEY: &str = "device.key";
const NAME: &str = "device.name";
const FOUNDER: &str = "founder";
/// Name under which a service records where none was ever configured.
const DEVICE: &str = "service";

/// Who this service is.
#[derive(Debug)]
pub(crate) struct Identity {
    pub(crate) device: Id,
    pub(crate) founder: Option<Founder>,
    /// `None` where the folder has none and cannot be written.
    pub(crate) key: Option<DeviceKey>,
}

/// What a store knows of the service that wrote it.
#[derive(Debug, Default)]
pub(crate) struct Noted {
    pub(crate) device: Option<Id>,
    pub(crate) founder: Option<Founder>,
}

/// Reads a founder: the device, a colon, its public key.
///
/// # Errors
/// What is wrong.
pub(crate) fn read_founder(text: &str) -> Result<Founder, String> {
    let wrong = || format!("is {text:?}");
    let (device, key) = text.trim().split_once(':').ok_or_else(wrong)?;
    let device = Id::new(device).map_err(|_| wrong())?;
    let key = PublicKey::try_from(key.to_owned()).map_err(|_| wrong())?;
    Ok(Founder { device, key })
}

/// Writes a founder as [`read_founder`] reads it.
pub(crate) fn write_founder(founder: &Founder) -> String {
    format!("{}:{}", founder.device, founder.key)
}

impl Identity {
    /// Reads who this service is, makes a key where there is none, and notes what is configured.
    /// What the store knows counts where the files do not say.
    ///
    /// # Errors
    /// A file that cannot be read or written, or says something else than it should.
    pub(crate) fn open(
        folder: &Path,
        device: Option<Id>,
        founder: Option<Founder>,
        noted: Noted,
        read_only: bool,
    ) -> io::Result<Self> {
        let path = folder.join(KEY);
        let key = match read(&path)?.map(|text| read_key(&text)) {
            Some(Err(what)) if !read_only => return Err(bad(KEY, &what)),
            key => key.and_then(Result::ok),
        };
        let device = match device {
            Some(device) => {
                let kept = kept_device(folder).filter(|kept| *kept != device && !read_only);
                if let Some(kept) = kept {
                    tracing::warn!(%kept, %device, "the folder is recorded in under another name");
                }
                device
            }
            None => device_of(folder, noted.device, key.is_some())?,
        };
        let founder = match founder {
            Some(founder) => {
                let kept = read(&folder.join(FOUNDER))?.and_then(|text| kept_founder(&text));
                let kept = kept.or(noted.founder).filter(|kept| *kept != founder);
                if let Some(kept) = kept {
                    let (kept, founder) = (write_founder(&kept), write_founder(&founder));
                    tracing::warn!(
                        kept,
                        founder,
                        "another founder from now on: only devices that it enrols count"
                    );
                }
                Some(founder)
            }
            None => founder_of(folder, noted.founder)?,
        };
        if !read_only {
            keep_name(folder, &device)?;
            founder.iter().try_for_each(|founder| keep_founder(folder, founder))?;
        }
        let key = match key {
            None if !read_only => {
                let key = make_key(&path)?;
                tracing::warn!(key = %key.public(), "made a key; a fleet with a founder must enrol it");
                Some(key)
            }
            key => key,
        };
        Ok(Self { device, founder, key })
    }
}

/// The name that a folder was recorded in under; what the store `noted` counts where its file does
/// not say. A folder that `has_key` has a name.
fn device_of(folder: &Path, noted: Option<Id>, has_key: bool) -> io::Result<Id> {
    let kept = read(&folder.join(NAME))?.map(|text| read_name(&text));
    if let Some(Ok(kept)) = kept {
        return Ok(kept);
    }
    if let Some(noted) = noted {
        tracing::warn!(device = %noted, "put the file `{NAME}` back from the store");
        return Ok(noted);
    }
    match kept {
        Some(Err(what)) => Err(bad(NAME, &what)),
        _ if has_key => {
            let what = "is missing: name the device as before with --device, or put it back";
            Err(bad(NAME, what))
        }
        _ => Id::new(DEVICE).map_err(|error| bad(NAME, &error.to_string())),
    }
}

/// The founder of a folder's fleet, if it has one; what the store `noted` counts where its file does
/// not say.
fn founder_of(folder: &Path, noted: Option<Founder>) -> io::Result<Option<Founder>> {
    let kept = read(&folder.join(FOUNDER))?.map(|text| kept_founder(&text));
    match (kept, noted) {
        (Some(Some(kept)), _) => Ok(Some(kept)),
        (None | Some(None), Some(noted)) => {
            let founder = write_founder(&noted);
            tracing::warn!(founder, "put the file `{FOUNDER}` back from the store");
            Ok(Some(noted))
        }
        (Some(None), None) => {
            Err(bad(FOUNDER, "is damaged: name the founder as before with --founder"))
        }
        (None, None) => Ok(None),
    }
}

fn kept_founder(text: &str) -> Option<Founder> {
    read_founder(checked(text)?).ok()
}

fn bad(file: &str, what: &str) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, format!("{file} {what}"))
}

/// What is wrong with the key of a folder, if something is: without it nothing can be signed, so
/// nothing is recorded.
pub(crate) fn damaged_key(folder: &Path) -> io::Result<Option<String>> {
    let key = read(&folder.join(KEY))?.map(|text| read_key(&text));
    Ok(key.and_then(Result::err).map(|what| format!("{KEY} {what}")))
}

/// Reads a secret key, and the public one as its check.
fn read_key(text: &str) -> Result<DeviceKey, String> {
    let damaged = || {
        "is damaged: put it back from a copy. Or remove it: a new one is made then, and a keeper \
         must enrol it. That of the founder can only be put back"
            .to_owned()
    };
    let mut lines = text.lines().map(str::trim);
    let secret = lines.next().unwrap_or_default().to_owned();
    let key = Hash::try_from(secret).map_err(|_| damaged())?;
    let key = DeviceKey::from_secret(key.as_bytes());
    match lines.next() {
        Some(public) if public == key.public().to_string() => Ok(key),
        Some(_) | None => Err(damaged()),
    }
}

fn read_name(text: &str) -> Result<Id, String> {
    let device = checked(text).and_then(|name| Id::new(name).ok());
    device.ok_or_else(|| "is damaged: name the device as before with --device".to_owned())
}

/// A line and under it the start of its SHA-256: enough against damage.
fn with_sum(line: &str) -> String {
    let sum: String = Hash::of(line.as_bytes()).to_string().chars().take(8).collect();
    format!("{line}\n{sum}")
}

/// The line above its sum; `None` if one of them is damaged.
fn checked(text: &str) -> Option<&str> {
    let line = text.lines().next()?.trim();
    let same = text.lines().map(str::trim).eq(with_sum(line).lines());
    same.then_some(line)
}

/// What a file says; bytes that are no text are damage, and whoever reads them finds it.
fn read(path: &Path) -> io::Result<Option<String>> {
    match fs::read(path) {
        Ok(bytes) => Ok(Some(String::from_utf8_lossy(&bytes).into_owned())),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(error) => {
            let what = format!("{} cannot be read: {error}", path.display());
            Err(io::Error::new(error.kind(), what))
        }
    }
}

/// Keeps in a data folder the name under which its service records.
pub(crate) fn keep_name(folder: &Path, device: &Id) -> io::Result<()> {
    note(&folder.join(NAME), &with_sum(device.as_str()))
}

/// Keeps in a data folder the founder of the fleet.
pub(crate) fn keep_founder(folder: &Path, founder: &Founder) -> io::Result<()> {
    note(&folder.join(FOUNDER), &with_sum(&write_founder(founder)))
}

/// The name under which a data folder was recorded in last, if it says one.
#[must_use]
pub fn kept_device(folder: &Path) -> Option<Id> {
    read_name(&read(&folder.join(NAME)).ok()??).ok()
}

/// Writes a file whole, unless it says so already.
fn note(path: &Path, text: &str) -> io::Result<()> {
    let line = format!("{text}\n");
    if read(path)?.is_some_and(|there| there == line) {
        return Ok(());
    }
    let new = path.with_extension("new");
    fs::write(&new, line)?;
    fs::rename(&new, path)
}

/// Draws a key. The file is complete before it bears its name.
fn make_key(path: &Path) -> io::Result<DeviceKey> {
    let mut secret = [0; 32];
    getrandom::fill(&mut secret).map_err(|error| io::Error::other(error.to_string()))?;
    let new = path.with_extension("key.new");
    match fs::remove_file(&new) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
        Ok(()) | Err(_) => {}
    }
    let mut file = OpenOptions::new().write(true).create_new(true).mode(0o600).open(&new)?;
    let key = DeviceKey::from_secret(&secret);
    writeln!(file, "{}\n{}", Hash::from_bytes(secret), key.public())?;
    file.sync_all()?;
    fs::rename(&new, path)?;
    Ok(key)
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt as _;

    use super::*;

    // Common practice, no source: a secret is readable by its owner alone, and stays the same.
    #[test]
    fn the_key_is_drawn_once_and_is_nobody_elses_business() {
        let folder = tempfile::tempdir().unwrap();
        let first =
            Identity::open(folder.path(), Id::new("B1").ok(), None, Noted::default(), false)
                .unwrap();
        let key = first.key.unwrap().public();
        let mode = fs::metadata(folder.path().join(KEY)).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
        let text = format!("B1:{key}");
        let founder = read_founder(&text).unwrap();
        Identity::open(folder.path(), None, Some(founder.clone()), Noted::default(), false)
            .unwrap();
        let again = Identity::open(folder.path(), None, None, Noted::default(), false).unwrap();
        assert_eq!(again.device.as_str(), "B1");
        assert_eq!(again.founder, Some(founder));
        assert_eq!(again.key.unwrap().public(), key);
        for (file, cure) in [(KEY, "put it back"), (NAME, "--device"), (FOUNDER, "--founder")] {
            let path = folder.path().join(file);
            let good = fs::read_to_string(&path).unwrap();
            // The first character that can be another letter or digit.
            let bad = if good.starts_with('B') { "C" } else { "0" };
            let bad = if good.starts_with(bad) { "1" } else { bad }.to_owned() + &good[1..];
            for bad in [bad.as_bytes(), b"nonsense", b"\xff\xfe"] {
                fs::write(&path, bad).unwrap();
                let error =
                    Identity::open(folder.path(), None, None, Noted::default(), false).unwrap_err();
                assert!(error.to_string().contains(cure), "{file}: {error}");
            }
            fs::write(&path, good).unwrap();
        }
        fs::remove_file(folder.path().join(NAME)).unwrap();
        let error = Identity::open(folder.path(), None, None, Noted::default(), false).unwrap_err();
        assert!(error.to_string().contains("--device"), "{error}");
        assert!(read_founder("B1").is_err());
    }

    // Common practice, no source: a name goes with the store, also where a restore was cut short.
    #[test]
    fn a_name_whose_file_is_lost_or_damaged_is_put_back_from_the_store() {
        let folder = tempfile::tempdir().unwrap();
        for text in [None, Some("nonsense")] {
            text.iter().for_each(|text| fs::write(folder.path().join(NAME), text).unwrap());
            let noted = Noted { device: Id::new("B1").ok(), founder: None };
            let open = Identity::open(folder.path(), None, None, noted, false).unwrap();
            assert_eq!(open.device.as_str(), "B1");
            assert_eq!(kept_device(folder.path()), Id::new("B1").ok(), "the file is there again");
            fs::remove_file(folder.path().join(NAME)).unwrap();
        }
    }

    // Common practice, no source: one lost file must not open a fleet to everybody.
    #[test]
    fn a_founder_whose_file_is_lost_or_damaged_is_put_back_from_the_store() {
        let folder = tempfile::tempdir().unwrap();
        let key = DeviceKey::from_secret(&[7; 32]).public();
        let founder = Founder { device: Id::new("B1").unwrap(), key };
        let file = folder.path().join(FOUNDER);
        for text in [None, Some("nonsense")] {
            text.iter().for_each(|text| fs::write(&file, text).unwrap());
            let noted = Noted { device: None, founder: Some(founder.clone()) };
            let open = Identity::open(folder.path(), Id::new("B1").ok(), None, noted, false);
            assert_eq!(open.unwrap().founder, Some(founder.clone()));
            let again = Identity::open(folder.path(), None, None, Noted::default(), false).unwrap();
            assert_eq!(again.founder, Some(founder.clone()), "the file is there again");
            fs::remove_file(&file).unwrap();
        }
    }
}
