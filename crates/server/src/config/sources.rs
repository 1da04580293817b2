//! Where settings come from: a file, the environment, the command line.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

use clap::{Arg, ArgMatches, Command};
use toml::{Table, Value};

use super::keys::{KEYS, Key};
use super::{Config, ConfigFault};
use crate::exit;
use crate::text::WIDTH;
use crate::upkeep::Upkeep;

/// What the command line asked for.
#[derive(Debug)]
pub enum Loaded {
    /// Run with these settings.
    Run(Box<Config>),
    /// Do this work on the data folder, and end.
    Upkeep(Upkeep, Box<Config>),
    /// Print this text (help or version) and end.
    Print(String),
}

/// Reads all settings. `variable` gives the value of an environment variable.
///
/// # Errors
/// [`ConfigFault`]: the first setting that cannot be used.
pub fn load(
    args: impl IntoIterator<Item = OsString>,
    variable: impl Fn(&str) -> Option<String>,
) -> Result<Loaded, ConfigFault> {
    let flags = match command().try_get_matches_from(args) {
        Ok(flags) => flags,
        Err(error) if !error.use_stderr() => return Ok(Loaded::Print(error.to_string())),
        Err(error) => {
            let text = error.to_string();
            let first = text.lines().next().unwrap_or_default();
            let wrong = first.trim_start_matches("error: ").to_owned();
            return Err(ConfigFault {
                key: "the command line".to_owned(),
                origin: "flags".to_owned(),
                wrong: format!("is not understood: {wrong}"),
                right: "what deepbendd --help lists".to_owned(),
            });
        }
    };
    let mut config = Config::default();
    // What is set to nothing is not set.
    let variable = |name: &str| variable(name).filter(|text| !text.is_empty());
    let file = flag(&flags, "config").or_else(|| variable("DEEPBEND_CONFIG"));
    if let Some(file) = file {
        read_file(&mut config, &file)?;
    }
    for key in KEYS {
        let name = format!("DEEPBEND_{}", key.name.to_uppercase());
        if let Some(text) = variable(&name) {
            set(&mut config, key, &text, &name)?;
        }
    }
    for key in KEYS {
        if let Some(text) = flag(&flags, key.name) {
            set(&mut config, key, &text, &format!("--{}", key.name.replace('_', "-")))?;
        }
    }
    check(&config)?;
    let config = Box::new(config);
    Ok(match upkeep(&flags) {
        Some(upkeep) => Loaded::Upkeep(upkeep, config),
        None => Loaded::Run(config),
    })
}

fn upkeep(flags: &ArgMatches) -> Option<Upkeep> {
    let (name, flags) = flags.subcommand()?;
    let file = || PathBuf::from(flag(flags, "file").unwrap_or_default());
    match name {
        "backup" => Some(Upkeep::Backup { to: file() }),
        "verify" => Some(Upkeep::Verify { from: file() }),
        "restore" => Some(Upkeep::Restore { from: file() }),
        "repair" => Some(Upkeep::Repair),
        "compact" => Some(Upkeep::Compact),
        _ => None,
    }
}

fn upkeep_commands() -> [Command; 5] {
    let file = |help: &'static str| Arg::new("file").value_name("FILE").required(true).help(help);
    [
        Command::new("backup")
            .about("Writes the store to a file, while the service runs or while it does not")
            .arg(file("The file; it must not be there yet")),
        Command::new("verify")
            .about("Reads a backup to its end and checks it")
            .arg(file("The backup")),
        Command::new("restore")
            .about("Builds a store from a backup in a data folder that holds none yet")
            .arg(file("The backup")),
        Command::new("repair").about(
            "Puts a damaged store together again from what can be read; the damaged files are kept",
        ),
        Command::new("compact").about("Gives back the space of what no longer counts"),
    ]
}

fn command() -> Command {
    let config = Arg::new("config").long("config").value_name("FILE");
    let config = config.help("File with settings, as `key = value` lines (TOML)").global(true);
    let args = KEYS.iter().map(|key| {
        let flag = key.name.replace('_', "-");
        Arg::new(key.name).long(flag).value_name("VALUE").help(key.help).global(true)
    });
    Command::new("deepbendd")
        .version(env!("CARGO_PKG_VERSION"))
        .max_term_width(WIDTH)
        .about("Serves deepbend.v1: matching, inventory and trips")
        .after_help(format!(
            "Each setting may also stand in the file, or in the environment as DEEPBEND_ and its \
             name in capitals. Flags win over the environment, the environment over the file.\n\n{}",
            exit::listed()
        ))
        .arg(config)
        .args(args)
        .subcommands(upkeep_commands())
}

fn flag(flags: &ArgMatches, name: &str) -> Option<String> {
    flags.get_one::<String>(name).cloned()
}

fn set(config: &mut Config, key: &Key, text: &str, origin: &str) -> Result<(), ConfigFault> {
    key.set(config, text.trim()).map_err(|wrong| ConfigFault {
        key: key.name.to_owned(),
        origin: origin.to_owned(),
        wrong,
        right: key.form.to_owned(),
    })
}

fn read_file(config: &mut Config, file: &str) -> Result<(), ConfigFault> {
    let fault = |key: &str, wrong: String, right: &str| ConfigFault {
        key: key.to_owned(),
        origin: file.to_owned(),
        wrong,
        right: right.to_owned(),
    };
    let text = std::fs::read_to_string(Path::new(file)).map_err(|error| {
        fault("config", format!("names a file that cannot be read: {error}"), "a TOML file")
    })?;
    let table: Table = text.parse().map_err(|error: toml::de::Error| {
        fault("config", format!("is no TOML: {}", error.message()), "`key = value` lines")
    })?;
    for (name, value) in table {
        let Some(key) = KEYS.iter().find(|key| key.name == name) else {
            let names: Vec<_> = KEYS.iter().map(|key| key.name).collect();
            return Err(fault(&name, "is no setting".to_owned(), &names.join(", ")));
        };
        let text = as_text(&value)
            .ok_or_else(|| fault(&name, format!("is a {}", value.type_str()), key.form))?;
        set(config, key, &text, file)?;
    }
    Ok(())
}

/// A value of the file as the other sources write it; a list has commas between its texts.
fn as_text(value: &Value) -> Option<String> {
    match value {
        Value::String(text) => Some(text.clone()),
        Value::Integer(number) => Some(number.to_string()),
        Value::Datetime(date) => Some(date.to_string()),
        Value::Array(list) => {
            let texts: Option<Vec<_>> = list.iter().map(Value::as_str).collect();
            texts.map(|texts| texts.join(","))
        }
        Value::Float(_) | Value::Boolean(_) | Value::Table(_) => None,
    }
}

/// What holds between settings.
fn check(config: &Config) -> Result<(), ConfigFault> {
    if config.token.is_none() && !config.listen.ip().is_loopback() {
        return Err(ConfigFault {
            key: "token_file".to_owned(),
            origin: format!("listen is {}", config.listen),
            wrong: "is missing, though other machines can reach the service".to_owned(),
            right: "a file with a token, or listen on 127.0.0.1".to_owned(),
        });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use deepbend_ledger::id::Id;

    use super::*;

    fn read(args: &[&str], variables: &[(&str, &str)]) -> Result<Config, ConfigFault> {
        let args = std::iter::once("deepbendd").chain(args.iter().copied()).map(OsString::from);
        let variable = |name: &str| {
            let found = variables.iter().find(|(key, _)| *key == name);
            found.map(|(_, value)| (*value).to_owned())
        };
        match load(args, variable)? {
            Loaded::Run(config) => Ok(*config),
            Loaded::Upkeep(upkeep, _) => panic!("{upkeep:?}"),
            Loaded::Print(text) => panic!("{text}"),
        }
    }

    // Source: design.md, "config parsed whole"; the order is common practice, no source.
    #[test]
    fn flags_win_over_the_environment_and_that_over_the_file() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("deepbendd.toml");
        std::fs::write(
            &file,
            "max_calls = 7\nworkers = 3\ndrain_seconds = 1\n\
             cors_origins = [\"https://a.example\", \"http://b.example:8080\"]\n\
             today = 2031-09-15\n",
        )
        .unwrap();
        let file = file.to_str().unwrap();
        let config = read(
            &["--config", file, "--workers", "5"],
            &[("DEEPBEND_WORKERS", "4"), ("DEEPBEND_DRAIN_SECONDS", "2"), ("DEEPBEND_SERVER", "x")],
        )
        .unwrap();
        assert_eq!((config.max_calls, config.workers), (7, 5));
        assert_eq!(config.drain.as_secs(), 2);
        assert_eq!(config.cors_origins.len(), 2);
        assert_eq!(config.today.unwrap().to_string(), "2031-09-15");
    }

    // Common practice, no source: settings may stand before or behind the command.
    #[test]
    fn settings_may_stand_behind_a_command() {
        for args in [["--data", "there", "repair"], ["repair", "--data", "there"]] {
            let args = ["deepbendd"].iter().chain(&args).map(OsString::from);
            let Loaded::Upkeep(work, config) = load(args, |_| None).unwrap() else { panic!() };
            assert_eq!(work, Upkeep::Repair);
            assert_eq!(config.data, Some(PathBuf::from("there")));
        }
    }

    // Common practice, no source: a variable that is set to nothing is not set.
    #[test]
    fn an_empty_variable_is_none() {
        let empty = [("DEEPBEND_DATA", ""), ("DEEPBEND_WORKERS", ""), ("DEEPBEND_CONFIG", "")];
        let config = read(&["--data", "there"], &empty).unwrap();
        assert_eq!(config.data, read(&["--data", "there"], &[]).unwrap().data);
    }

    // Common practice, no source: one sentence, with the key, the place and what would be right.
    #[test]
    fn a_fault_names_its_key_in_one_sentence() {
        let folder = tempfile::tempdir().unwrap();
        let write = |name: &str, text: &str| {
            let path = folder.path().join(name);
            std::fs::write(&path, text).unwrap();
            path.to_str().unwrap().to_owned()
        };
        let (odd, list, short) = (
            write("odd.toml", "liste = 1\n"),
            write("list.toml", "workers = true\n"),
            write("token", "short\n"),
        );
        for (args, key) in [
            (["--listen", "nowhere"], "listen"),
            (["--workers", "0"], "workers"),
            (["--peers", "B2:50551"], "peers"),
            (["--peers", "http://name:word@B2"], "peers"),
            (["--peers", "https://B2:50551"], "peers"),
            (["--peer-token-file", "missing-file"], "peer_token_file"),
            (["--token-file", "missing-file"], "token_file"),
            (["--token-file", short.as_str()], "token_file"),
            (["--listen", "0.0.0.0:1"], "token_file"),
            (["--cors-origins", "*"], "cors_origins"),
            (["--log", "a=b=c"], "log"),
            (["--config", odd.as_str()], "liste"),
            (["--config", list.as_str()], "workers"),
            (["--config", "missing-file"], "config"),
            (["--wrong", "x"], "the command line"),
        ] {
            let fault = read(&args, &[]).unwrap_err();
            assert_eq!(fault.key, key, "{fault}");
            assert_eq!(fault.to_string().lines().count(), 1, "{fault}");
        }
    }

    // Common practice, no source: who asks for TLS must not be answered in plain text.
    #[test]
    fn a_peer_by_tls_is_refused_with_what_to_do() {
        for peer in ["https://B2:50551", "HTTPS://B2:50551"] {
            let fault = read(&["--peers", peer], &[]).unwrap_err().to_string();
            assert!(fault.contains(super::super::keys::PLAIN_HTTP), "{fault}");
        }
    }

    // Source: the sample itself: it says the defaults, and leaves no key out.
    #[test]
    fn the_sample_says_the_defaults() {
        let file = concat!(env!("CARGO_MANIFEST_DIR"), "/../../deploy/deepbendd.toml");
        let config = read(&["--config", file], &[]).unwrap();
        let device = Id::new("service").ok();
        let defaults = Config { device, ..Config::default() };
        assert_eq!(format!("{config:?}"), format!("{defaults:?}"));
        let text = std::fs::read_to_string(file).unwrap();
        for key in KEYS {
            let said =
                |line: &str| line.trim_start_matches("# ").starts_with(&format!("{} =", key.name));
            assert!(text.lines().any(said), "{}", key.name);
        }
    }
}
