//! `rawassay`: audits raw files for large prints.

#![allow(unreachable_pub, reason = "a program has no outside callers")]

mod commands;
mod frames;
mod identity;
mod messages;
mod output;
mod pages;
mod progress;
mod runner;
mod tables;
mod walk;

use std::process::ExitCode;

use clap::{Parser, Subcommand};

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
    #[command(hide = true)]
    Worker(runner::worker::Worker),
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let result = match arguments.command {
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
        Command::Worker(command) => command.run(),
    };
    match result {
        Ok(exit) => exit.into(),
        Err(failure) => {
            messages::error(&failure.to_string());
            failure.exit().into()
        }
    }
}
