//! The command line's entry: parse, call, exit code.

fn main() {}
