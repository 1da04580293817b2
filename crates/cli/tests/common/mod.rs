//! Runs the built program and looks at stdout, stderr and exit code.

#![allow(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    dead_code,
    missing_docs,
    unreachable_pub,
    reason = "test helper"
)]

use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};

#[derive(Debug)]
pub struct Ended {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Ended {
    #[track_caller]
    pub fn code(self, code: i32) -> Self {
        assert_eq!(self.code, code, "stdout:\n{}\nstderr:\n{}", self.out, self.err);
        self
    }

    #[track_caller]
    pub fn says(self, parts: &[&str]) -> Self {
        for part in parts {
            assert!(self.out.contains(part), "no `{part}` on stdout:\n{}", self.out);
        }
        self
    }

    #[track_caller]
    pub fn warns(self, parts: &[&str]) -> Self {
        for part in parts {
            assert!(self.err.contains(part), "no `{part}` on stderr:\n{}", self.err);
        }
        self
    }

    /// Behind each metric quantity stands the same in the other system.
    #[track_caller]
    pub fn says_both_systems(self) -> Self {
        let words: Vec<&str> = self.out.split_whitespace().collect();
        let bare = |word: &str| word.trim_matches(['(', ')', ',', '.', ';', ':']).to_owned();
        let counted = |at: usize| bare(words[at]).ends_with(|c: char| c.is_ascii_digit());
        let is_metric = |at: usize| {
            let units = ["g", "kg", "mm", "cm", "m", "m/s", "N"];
            at > 0 && counted(at - 1) && units.contains(&bare(words[at]).as_str())
        };
        let is_other = |word: &&str| {
            let word = bare(word);
            word.contains('\'') || ["oz", "lb", "in", "ft", "yd", "kn"].contains(&word.as_str())
        };
        let metric: Vec<usize> = (0..words.len()).filter(|at| is_metric(*at)).collect();
        assert!(!metric.is_empty(), "no quantity on stdout:\n{}", self.out);
        for at in metric {
            let next = &words[at + 1..words.len().min(at + 5)];
            let around = words[at.saturating_sub(9)..words.len().min(at + 9)].join(" ");
            assert!(next.iter().any(is_other), "in one system only: {around}");
        }
        self
    }

    #[track_caller]
    pub fn quiet(self) -> Self {
        assert_eq!(self.err, "", "stderr is not empty");
        self
    }
}

/// The program without anything of the caller's environment that it would listen to.
pub fn program(args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_deepbend"));
    command.args(args);
    for name in [
        "DEEPBEND_SERVER",
        "DEEPBEND_DATA",
        "DEEPBEND_TOKEN_FILE",
        "DEEPBEND_DEVICE",
        "DEEPBEND_ACTOR",
        "COLUMNS",
        "NO_COLOR",
    ] {
        command.env_remove(name);
    }
    command
}

pub fn run(args: &[&str]) -> Ended {
    ended(program(args).stdin(Stdio::null()))
}

pub fn ended(command: &mut Command) -> Ended {
    let output = command.output().unwrap();
    Ended {
        code: output.status.code().unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Runs it with `input` on stdin.
pub fn run_with(args: &[&str], input: &[u8]) -> Ended {
    let mut command = program(args);
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let input = input.to_vec();
    // Beside the reading below, or both would wait for each other.
    let writer = std::thread::spawn(move || drop(stdin.write_all(&input)));
    let output = child.wait_with_output().unwrap();
    writer.join().unwrap();
    Ended {
        code: output.status.code().unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// A data folder with the demo fleet in it.
pub fn fleet() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let data = data_of(&folder);
    run(&["gear", "import", DEMO, "--data", &data]).code(0);
    folder
}

pub const DEMO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/demo");

pub fn demo(name: &str) -> String {
    format!("{DEMO}/{name}")
}

pub fn data_of(folder: &tempfile::TempDir) -> String {
    folder.path().join("data").display().to_string()
}

pub fn write(folder: &Path, name: &str, text: &[u8]) -> String {
    let path = folder.join(name);
    std::fs::write(&path, text).unwrap();
    path.display().to_string()
}
