//! The program; everything it can do is in the library, but for talking to the person.

mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    cli::run()
}
