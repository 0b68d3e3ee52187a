//! The command line: one file a command. Data goes to standard output, talk to standard error.
//!
//! Never computes a reading itself: it finds files, calls the library and shows what came of it. A closed pipe ends a
//! command quietly; paths that are not UTF-8 work and are shown with a mark for what cannot be shown.

mod batch;
mod calibrate;
mod card;
mod chart;
mod keep;
mod log;
mod place;
mod plan;
mod read;
mod report;
mod rules;
mod serve;
mod timings;
mod trend;

use std::io::{self, Write};
use std::process::ExitCode;

use clap::error::ErrorKind;
use clap::{CommandFactory, Parser, Subcommand};

use crate::error::Error;
use crate::face::{files, one};
use crate::flag::Verdict;

/// Exit codes. A command over several photos exits with its worst; one success never hides a failure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[repr(u8)]
pub enum Exit {
    /// All is well; every reading is trusted.
    Trusted = 0,
    /// At least one reading is doubtful.
    Doubtful = 1,
    /// The command line was not understood.
    Usage = 2,
    /// At least one photo has no reading.
    Unreadable = 3,
    /// The command could not be carried out: a chart is missing, an output cannot be written.
    Failed = 4,
}

impl From<Verdict> for Exit {
    fn from(verdict: Verdict) -> Exit {
        match verdict {
            Verdict::Trusted => Exit::Trusted,
            Verdict::Doubtful => Exit::Doubtful,
            Verdict::Unreadable => Exit::Unreadable,
        }
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> ExitCode {
        ExitCode::from(exit as u8)
    }
}

/// Why a command ended early.
enum Stop {
    /// The command line makes no sense.
    Usage(String),
    /// One clear error.
    Failed(Error),
    /// Errors that have been told already.
    Told,
    /// Nobody reads the output any more.
    Closed,
}

impl From<Error> for Stop {
    fn from(e: Error) -> Stop {
        Stop::Failed(e)
    }
}

/// For standard output only; files have their own errors.
impl From<io::Error> for Stop {
    fn from(e: io::Error) -> Stop {
        if e.kind() == io::ErrorKind::BrokenPipe {
            return Stop::Closed;
        }
        Stop::Failed(Error::new(
            format!("standard output cannot be written: {e}"),
            "check the disk or the program it is piped to",
        ))
    }
}

type Done = Result<Exit, Stop>;

const EXITS: &str = "\
Exit codes:
  0  all is well; every reading is trusted
  1  at least one reading is doubtful
  2  the command line was not understood
  3  at least one photo has no reading
  4  the command could not be carried out (chart missing, output not writable, ...)
Over several photos the worst one counts.";

#[derive(Parser)]
#[command(name = "tintwell", version, about, after_help = EXITS, max_term_width = 100)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    Card(card::Args),
    Calibrate(calibrate::Args),
    Chart(chart::Args),
    Read(read::Args),
    Batch(batch::Args),
    Log(log::Args),
    Trend(trend::Args),
    Plan(plan::Args),
    Report(report::Args),
    Serve(serve::Args),
}

impl Command {
    /// Its word on the command line.
    fn name(&self) -> &'static str {
        match self {
            Command::Card(_) => "card",
            Command::Calibrate(_) => "calibrate",
            Command::Chart(_) => "chart",
            Command::Read(_) => "read",
            Command::Batch(_) => "batch",
            Command::Log(_) => "log",
            Command::Trend(_) => "trend",
            Command::Plan(_) => "plan",
            Command::Report(_) => "report",
            Command::Serve(_) => "serve",
        }
    }
}

/// Runs the program on the command line it was started with.
pub fn main() -> ExitCode {
    let command = Cli::parse().command;
    let name = command.name();
    let done = match command {
        Command::Card(args) => card::run(&args),
        Command::Calibrate(args) => calibrate::run(args),
        Command::Chart(args) => chart::run(&args),
        Command::Read(args) => read::run(&args),
        Command::Batch(args) => batch::run(&args),
        Command::Log(args) => log::run(&args),
        Command::Trend(args) => trend::run(&args),
        Command::Plan(args) => plan::run(&args),
        Command::Report(args) => report::run(&args),
        Command::Serve(args) => serve::run(&args),
    };
    let exit = match done {
        Ok(exit) => exit,
        Err(Stop::Closed) => Exit::Trusted,
        Err(Stop::Told) => Exit::Failed,
        Err(Stop::Failed(e)) => {
            tell(&e);
            Exit::Failed
        }
        Err(Stop::Usage(what)) => {
            // Clap's own form of a usage error; that standard error is closed is no reason to do more.
            let mut all = Cli::command();
            all.build();
            let of = all
                .find_subcommand_mut(name)
                .map(|c| c.error(ErrorKind::ValueValidation, &what));
            let error =
                of.unwrap_or_else(|| Cli::command().error(ErrorKind::ValueValidation, &what));
            let _ = error.print();
            Exit::Usage
        }
    };
    exit.into()
}

/// Tells an error on standard error.
fn tell(e: &Error) {
    let style = anstyle::AnsiColor::Red.on_default().bold();
    // Standard error may be closed; there is nowhere left to say so.
    let _ = writeln!(anstream::stderr(), "{style}error:{style:#} {e}");
}

/// Tells something that is no error on standard error.
fn say(text: &str) {
    let _ = writeln!(anstream::stderr(), "{text}");
}

/// Whether standard output takes colours (a terminal that can, and `NO_COLOR` is not set).
fn colour() -> bool {
    anstream::AutoStream::choice(&io::stdout()) != anstream::ColorChoice::Never
}

/// Writes data to standard output at once.
fn put(text: &str) -> Result<(), Stop> {
    let mut out = anstream::stdout().lock();
    out.write_all(text.as_bytes())?;
    out.flush()?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    #[test]
    fn the_definition_of_the_command_line_holds_together() {
        super::Cli::command().debug_assert();
    }
}
