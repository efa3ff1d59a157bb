//! `rawassay`: audits raw files for large prints.

#![allow(unreachable_pub, reason = "a program has no outside callers")]

mod adopt;
mod answer;
mod commands;
mod defaults;
mod examples;
mod frames;
mod identity;
mod messages;
mod output;
mod pages;
mod progress;
mod runner;
mod tables;
mod target;
mod usage;
mod walk;

use std::process::ExitCode;

use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};
use messages::{Exit, Failure};

/// Tells which raw frames are technically good enough for the print you have in mind, and what spoiled the others.
#[derive(Parser)]
#[command(name = "rawassay", version, about, long_about = None)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

/// One file per command in `commands/`.
#[derive(Subcommand)]
enum Command {
    Audit(commands::audit::Audit),
    Judge(commands::judge::Judge),
    Series(commands::series::Series),
    Sets(commands::sets::Sets),
    Enlarge(commands::enlarge::Enlarge),
    Sensor(commands::sensor::Sensor),
    Edge(commands::edge::Edge),
    Cull(commands::cull::Cull),
    Page(commands::page::Page),
    Brief(commands::brief::Brief),
    Explain(commands::explain::Explain),
    Demo(commands::demo::Demo),
    Completions(commands::completions::Completions),
    Manual(commands::manual::Manual),
    #[command(hide = true)]
    Worker(runner::worker::Worker),
}

/// The whole program for the argument parser, with examples and the back ends that read raws.
fn program() -> clap::Command {
    let readers: Vec<String> = rawassay_decode::readers().iter().map(|r| format!("{} {}", r.name, r.version)).collect();
    let version = format!("{}\nreads raws with {}", env!("CARGO_PKG_VERSION"), readers.join(", else "));
    examples::add(Arguments::command().long_version(version))
}

fn run() -> Result<Exit, Failure> {
    let whole = defaults::apply(program())?;
    let known: Vec<String> =
        whole.get_subcommands().filter(|c| !c.is_hide_set()).map(|c| c.get_name().to_string()).collect();
    let matches = whole.try_get_matches().or_else(|error| wrong_usage(&error, &known))?;
    let arguments = Arguments::from_arg_matches(&matches).map_err(|e| Failure::usage(e.to_string()))?;
    match arguments.command {
        Command::Audit(command) => command.run(),
        Command::Judge(command) => command.run(),
        Command::Series(command) => command.run(),
        Command::Sets(command) => command.run(),
        Command::Enlarge(command) => command.run(),
        Command::Sensor(command) => command.run(),
        Command::Edge(command) => command.run(),
        Command::Cull(command) => command.run(),
        Command::Page(command) => command.run(),
        Command::Brief(command) => command.run(),
        Command::Explain(command) => command.run(),
        Command::Demo(command) => command.run(),
        Command::Completions(command) => command.run(program()),
        Command::Manual(command) => command.run(program()),
        Command::Worker(command) => command.run(),
    }
}

/// What the argument parser says of wrong usage, in one line; help and version are no errors.
fn wrong_usage(error: &clap::Error, known: &[String]) -> Result<clap::ArgMatches, Failure> {
    let shows_help = error.kind() == clap::error::ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand;
    if !error.use_stderr() || shows_help {
        error.exit();
    }
    let asked: Vec<String> = std::env::args_os().skip(1).take(2).map(|a| a.to_string_lossy().into_owned()).collect();
    if let [help, word] = asked.as_slice()
        && help == "help"
        && let Some(near) = rawassay_analysis::brief::keys::nearest(word, known.iter().map(String::as_str))
    {
        return Err(Failure::usage(format!("there is no command '{word}'; did you mean `rawassay help {near}`?")));
    }
    let help = match asked.first().filter(|command| known.contains(command)) {
        Some(command) => format!("rawassay {command}"),
        None => "rawassay".to_string(),
    };
    let line = usage::line(&error.render().to_string(), &help);
    // Who typed no such option must learn where it was said.
    let said_in = defaults::variable_at_fault(error).map_or_else(String::new, |variable| format!("{variable}: "));
    Err(Failure::usage(format!("{said_in}{line}")))
}

fn main() -> ExitCode {
    match run() {
        Ok(exit) => exit.into(),
        Err(failure) => {
            messages::error(&failure.to_string());
            failure.exit().into()
        }
    }
}
