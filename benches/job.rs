//! Benchmarks; see DEVELOPERS.md.

fn main() {
    divan::main();
}
