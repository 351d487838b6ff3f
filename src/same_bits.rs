//! The same dots on any machine: what leads to them is computed with operations that IEEE 754 rounds exactly
//! (sums, products, quotients, square roots) and with `libm`, which is made of those. The standard library's
//! powers, logarithms and angles come from the system instead, and their last bits differ from one to the next.

use std::fs;
use std::path::{Path, PathBuf};

/// The rooms and files that lead to pictures, pages and words alone; all others lie on the way from art, process and a wedge's
/// photo to dots and programs. The matrices of a fit are those of `nalgebra`, which this does not see into.
const OFF_THE_WAY: &[&str] = &["cli", "desk", "proof", "wedge/show/curves.rs"];

/// What the standard library leaves to the system, or to the compiler (`powi`, `mul_add`).
const FROM_THE_SYSTEM: &[&str] = &[
    "acos", "acosh", "asin", "asinh", "atan", "atan2", "atanh", "cbrt", "cos", "cosh", "exp", "exp2",
    "exp_m1", "hypot", "ln", "ln_1p", "log", "log10", "log2", "mul_add", "powf", "powi", "sin", "sin_cos",
    "sinh", "tan", "tanh",
];

/// All files of Rust under a path.
fn files(path: &Path, found: &mut Vec<PathBuf>) {
    if path.is_dir() {
        let mut inner: Vec<_> = fs::read_dir(path).unwrap().map(|e| e.unwrap().path()).collect();
        inner.sort();
        inner.iter().for_each(|p| files(p, found));
    } else if path.extension().is_some_and(|e| e == "rs") && !path.ends_with("tests.rs") {
        found.push(path.to_path_buf());
    }
}

/// The calls in a text that are not those of `libm`, each with its line's number; tests and comments left out.
fn calls(text: &str) -> Vec<(usize, &str)> {
    let code = text.split("#[cfg(test)]").next().unwrap_or_default();
    let called = |line: &str, name: &str| {
        let method = line.contains(&format!(".{name}("));
        // Named by its path, called or handed on: `f64::exp`.
        let path = ["f32::", "f64::"].iter().any(|of| {
            line.match_indices(&format!("{of}{name}")).any(|(i, whole)| {
                !line[i + whole.len()..].starts_with(|c: char| c.is_ascii_alphanumeric() || c == '_')
            })
        });
        method || path
    };
    code.lines()
        .enumerate()
        .map(|(i, line)| (i + 1, line.split("//").next().unwrap_or_default()))
        .filter(|(_, line)| FROM_THE_SYSTEM.iter().any(|name| called(line, name)))
        .collect()
}

#[test]
fn nothing_on_the_way_to_dots_is_left_to_the_system() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut found = Vec::new();
    for room in OFF_THE_WAY {
        assert!(source.join(room).exists(), "there is no src/{room} any more: take it off the list");
    }
    let mut all = Vec::new();
    files(&source, &mut all);
    for file in all {
        let name = file.strip_prefix(&source).unwrap();
        if OFF_THE_WAY.iter().any(|room| name.starts_with(room)) {
            continue;
        }
        let text = fs::read_to_string(&file).unwrap();
        let of_file = calls(&text).into_iter();
        found.extend(of_file.map(|(n, line)| format!("src/{}:{n}: {}", name.display(), line.trim())));
    }
    assert!(found.is_empty(), "use libm, or products and square roots, in:\n{}", found.join("\n"));
}

#[test]
fn calls_are_seen_and_libm_is_not_one() {
    let text = "let a = x.powf(2.0);\nlet b = libm::pow(x, 2.0).sqrt(); // x.exp()\nmap(f64::ln)\nf64::ln_2()\n\
                v.max(y.log10().abs())\nlet exp = 3;\n#[cfg(test)]\nx.sin();\n";
    assert_eq!(calls(text).iter().map(|c| c.0).collect::<Vec<_>>(), [1, 3, 5]);
}
