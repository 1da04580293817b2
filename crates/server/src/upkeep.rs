//! Work on a data folder: backup, and what may be done only while no service holds it.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write as _};
use std::path::{Path, PathBuf};

use deepbend_contract::pb;
use deepbend_contract::pb::sync_service_client::SyncServiceClient;
use deepbend_ledger::fold::Founder;
use deepbend_ledger::id::Id;
use deepbend_store::backup::{BackupError, Summary, backup, verify};
use deepbend_store::inventory::{InventoryError, mend};
use deepbend_store::{Repair, SledOptions, SledStore, StoreError};
use tonic::transport::Endpoint;

use crate::config::Config;
use crate::inventory::{noted_device, noted_founder};
use crate::listen::socket_path;
use crate::sync::identity::{damaged_key, keep_founder, keep_name};

/// What is to be done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Upkeep {
    /// Writes the store to a file. A service that holds the folder is asked for it and goes on.
    Backup {
        /// The file; it must not be there.
        to: PathBuf,
    },
    /// Checks a backup.
    Verify {
        /// The file.
        from: PathBuf,
    },
    /// Builds a store from a backup. What its device records from then on is a new incarnation.
    Restore {
        /// The file.
        from: PathBuf,
    },
    /// Puts a damaged store together again.
    Repair,
    /// Gives back space.
    Compact,
}

/// Why it was not done. The data folder is as it was.
#[derive(Debug, thiserror::Error)]
pub enum UpkeepError {
    /// No folder is named.
    #[error("name the data folder with --data, DEEPBEND_DATA or in the file of settings")]
    NoFolder,
    /// There is no store.
    #[error("{} holds no store: name the folder that --data of the service names", .0.display())]
    Empty(PathBuf),
    /// Somebody holds the folder.
    #[error("the data folder {folder} is in use by {holder}; end it first")]
    Held {
        /// The folder.
        folder: String,
        /// Who holds it.
        holder: String,
    },
    /// The backup is damaged.
    #[error(transparent)]
    Damaged(BackupError),
    /// A file is there already.
    #[error("{} is there already; name another file, or remove it first", .0.display())]
    There(PathBuf),
    /// A file cannot be written or read.
    #[error("{}: {source}", .path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// The store.
    #[error(transparent)]
    Store(StoreError),
    /// Events that cannot be put in order again.
    #[error(transparent)]
    Events(#[from] InventoryError),
    /// The service that holds the folder.
    #[error("the service that holds the folder gives no backup: {0}")]
    Service(String),
}

impl From<StoreError> for UpkeepError {
    fn from(error: StoreError) -> Self {
        match error {
            StoreError::Locked { folder, holder } => Self::Held { folder, holder },
            other @ (StoreError::Conflict { .. }
            | StoreError::Malformed { .. }
            | StoreError::Full { .. }
            | StoreError::Trimmed { .. }
            | StoreError::Unavailable(_)
            | StoreError::Unknown(_)
            | StoreError::Corrupt(_)) => Self::Store(other),
        }
    }
}

impl UpkeepError {
    fn file(path: &Path, source: io::Error) -> Self {
        Self::File { path: path.to_owned(), source }
    }

    fn backup(path: &Path, error: BackupError) -> Self {
        match error {
            BackupError::Stream(source) => Self::file(path, source),
            BackupError::Store(error) => error.into(),
            damaged @ BackupError::Damaged { .. } => Self::Damaged(damaged),
        }
    }
}

impl Upkeep {
    /// Does it; answers in one or more sentences what was done.
    ///
    /// # Errors
    /// [`UpkeepError`]
    pub fn run(&self, config: &Config) -> Result<String, UpkeepError> {
        let folder = config.data.as_deref().ok_or(UpkeepError::NoFolder);
        let options = SledOptions::default();
        match self {
            Self::Backup { to } => {
                let summary = back_up(folder?, to, config.max_response_bytes)?;
                Ok(format!("{} holds {}", to.display(), told(&summary)))
            }
            Self::Verify { from } => {
                let summary = check(from)?;
                Ok(format!("{} is whole and holds {}", from.display(), told(&summary)))
            }
            Self::Restore { from } => {
                let folder = folder?;
                let mut file = File::open(from).map_err(|error| UpkeepError::file(from, error))?;
                let restored = SledStore::restore(folder, options, &mut file);
                restored.map_err(|error| UpkeepError::backup(from, error))?;
                let store = SledStore::open(folder, options)?;
                let (noted, noted_founder) = (noted_device(&store)?, noted_founder(&store)?);
                let device = config.device.as_ref().or(noted.as_ref());
                let founder = config.founder.as_ref().or(noted_founder.as_ref());
                let failed = |error| UpkeepError::file(folder, error);
                device.map_or(Ok(()), |device| keep_name(folder, device)).map_err(failed)?;
                founder.map_or(Ok(()), |founder| keep_founder(folder, founder)).map_err(failed)?;
                Ok(restored_as(folder, device, founder))
            }
            Self::Repair => {
                let folder = stored(folder?)?;
                let lacks_note = SledStore::lacks_note(folder)?;
                let repair = SledStore::repair(folder, options)?;
                let mended = mend(&SledStore::open(folder, options)?)?;
                let behind = match mended.strays.as_slice() {
                    [] => String::new(),
                    [one] => format!(
                        ". Event {one} stands behind a lost one: it is kept, and counts again once \
                         an exchange has brought that one back and the service was started anew"
                    ),
                    all @ [first, ..] => format!(
                        ". {} events from {first} on stand behind lost ones: they are kept, and \
                         count again once an exchange has brought those back and the service was \
                         started anew",
                        all.len()
                    ),
                };
                let Some(repair) = repair else {
                    let sound = "nothing was wrong with the store; it is as it was";
                    let bad_key = damaged_key(folder);
                    let bad_key = bad_key.map_err(|error| UpkeepError::file(folder, error))?;
                    let but = bad_key.map(|what| format!(". But it can only be read: {what}"));
                    return Ok(format!("{sound}{behind}{}", but.unwrap_or_default()));
                };
                Ok(format!("{}{behind}", put_together(&repair, folder, lacks_note)))
            }
            Self::Compact => {
                let done = SledStore::compact(stored(folder?)?, options)?;
                let [before, after] = [done.before_bytes, done.after_bytes];
                Ok(if done.left_as_it_was() {
                    format!(
                        "the store is as it was, {before} bytes: there is no space to give back"
                    )
                } else {
                    format!("{before} bytes before, {after} after")
                })
            }
        }
    }
}

/// What a restore did, and what is to be done before the service starts.
fn restored_as(folder: &Path, device: Option<&Id>, founder: Option<&Founder>) -> String {
    let folder = folder.display();
    let whose = match device {
        Some(device) => format!("as the store of {device}"),
        None => "; the backup does not say whose it is: start the service with --device and the \
                 name as before"
            .to_owned(),
    };
    let key = match founder {
        None => "Before you start the service put the old device.key into that folder. The backup \
                 names no founder: if the fleet has one, start the service with --founder as before"
            .to_owned(),
        Some(founder) if Some(&founder.device) == device => format!(
            "Before you start the service put the old device.key into that folder. The founder of \
             its fleet is {}, this device: nobody can enrol another key for it",
            founder.device
        ),
        Some(founder) => format!(
            "Before you start the service put the old device.key into that folder; else it makes \
             a new one, which a keeper must enrol. The founder of its fleet is {}",
            founder.device
        ),
    };
    format!(
        "restored to {folder} {whose}. {key}. The service goes on under new numbers, and an \
         exchange brings back what was recorded after the backup and had reached others"
    )
}

/// What a repair did.
fn put_together(repair: &Repair, folder: &Path, lacks_note: bool) -> String {
    let Repair { kept, lost, unsure, empty } = repair;
    let kept = format!("the damaged files are kept in {}", kept.display());
    let lost = match (lost.len(), unsure) {
        _ if *empty => {
            return format!(
                "nothing could be read: the store begins anew and is empty; what is left of the \
                 old files stays in {}. Leave device.key there: then `deepbend sync ADDRESS` \
                 brings back what other services have. Or restore a backup into a new folder",
                folder.display()
            );
        }
        (0, false) if lacks_note => "but its file `acknowledged` was missing or empty: if the end \
                                     was cut off too, nothing shows it"
            .to_owned(),
        (0, false) => return format!("put together again, nothing is lost; {kept}"),
        (0, true) => "older events may be lost".to_owned(),
        (n, _) => format!("{n} commits are lost in part or whole"),
    };
    format!(
        "put together again, {lost}; {kept}. Exchange with another service: it brings back what \
         it has"
    )
}

/// A folder, if there is a store in it.
fn stored(folder: &Path) -> Result<&Path, UpkeepError> {
    if SledStore::is_in(folder)? { Ok(folder) } else { Err(UpkeepError::Empty(folder.to_owned())) }
}

fn told(summary: &Summary) -> String {
    format!("{} commits in {} bytes", summary.head, summary.bytes)
}

fn check(from: &Path) -> Result<Summary, UpkeepError> {
    let mut file = File::open(from).map_err(|error| UpkeepError::file(from, error))?;
    verify(&mut file).map_err(|error| UpkeepError::backup(from, error))
}

/// The name of a file until it is whole.
#[must_use]
pub fn unfinished(to: &Path) -> PathBuf {
    let mut name = to.as_os_str().to_owned();
    name.push(".unfinished");
    name.into()
}

/// Gives a file that is whole and synced its own name, on the disk as well.
///
/// # Errors
/// A folder that cannot be written.
pub fn put_in_place(unfinished: &Path, to: &Path) -> io::Result<()> {
    fs::rename(unfinished, to)?;
    let parent = to.parent().filter(|parent| !parent.as_os_str().is_empty());
    File::open(parent.unwrap_or(Path::new(".")))?.sync_all()
}

/// Writes a backup under another name first: under its own it is whole, checked and on the disk.
fn back_up(folder: &Path, to: &Path, most: usize) -> Result<Summary, UpkeepError> {
    let failed = |error| UpkeepError::file(to, error);
    if to.exists() {
        return Err(UpkeepError::There(to.to_owned()));
    }
    let unfinished = unfinished(to);
    let mut out = BufWriter::new(File::create(&unfinished).map_err(failed)?);
    let written = write(folder, &mut out, most, to).and_then(|()| {
        let file = out.into_inner().map_err(|error| failed(error.into_error()))?;
        file.sync_all().map_err(failed)?;
        let summary = check(&unfinished)?;
        put_in_place(&unfinished, to).map_err(failed)?;
        Ok(summary)
    });
    if written.is_err() {
        // Half a backup is of no use to anybody; where it cannot be removed its name says so.
        let _ = fs::remove_file(&unfinished);
    }
    written
}

/// From the service that holds the folder, or else from the folder.
fn write(
    folder: &Path,
    out: &mut BufWriter<File>,
    most: usize,
    to: &Path,
) -> Result<(), UpkeepError> {
    match SledStore::open(stored(folder)?, SledOptions::default()) {
        Ok(store) => {
            backup(&store, out).map_err(|error| UpkeepError::backup(to, error))?;
            Ok(())
        }
        Err(StoreError::Locked { .. }) if socket_path(folder).exists() => {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
            let runtime = runtime.map_err(|error| UpkeepError::Service(error.to_string()))?;
            runtime.block_on(fetch(&socket_path(folder), out, most, to))
        }
        Err(error) => Err(error.into()),
    }
}

async fn fetch(
    socket: &Path,
    out: &mut BufWriter<File>,
    most: usize,
    to: &Path,
) -> Result<(), UpkeepError> {
    let unreachable = |_| UpkeepError::Service("it does not answer".to_owned());
    let refused = |status: tonic::Status| UpkeepError::Service(status.message().to_owned());
    let endpoint = Endpoint::from_shared(format!("unix:{}", socket.display()));
    let channel = endpoint.map_err(unreachable)?.connect().await.map_err(unreachable)?;
    let mut client = SyncServiceClient::new(channel).max_decoding_message_size(most);
    let mut parts = client.back_up(pb::BackUpRequest {}).await.map_err(refused)?.into_inner();
    while let Some(part) = parts.message().await.map_err(refused)? {
        out.write_all(&part.part).map_err(|error| UpkeepError::file(to, error))?;
    }
    Ok(())
}
