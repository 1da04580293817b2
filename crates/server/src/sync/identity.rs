//! Who this service is: files in the data folder, beside the store.
//!
//! | file | holds |
//! |---|---|
//! | `device.key` | the secret key, 64 hexadecimal digits; only its owner may read it |
//! | `device.name` | the name under which events are recorded |
//! | `founder` | the fleet's first device and its public key |
//!
//! Name and founder are written when they are configured, so that whoever opens the folder next
//! records under the same name.

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

impl Identity {
    /// Reads who this service is, makes a key where there is none, and notes what is configured.
    ///
    /// # Errors
    /// A file that cannot be read or written, or says something else than it should.
    pub(crate) fn open(
        folder: &Path,
        device: Option<Id>,
        founder: Option<Founder>,
        read_only: bool,
    ) -> io::Result<Self> {
        let bad = |file: &str, what: String| {
            io::Error::new(io::ErrorKind::InvalidData, format!("{file}: {what}"))
        };
        let device = match device {
            Some(device) => {
                note(&folder.join(NAME), device.as_str(), read_only)?;
                device
            }
            None => {
                let name = read(&folder.join(NAME))?.unwrap_or_else(|| DEVICE.to_owned());
                Id::new(name.trim()).map_err(|e| bad(NAME, e.to_string()))?
            }
        };
        let founder = match founder {
            Some(founder) => {
                let text = format!("{}:{}", founder.device, founder.key);
                note(&folder.join(FOUNDER), &text, read_only)?;
                Some(founder)
            }
            None => {
                let text = read(&folder.join(FOUNDER))?;
                text.map(|t| read_founder(&t)).transpose().map_err(|what| bad(FOUNDER, what))?
            }
        };
        let path = folder.join(KEY);
        let key = match read(&path)? {
            Some(text) => {
                let secret = Hash::try_from(text.trim().to_owned());
                let secret = secret.map_err(|_| bad(KEY, "is no key".to_owned()))?;
                Some(DeviceKey::from_secret(secret.as_bytes()))
            }
            None if read_only => None,
            None => Some(make_key(&path)?),
        };
        Ok(Self { device, founder, key })
    }
}

fn read(path: &Path) -> io::Result<Option<String>> {
    match fs::read_to_string(path) {
        Ok(text) => Ok(Some(text)),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(error),
    }
}

/// Writes a file whole, unless it says so already.
fn note(path: &Path, text: &str, read_only: bool) -> io::Result<()> {
    let line = format!("{text}\n");
    if read_only || read(path)?.is_some_and(|there| there == line) {
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
    writeln!(file, "{}", Hash::from_bytes(secret))?;
    file.sync_all()?;
    fs::rename(&new, path)?;
    Ok(DeviceKey::from_secret(&secret))
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt as _;

    use super::*;

    // Common practice, no source: a secret is readable by its owner alone, and stays the same.
    #[test]
    fn the_key_is_drawn_once_and_is_nobody_elses_business() {
        let folder = tempfile::tempdir().unwrap();
        let first = Identity::open(folder.path(), Id::new("B1").ok(), None, false).unwrap();
        let key = first.key.unwrap().public();
        let mode = fs::metadata(folder.path().join(KEY)).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
        let text = format!("B1:{key}");
        let founder = read_founder(&text).unwrap();
        Identity::open(folder.path(), None, Some(founder.clone()), false).unwrap();
        let again = Identity::open(folder.path(), None, None, false).unwrap();
        assert_eq!(again.device.as_str(), "B1");
        assert_eq!(again.founder, Some(founder));
        assert_eq!(again.key.unwrap().public(), key);
        fs::write(folder.path().join(KEY), "nonsense").unwrap();
        assert!(Identity::open(folder.path(), None, None, false).is_err());
        assert!(read_founder("B1").is_err());
    }
}
