//! The command line's entry: parse, call, exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    keep_freed_blocks();
    ExitCode::from(dotwright::cli::main())
}

/// Makes the allocator keep blocks of up to 16 MiB (a coaster's finest plane) for the next plane, where it would give each
/// back to the system, which hands it out again page by page: 8 % of the time of a tray of tags, and a fifth of a coaster's
/// page faults. glibc keeps blocks as large as the largest one that was freed so far, from 128 KiB up (mallopt(3), "dynamic
/// mmap threshold"); so one is asked for and freed, untouched. Blocks of 32 MiB, its most, brought no more, and a bed's
/// worth of dots then took 615 MiB where it takes 496. With other allocators nothing comes of it.
fn keep_freed_blocks() {
    std::hint::black_box(Vec::<u8>::with_capacity(16 << 20));
}
