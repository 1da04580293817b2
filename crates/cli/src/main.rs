//! `deepbend`: see the library.

use std::process::ExitCode;

use deepbend_cli::failure::{Exit, Failure};
use deepbend_cli::{args, commands, output};

/// What is allocated on one thread and let go on another, as events are, costs it little.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    let cli = args::parsed();
    let ended = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(|error| Failure::new(Exit::Failed, format!("the runtime: {error}")))
        .and_then(|runtime| runtime.block_on(commands::run(cli)));
    match ended {
        Ok(()) => ExitCode::from(Exit::Ok.code()),
        Err(failure) => {
            let text = failure.to_string();
            if !text.is_empty() {
                output::note(text.trim_end());
            }
            ExitCode::from(failure.exit.code())
        }
    }
}
