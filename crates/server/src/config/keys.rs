//! The keys, one a line: its help, its form, and where its value goes.

use std::path::PathBuf;
use std::time::Duration;

use deepbend_ledger::id::Id;
use deepbend_ledger::time::Date;
use http::{HeaderValue, Uri};
use tracing_subscriber::EnvFilter;

use super::{Config, LogFormat};
use crate::gate::token::{PeerToken, Token};
use crate::sync::identity::read_founder;

/// A key, as the file writes it. The flag has `-` for `_`, the variable is `DEEPBEND_` and the
/// key in capitals.
#[derive(Clone, Copy, Debug)]
pub struct Key {
    /// Its name.
    pub name: &'static str,
    /// What its value looks like.
    pub form: &'static str,
    /// What it does.
    pub help: &'static str,
    set: fn(&mut Config, &str) -> Result<(), String>,
}

impl Key {
    /// Takes a value.
    ///
    /// # Errors
    /// What is wrong with it; continues the key.
    pub fn set(&self, config: &mut Config, text: &str) -> Result<(), String> {
        (self.set)(config, text)
    }
}

/// All keys, in the order of the help.
pub const KEYS: &[Key] = &[
    Key {
        name: "listen",
        form: "an address and a port, for example 127.0.0.1:50551",
        help: "Address to listen on; port 0 takes a free one [default: 127.0.0.1:50551]",
        set: |c, text| text.parse().map(|address| c.listen = address).map_err(|_| is(text)),
    },
    Key {
        name: "data",
        form: "a folder",
        help: "Folder of the inventory; without one there is no inventory",
        set: |c, text| filled(text).map(|path| c.data = Some(PathBuf::from(path))),
    },
    Key {
        name: "device",
        form: "1 to 64 letters A-Z a-z, digits, \"_\" or \"-\"",
        help: "Name under which the service records events; kept in the folder [default: service]",
        set: |c, text| Id::new(text).map(|id| c.device = Some(id)).map_err(|_| is(text)),
    },
    Key {
        name: "founder",
        form: "a device, a colon and its key, as `deepbend sync` prints them",
        help: "First device of the fleet; only devices that it enrols count [default: open fleet]",
        set: |c, text| read_founder(text).map(|founder| c.founder = Some(founder)),
    },
    Key {
        name: "peers",
        form: "addresses separated by commas, for example http://B2:50551",
        help: "Services to exchange events with, again and again [default: none]",
        set: |c, text| peers(text).map(|peers| c.peers = peers),
    },
    Key {
        name: "peer_seconds",
        form: "a whole number from 1 to 3600",
        help: "Longest time from one exchange with a peer to the next [default: 60]",
        set: |c, text| seconds(text, 1).map(|n| c.peer_interval = n),
    },
    Key {
        name: "peer_token_file",
        form: "a file with a token of 16 to 512 characters without spaces in its first line",
        help: "File with the token that is shown to peers",
        set: |c, text| {
            let read = filled(text).and_then(|path| token(path, PeerToken::new));
            read.map(|token| c.peer_token = Some(token))
        },
    },
    Key {
        name: "token_file",
        form: "a file with a token of 16 to 512 characters without spaces in its first line",
        help: "File with the token that callers over the network must show",
        set: |c, text| {
            let read = filled(text).and_then(|path| token(path, Token::new));
            read.map(|token| c.token = Some(token))
        },
    },
    Key {
        name: "cors_origins",
        form: "origins separated by commas, for example https://tackle.example",
        help: "Origins of web pages that may call by gRPC-Web [default: none]",
        set: |c, text| origins(text).map(|origins| c.cors_origins = origins),
    },
    Key {
        name: "max_request_bytes",
        form: "a whole number from 65536 to 67108864",
        help: "Greatest message taken [default: 4194304]",
        set: |c, text| whole(text, 64 << 10, 64 << 20).map(|n| c.max_request_bytes = n),
    },
    Key {
        name: "max_response_bytes",
        form: "a whole number from 1048576 to 268435456",
        help: "Greatest message sent [default: 16777216]",
        set: |c, text| whole(text, 1 << 20, 256 << 20).map(|n| c.max_response_bytes = n),
    },
    Key {
        name: "max_calls",
        form: "a whole number from 1 to 65536",
        help: "Calls taken at once, and watchers of the inventory besides [default: 256]",
        set: |c, text| whole(text, 1, 65_536).map(|n| c.max_calls = n),
    },
    Key {
        name: "workers",
        form: "a whole number from 1 to 1024",
        help: "Threads that judge and plan [default: one for each processor]",
        set: |c, text| whole(text, 1, 1024).map(|n| c.workers = n),
    },
    Key {
        name: "call_seconds",
        form: "a whole number from 1 to 3600",
        help: "Greatest time for a call that is no stream [default: 60]",
        set: |c, text| seconds(text, 1).map(|n| c.call_limit = n),
    },
    Key {
        name: "drain_seconds",
        form: "a whole number from 0 to 3600",
        help: "Time that running calls have when the service ends [default: 10]",
        set: |c, text| seconds(text, 0).map(|n| c.drain = n),
    },
    Key {
        name: "log",
        form: "levels, for example info or deepbend_server=debug",
        help: "What is logged [default: info]",
        set: |c, text| {
            EnvFilter::try_new(text).map_err(|_| is(text))?;
            text.clone_into(&mut c.log);
            Ok(())
        },
    },
    Key {
        name: "log_format",
        form: "text or json",
        help: "How log lines are written [default: text]",
        set: |c, text| {
            c.log_format = match text {
                "text" => LogFormat::Text,
                "json" => LogFormat::Json,
                _ => return Err(is(text)),
            };
            Ok(())
        },
    },
    Key {
        name: "today",
        form: "a date as YYYY-MM-DD",
        help: "Day that counts as today, for demonstrations [default: the present day]",
        set: |c, text| Date::read(text).map(|day| c.today = Some(day)).map_err(|_| is(text)),
    },
];

/// Why an address with TLS is refused, and what to do.
pub const PLAIN_HTTP: &str = "this build speaks plain HTTP/2, without TLS: use http:// on a network \
                              you trust, or through a tunnel (a VPN, a TLS proxy on both sides)";

fn is(text: &str) -> String {
    let mut short: String = text.chars().take(80).collect();
    if short.len() < text.len() {
        short.push('…');
    }
    format!("is {short:?}")
}

fn filled(text: &str) -> Result<&str, String> {
    if text.is_empty() { Err("is empty".to_owned()) } else { Ok(text) }
}

fn whole(text: &str, least: usize, most: usize) -> Result<usize, String> {
    text.parse().ok().filter(|n| (least..=most).contains(n)).ok_or_else(|| is(text))
}

fn seconds(text: &str, least: usize) -> Result<Duration, String> {
    whole(text, least, 3600).map(|n| Duration::from_secs(n as u64))
}

fn origins(text: &str) -> Result<Vec<HeaderValue>, String> {
    let named = text.split(',').map(str::trim).filter(|origin| !origin.is_empty());
    named
        .map(|origin| {
            let (scheme, host) = origin.split_once("://").ok_or_else(|| is(origin))?;
            let plain = !host.is_empty() && !host.contains(['/', '*', '?', '#', '@']);
            if !plain || !matches!(scheme, "http" | "https") {
                return Err(is(origin));
            }
            HeaderValue::from_str(origin).map_err(|_| is(origin))
        })
        .collect()
}

fn peers(text: &str) -> Result<Vec<String>, String> {
    let named = text.split(',').map(str::trim).filter(|peer| !peer.is_empty());
    named
        .map(|peer| {
            let uri: Uri = peer.parse().map_err(|_| is(peer))?;
            if uri.scheme_str() == Some("https") {
                return Err(format!("{}, but {PLAIN_HTTP}", is(peer)));
            }
            let plain =
                uri.scheme_str() == Some("http") && uri.path() == "/" && uri.query().is_none();
            let named = uri.authority().is_some_and(|to| !to.as_str().contains('@'));
            if plain && named { Ok(peer.to_owned()) } else { Err(is(peer)) }
        })
        .collect()
}

fn token<T>(path: &str, new: fn(&str) -> Option<T>) -> Result<T, String> {
    let text = std::fs::read_to_string(path)
        .map_err(|error| format!("names {path:?}, which cannot be read: {error}"))?;
    let first = text.lines().next().unwrap_or_default().trim();
    new(first).ok_or_else(|| format!("names {path:?}, which holds no such token"))
}
