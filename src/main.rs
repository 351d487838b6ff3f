//! The command line's entry: parse, call, exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(dotwright::cli::main())
}
