//! Where calls come in: a TCP address, and a socket in the data folder.

use std::io;
use std::net::SocketAddr;
use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{UnixListener, UnixStream};
use tonic::transport::server::{Connected, TcpIncoming, UdsConnectInfo};

use crate::gate::{CallPlace, Places};

/// Name of the socket in the data folder: tools on this machine find the service by it.
pub const SOCKET_NAME: &str = "deepbendd.sock";

/// The socket that a service holding `folder` listens on.
#[must_use]
pub fn socket_path(folder: &Path) -> PathBuf {
    folder.join(SOCKET_NAME)
}

/// Listens on a TCP address.
pub(crate) fn tcp(address: SocketAddr) -> io::Result<TcpIncoming> {
    let incoming = TcpIncoming::bind(address)?;
    Ok(incoming.with_nodelay(Some(true)).with_keepalive(Some(Duration::from_secs(60))))
}

/// A socket file; it goes when this is dropped.
#[derive(Debug)]
pub(crate) struct SocketFile {
    path: PathBuf,
}

impl Drop for SocketFile {
    fn drop(&mut self) {
        // One that is gone already is as it should be.
        let _ = std::fs::remove_file(&self.path);
    }
}

/// Listens on the socket of a data folder that this process holds: so one that is there already
/// was left behind. `None` where the system has no room for so long a path.
pub(crate) fn socket(folder: &Path) -> io::Result<Option<(UnixListener, SocketFile)>> {
    let path = socket_path(folder);
    match std::fs::remove_file(&path) {
        Err(error) if cannot_be_written(&error) => return Ok(none(&error)),
        Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
        Ok(()) | Err(_) => {}
    }
    let listener = match UnixListener::bind(&path) {
        Ok(listener) => listener,
        // The path is too long, or the disk can only be read.
        Err(error) if error.kind() == io::ErrorKind::InvalidInput || cannot_be_written(&error) => {
            return Ok(none(&error));
        }
        Err(error) => return Err(error),
    };
    let file = SocketFile { path };
    // For its owner alone: who may use the folder is who may write to it.
    std::fs::set_permissions(&file.path, std::fs::Permissions::from_mode(0o600))?;
    Ok(Some((listener, file)))
}

/// A connection over the socket, counted while it lasts.
pub(crate) struct Neighbour {
    stream: UnixStream,
    _place: Option<CallPlace>,
}

impl Neighbour {
    pub(crate) fn new(stream: UnixStream, among: &Places) -> Self {
        Self { stream, _place: among.take() }
    }
}

impl Connected for Neighbour {
    type ConnectInfo = UdsConnectInfo;

    fn connect_info(&self) -> UdsConnectInfo {
        self.stream.connect_info()
    }
}

impl AsyncRead for Neighbour {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(context, bytes)
    }
}

impl AsyncWrite for Neighbour {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.stream).poll_write(context, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(context)
    }
}

fn cannot_be_written(error: &io::Error) -> bool {
    matches!(error.kind(), io::ErrorKind::ReadOnlyFilesystem | io::ErrorKind::PermissionDenied)
}

fn none(error: &io::Error) -> Option<(UnixListener, SocketFile)> {
    tracing::warn!(%error, "no socket in the data folder: this machine's callers need the address");
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: unix(7): a path has at most 107 bytes on Linux.
    #[tokio::test]
    async fn a_path_that_is_too_long_leaves_out_the_socket() {
        let folder = tempfile::tempdir().unwrap();
        let deep = folder.path().join("x".repeat(120));
        std::fs::create_dir(&deep).unwrap();
        assert!(socket(&deep).unwrap().is_none());
        let (_, file) = socket(folder.path()).unwrap().unwrap();
        let mode = std::fs::metadata(&file.path).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
        drop(file);
        assert!(!socket_path(folder.path()).exists());
    }
}
