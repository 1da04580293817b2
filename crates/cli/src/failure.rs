//! How a command ends: exit codes, and errors that say what, where and what to try.

use std::fmt;
use std::path::Path;

use deepbend_contract::reason;
use tonic::{Code, Status};
use tonic_types::StatusExt as _;

use crate::output;
use crate::render::Page;

/// How a command ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exit {
    /// It did what was asked for.
    Ok,
    /// It failed, and nothing below says why.
    Failed,
    /// The command line is wrong.
    Usage,
    /// The answer is there, but there is no plan in it.
    NoPlan,
    /// The input has faults.
    BadData,
    /// A file cannot be read.
    NoInput,
    /// The service does not answer.
    Unavailable,
    /// The data folder is held by another process.
    Held,
    /// The service refuses this caller.
    Refused,
    /// The deadline passed.
    Deadline,
}

impl Exit {
    /// All of them, by code.
    pub const ALL: [Self; 10] = [
        Self::Ok,
        Self::Failed,
        Self::Usage,
        Self::NoPlan,
        Self::BadData,
        Self::NoInput,
        Self::Unavailable,
        Self::Held,
        Self::Refused,
        Self::Deadline,
    ];

    /// The code that the process ends with.
    #[must_use]
    pub fn code(self) -> u8 {
        match self {
            Self::Ok => 0,
            Self::Failed => 1,
            Self::Usage => 2,
            Self::NoPlan => 3,
            Self::BadData => 65,
            Self::NoInput => 66,
            Self::Unavailable => 69,
            Self::Held => 75,
            Self::Refused => 77,
            Self::Deadline => 124,
        }
    }

    /// What it means, for `deepbend help exit-codes`.
    #[must_use]
    pub fn meaning(self) -> &'static str {
        match self {
            Self::Ok => "done; also when the reader of the output has gone away",
            Self::Failed => "failed",
            Self::Usage => "the command line is wrong",
            Self::NoPlan => "the answer is printed, but the trip has no plan",
            Self::BadData => "the input has faults; what could be judged is printed",
            Self::NoInput => "a file cannot be read",
            Self::Unavailable => "the service does not answer",
            Self::Held => "the data folder is held by another process",
            Self::Refused => "the service refuses this caller",
            Self::Deadline => "the deadline passed",
        }
    }
}

/// Why a command does not go on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Failure {
    /// How the process ends.
    pub exit: Exit,
    /// What is wrong, one thing a line, each with its field; empty: nothing to say.
    pub lines: Vec<String>,
    /// What to try next.
    pub hint: Option<String>,
}

impl Failure {
    /// A failure with one thing to say.
    #[must_use]
    pub fn new(exit: Exit, what: impl Into<String>) -> Self {
        Self { exit, lines: vec![what.into()], hint: None }
    }

    /// An end without words: all that there is to say has been said.
    #[must_use]
    pub fn silent(exit: Exit) -> Self {
        Self { exit, lines: Vec::new(), hint: None }
    }

    /// The same with a hint.
    #[must_use]
    pub fn hint(self, hint: impl Into<String>) -> Self {
        Self { hint: Some(hint.into()), ..self }
    }

    /// A wrong command line.
    #[must_use]
    pub fn usage(what: impl Into<String>) -> Self {
        Self::new(Exit::Usage, what)
    }

    /// A file that cannot be read.
    #[must_use]
    pub fn file(path: &Path, error: &std::io::Error) -> Self {
        Self::new(Exit::NoInput, format!("{}: {error}", path.display()))
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut page = Page::new(output::width());
        self.lines.iter().for_each(|line| page.hanging("error: ", line));
        self.hint.iter().for_each(|hint| page.hanging("hint: ", hint));
        f.write_str(&page.finish())
    }
}

impl std::error::Error for Failure {}

/// What tonic and h2 call a connection that failed under a call.
const BROKEN_OFF: [&str; 3] = ["transport error", "h2 protocol error", "tcp connect error"];

fn broke_off(status: &Status) -> bool {
    BROKEN_OFF.iter().any(|words| status.message().contains(words))
}

fn exit_of(status: &Status, reason: &str) -> Exit {
    match status.code() {
        Code::Ok => Exit::Ok,
        Code::InvalidArgument | Code::NotFound | Code::OutOfRange | Code::AlreadyExists => {
            Exit::BadData
        }
        // The transport says so when its own timer is the first to run out.
        Code::Cancelled if status.message().contains("Timeout expired") => Exit::Deadline,
        Code::DeadlineExceeded => Exit::Deadline,
        // Who gives a reason does answer.
        Code::Unavailable if reason.is_empty() => Exit::Unavailable,
        Code::Unknown | Code::Internal if reason.is_empty() && broke_off(status) => {
            Exit::Unavailable
        }
        Code::Unauthenticated | Code::PermissionDenied => Exit::Refused,
        Code::Unavailable
        | Code::Cancelled
        | Code::Unknown
        | Code::ResourceExhausted
        | Code::FailedPrecondition
        | Code::Aborted
        | Code::Unimplemented
        | Code::Internal
        | Code::DataLoss => Exit::Failed,
    }
}

impl From<Status> for Failure {
    fn from(status: Status) -> Self {
        let info = status.get_details_error_info();
        let reason = info.as_ref().map_or("", |info| info.reason.as_str());
        let exit = exit_of(&status, reason);
        let mut lines: Vec<String> = status
            .get_details_bad_request()
            .into_iter()
            .flat_map(|bad| bad.field_violations)
            .map(|fault| format!("{} {}", fault.field, fault.description))
            .collect();
        let count = info.as_ref().and_then(|info| info.metadata.get("fault_count"));
        let count = count.and_then(|count| count.parse::<usize>().ok()).unwrap_or(0);
        if count > lines.len() && !lines.is_empty() {
            lines.push(format!("and {} more", count - lines.len()));
        }
        if lines.is_empty() {
            lines.push(match status.message() {
                // What gRPC says where the line broke off.
                _ if reason.is_empty() && broke_off(&status) => {
                    "the service went out of reach before it had answered".to_owned()
                }
                "" => status.code().description().to_owned(),
                said => said.to_owned(),
            });
        }
        Self { exit, lines, hint: hint_for(exit, reason).map(str::to_owned) }
    }
}

fn hint_for(exit: Exit, reason: &str) -> Option<&'static str> {
    if reason == reason::ITEM_NOT_FOUND.name {
        return Some("`deepbend gear list` shows what there is; a description needs more words");
    }
    if reason == reason::NO_INVENTORY.name {
        return Some(
            "import one with `deepbend gear import FOLDER`, or describe the gear in words",
        );
    }
    match exit {
        Exit::Deadline => Some("give it more time with --deadline"),
        Exit::Unavailable => Some("check --server, or leave it out to work on this machine"),
        Exit::Ok
        | Exit::Failed
        | Exit::Usage
        | Exit::NoPlan
        | Exit::BadData
        | Exit::NoInput
        | Exit::Held
        | Exit::Refused => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Common practice, no source: a hint is about the side that failed.
    #[test]
    fn only_who_gets_no_answer_is_told_to_look_at_the_address() {
        let full = reason::STORE_UNAVAILABLE.status("the disk is nearly full", &[]);
        let full = Failure::from(full);
        assert_eq!((full.exit, full.hint), (Exit::Failed, None), "it did answer");
        let silent = Failure::from(Status::unavailable("connection refused"));
        assert!(silent.hint.unwrap().contains("--server"));
        let under_a_call = "h2 protocol error: error reading a body from connection";
        for gone in [Status::unknown("transport error"), Status::internal(under_a_call)] {
            let gone = Failure::from(gone);
            assert_eq!(gone.exit, Exit::Unavailable);
            assert_eq!(gone.lines, ["the service went out of reach before it had answered"]);
        }
    }

    // Common practice, no source: 80 columns.
    #[test]
    fn errors_keep_to_the_width() {
        let told = Failure::usage("word ".repeat(40)).hint("other ".repeat(40)).to_string();
        assert!(told.lines().all(|line| line.chars().count() <= output::width()), "{told}");
    }
}
