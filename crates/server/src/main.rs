//! `deepbendd`: serves until it is told to end, or does some work on its data folder.

#![allow(clippy::disallowed_methods, reason = "an outer crate: it reads the environment")]

use std::process::ExitCode;

use deepbend_server::config::{Loaded, load};
use deepbend_server::exit::{BAD_DATA, Exit, HELD, IO, UNAVAILABLE, USAGE};
use deepbend_server::text::{WIDTH, hanging, wrap};
use deepbend_server::upkeep::UpkeepError;
use deepbend_server::{Config, Server, StartError};
use tokio::signal::unix::{SignalKind, signal};

/// What is allocated on one thread and let go on another, as events are, costs it little.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    let config = match load(std::env::args_os(), |name| std::env::var(name).ok()) {
        Ok(Loaded::Run(config)) => *config,
        Ok(Loaded::Upkeep(upkeep, config)) => {
            return match upkeep.run(&config) {
                Ok(done) => print(&format!("{}\n", wrap(&done, WIDTH).join("\n"))),
                Err(error) => fail(code_of(&error), &error),
            };
        }
        Ok(Loaded::Print(text)) => return print(&text),
        Err(fault) => return fail(USAGE, &fault),
    };
    if let Err(error) = deepbend_server::log::init(&config) {
        return fail(UNAVAILABLE, &error);
    }
    match tokio::runtime::Builder::new_multi_thread().enable_all().build() {
        Ok(runtime) => runtime.block_on(run(config)),
        Err(error) => fail(UNAVAILABLE, &error),
    }
}

async fn run(config: Config) -> ExitCode {
    let signals = (signal(SignalKind::terminate()), signal(SignalKind::interrupt()));
    let (Ok(mut terminate), Ok(mut interrupt)) = signals else {
        return fail(UNAVAILABLE, &"signals cannot be received");
    };
    let told = async move {
        tokio::select! {
            _ = terminate.recv() => {}
            _ = interrupt.recv() => {}
        }
    };
    let bound = match Server::bind(config).await {
        Ok(bound) => bound,
        Err(error @ StartError::Locked { .. }) => return fail(HELD, &error),
        Err(error @ StartError::Data { .. }) => return fail(IO, &error),
        Err(error @ (StartError::Listen { .. } | StartError::Reflection(_))) => {
            return fail(UNAVAILABLE, &error);
        }
    };
    match bound.serve(told).await {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => fail(UNAVAILABLE, &error),
    }
}

fn print(text: &str) -> ExitCode {
    use std::io::Write as _;
    // Nobody reads it: then there is nothing left to do.
    let _ = write!(std::io::stdout(), "{text}");
    ExitCode::SUCCESS
}

fn code_of(error: &UpkeepError) -> Exit {
    match error {
        UpkeepError::NoFolder => USAGE,
        UpkeepError::Held { .. } => HELD,
        UpkeepError::Damaged(_) => BAD_DATA,
        UpkeepError::There(_)
        | UpkeepError::Empty(_)
        | UpkeepError::File { .. }
        | UpkeepError::Store(_)
        | UpkeepError::Events(_)
        | UpkeepError::Service(_) => IO,
    }
}

fn fail((code, _): Exit, error: &dyn std::fmt::Display) -> ExitCode {
    use std::io::Write as _;
    // Where stderr is closed the exit code has to do.
    let told = hanging("deepbendd: ", &error.to_string(), WIDTH);
    let _ = writeln!(std::io::stderr(), "{}", told.join("\n"));
    ExitCode::from(code)
}
