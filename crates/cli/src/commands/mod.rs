//! What the commands do: describe, ask, print.

use clap::CommandFactory as _;
use deepbend_contract::pb;

use crate::args::{Cli, Command, Explain, GearCommand, Global, TraceCommand, TripCommand};
use crate::failure::{Exit, Failure};
use crate::output::{Format, json_text, put};
use crate::service::Service;

mod candidates;
mod compare;
mod events_file;
mod fitting;
mod fleet;
mod gear;
mod judge;
mod judge_cases;
mod log;
mod measure;
mod model;
mod plan;
mod plan_terms;
mod rank;
mod recover;
mod season;
mod stocktake;
mod sync;
mod trace;
mod watched;

pub(crate) use log::event;
pub(crate) use sync::pass_on;

/// Does what the command line asks for.
///
/// # Errors
/// How the command ends other than well.
pub async fn run(cli: Cli) -> Result<(), Failure> {
    let global = cli.global;
    match cli.command {
        Command::Judge(args) => match &args.cases {
            Some(file) => judge_cases::run(&global, file, &args.overrides).await,
            None => judge::run(&global, &args).await,
        },
        Command::Rank(args) => rank::run(&global, &args).await,
        Command::Compare(args) => compare::run(&global, &args).await,
        Command::Envelope(args) => fitting::envelope(&global, &args).await,
        Command::Specify(args) => fitting::specify(&global, &args).await,
        Command::Gear(GearCommand::Import(args)) => gear::import(&global, &args).await,
        Command::Gear(GearCommand::List(args)) => gear::list(&global, &args).await,
        Command::Gear(GearCommand::Show(args)) => gear::show(&global, &args).await,
        Command::Gear(GearCommand::Read(args)) => gear::read(&global, &args).await,
        Command::Gear(GearCommand::Measure(args)) => measure::run(&global, &args).await,
        Command::Trace(TraceCommand::Bend(args)) => trace::bend(&global, &args).await,
        Command::Trace(TraceCommand::Cast(args)) => trace::cast(&global, &args).await,
        Command::Trip(TripCommand::Plan(args)) => plan::trip(&global, &args).await,
        Command::Trip(TripCommand::Fleet(args)) => plan::fleet(&global, &args).await,
        Command::Trip(TripCommand::Check(args)) => Box::pin(recover::check(&global, &args)).await,
        Command::Trip(TripCommand::Gaps(args)) => season::gaps(&global, &args).await,
        Command::Trip(TripCommand::Set(args)) => season::set(&global, &args).await,
        Command::Trip(TripCommand::Compare(args)) => recover::compare(&global, &args),
        Command::Log(args) => log::run(&global, *args).await,
        Command::Contested => fleet::contested(&global).await,
        Command::History(args) => fleet::history(&global, &args.id).await,
        Command::Due(args) => fleet::due(&global, &args).await,
        Command::Stocktake(args) => stocktake::run(&global, &args).await,
        Command::Sync(args) => sync::run(&global, &args).await,
        Command::Model(args) => model::run(&global, &args).await,
        Command::Demo if global.output != Format::Table => {
            Err(Failure::usage("the demo is a story for people").hint("leave out --output"))
        }
        Command::Demo => crate::demo::run().await,
        Command::Completions { shell } => completions(shell),
        Command::Help { topic } => help(&topic),
    }
}

fn completions(shell: clap_complete::Shell) -> Result<(), Failure> {
    let mut text = Vec::new();
    clap_complete::generate(shell, &mut Cli::command(), "deepbend", &mut text);
    put(&String::from_utf8_lossy(&text))
}

fn help(topic: &[String]) -> Result<(), Failure> {
    if matches!(topic, [one] if one == "exit-codes") {
        return put(&exit_codes());
    }
    let mut command = Cli::command();
    command.build();
    let mut found = &mut command;
    for name in topic {
        let Some(next) = found.find_subcommand_mut(name) else {
            return Err(Failure::usage(format!("there is no command or topic `{name}`"))
                .hint("`deepbend help` lists the commands; `deepbend help exit-codes` the codes"));
        };
        found = next;
    }
    put(&found.render_long_help().to_string())
}

fn exit_codes() -> String {
    let line = |exit: &Exit| format!("{:>4}  {}\n", exit.code(), exit.meaning());
    let lines: String = Exit::ALL.iter().map(line).collect();
    format!("How commands end:\n{lines}\n{}", deepbend_server::exit::listed())
}

/// The explanation to ask for.
fn explanation(global: &Global, usual: pb::Explanation) -> i32 {
    let wanted = match global.explain {
        None => usual,
        Some(Explain::None | Explain::Summary) => pb::Explanation::Summary,
        Some(Explain::Full) => pb::Explanation::Full,
    };
    wanted.into()
}

/// Prints the request where that is all that is asked for; says whether it was.
fn printed_only<M: prost::Message + prost::Name>(
    global: &Global,
    request: &M,
) -> Result<bool, Failure> {
    if global.print_request {
        put(&json_text(request)?)?;
    }
    Ok(global.print_request)
}

/// A message of the contract from a file of proto JSON, `-` for stdin.
fn json_of<M: prost::Message + prost::Name + Default>(
    path: &std::path::Path,
) -> Result<M, Failure> {
    deepbend_contract::json::from_json(&text_of(path)?)
        .map_err(|error| Failure::new(Exit::BadData, format!("{}: {error}", path.display())))
}

/// Ends the service, whatever became of the work; the work's own failure goes first.
async fn finish(service: Service, done: Result<(), Failure>) -> Result<(), Failure> {
    let closed = service.close().await;
    done.and(closed)
}

/// Reads a file, or stdin for `-`.
fn bytes_of(path: &std::path::Path) -> Result<Vec<u8>, Failure> {
    if path.as_os_str() == "-" {
        let mut bytes = Vec::new();
        return std::io::Read::read_to_end(&mut std::io::stdin().lock(), &mut bytes)
            .map(|_| bytes)
            .map_err(|error| Failure::file(path, &error));
    }
    std::fs::read(path).map_err(|error| Failure::file(path, &error))
}

fn text_of(path: &std::path::Path) -> Result<String, Failure> {
    String::from_utf8(bytes_of(path)?).map_err(|error| {
        let what = format!("{}: not UTF-8 text ({error})", path.display());
        Failure::new(Exit::BadData, what)
    })
}
