//! The command line: one file a command.
//!
//! Exit codes: 0 done; 1 the work was done but something in it failed; 2 wrong usage or unreadable input, with one
//! line on standard error that says what and how to mend it. Results go to standard output, all else to standard error.

mod account;
mod backup;
mod demo;
mod doctor;
mod measure;
mod options;
mod plan;
mod remeasure;
mod restore;
mod serve;
mod simulate;
mod sources;
mod token;

use std::io::Write;
use std::process::ExitCode;

use clap::{CommandFactory, Parser, Subcommand};

/// How a command ended that did not break off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Ending {
    /// All of it was done.
    Done,
    /// It was done, but something in it failed, and was said.
    SomethingFailed,
}

/// Measure how much a lens breathes, and publish, rank and compare the results.
#[derive(Debug, Parser)]
#[command(name = "breathmark", version, arg_required_else_help = true)]
struct Program {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Run the server and its worker; migrates the database first
    Serve(serve::Serve),
    /// Fill an empty data folder with an invented scenario, measured like an upload, and serve it
    Demo(demo::Demo),
    /// Measure frames in folders, zip files or single files, with no server and no database
    Measure(measure::Measure),
    /// Render a sweep with a known shift curve, with the truth beside it
    Simulate(simulate::Simulate),
    /// Print the shooting plan for a lens and set-up
    Plan(plan::Plan),
    /// Make accounts and give new passwords
    Account(account::Account),
    /// Make tokens for scripts
    Token(token::Token),
    /// Copy database and originals into one file, while the server runs
    Backup(backup::Backup),
    /// Make a data folder from a backup
    Restore(restore::Restore),
    /// Check the data folder and say what to do
    Doctor(doctor::Doctor),
    /// Queue sweeps whose results came from an older algorithm
    Remeasure(remeasure::Remeasure),
}

/// Runs the program on the process's arguments.
#[must_use]
pub fn run() -> ExitCode {
    let program = match Program::try_parse() {
        Ok(program) => program,
        Err(error) => return usage(&error),
    };
    let ending = match program.command {
        Command::Serve(command) => command.run(),
        Command::Demo(command) => command.run(),
        Command::Measure(command) => command.run(),
        Command::Simulate(command) => command.run(),
        Command::Plan(command) => command.run(),
        Command::Account(command) => command.run(),
        Command::Token(command) => command.run(),
        Command::Backup(command) => command.run(),
        Command::Restore(command) => command.run(),
        Command::Doctor(command) => command.run(),
        Command::Remeasure(command) => command.run(),
    };
    match ending {
        Ok(Ending::Done) => ExitCode::SUCCESS,
        Ok(Ending::SomethingFailed) => ExitCode::from(1),
        Err(error) => {
            complain(&one_line(&format!("{error:#}")));
            ExitCode::from(2)
        }
    }
}

/// Help and version go to standard output; wrong usage becomes one line that names the help to read.
fn usage(error: &clap::Error) -> ExitCode {
    if !error.use_stderr()
        || error.kind() == clap::error::ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand
    {
        // A closed pipe is no reason to complain.
        let _ = error.print();
        return if error.use_stderr() {
            ExitCode::from(2)
        } else {
            ExitCode::SUCCESS
        };
    }
    let text = error.to_string();
    let said = text
        .split("\n\n")
        .next()
        .unwrap_or(&text)
        .trim_start_matches("error: ");
    // The subcommands that were named, as far as there are such.
    let mut named = String::new();
    let mut known = Program::command();
    for word in std::env::args().skip(1) {
        let Some(inner) = known.find_subcommand(&word).cloned() else {
            break;
        };
        named = format!("{named} {word}");
        known = inner;
    }
    let mut said = one_line(said);
    // "0 is not in 1..=200" is how a programmer writes a range.
    if let Some((given, range)) = said.rsplit_once(" is not in ") {
        said = format!("{given} is not in {}", range.replace("..=", " to "));
    }
    complain(&format!("{said}; see `breathmark{named} --help`"));
    ExitCode::from(2)
}

/// One line on standard error.
fn complain(line: &str) {
    // Nobody is left to tell when standard error itself is gone.
    let _ = writeln!(std::io::stderr(), "breathmark: {line}");
}

/// Text with its line breaks and runs of blanks made into single blanks.
fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Writes a result to standard output; a reader who has gone away is no error.
fn say(text: &str) -> anyhow::Result<()> {
    match std::io::stdout().lock().write_all(text.as_bytes()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => Err(error.into()),
        _ => Ok(()),
    }
}
