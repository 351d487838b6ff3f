//! A whole job: the art it needs, its command lines, and what of its files is kept.

use std::collections::BTreeMap;
use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::{differ, kept};

/// A whole job.
pub struct Job {
    /// Its name: a folder of `tests/data/golden`.
    pub name: &'static str,
    /// Files that are laid beside it, seen from the package's folder.
    pub art: &'static [&'static str],
    /// What is typed after `dotwright`, one command after the other.
    pub lines: &'static [&'static str],
    /// Files that are kept: a folder with its stroke, the end of a path, or none for all.
    pub keep: &'static [&'static str],
}

/// The package's folder.
pub fn package() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Runs a job and holds all that it makes against what was kept.
pub fn check(job: &Job) {
    let made = run(job);
    let folder = kept::folder(job.name);
    let failures = differ::fresh(job.name);
    if std::env::var_os("DOTWRIGHT_REWRITE").is_some() {
        kept::write(&folder, &made, &failures);
        panic!("{} was rewritten; run again without DOTWRIGHT_REWRITE", folder.display());
    }
    let wrong = kept::compare(&folder, &made, &failures);
    assert!(
        wrong.is_empty(),
        "{}; expected, got and difference are in {}",
        wrong.join("; "),
        failures.display()
    );
}

/// All files that a job makes, and `said.txt` with what it says, under their paths.
fn run(job: &Job) -> BTreeMap<String, Vec<u8>> {
    let place = tempfile::tempdir().expect("a folder");
    for art in job.art {
        let from = package().join(art);
        fs::copy(&from, place.path().join(from.file_name().expect("a file"))).expect("the art is there");
    }
    let mut said = String::new();
    for line in job.lines {
        let args: Vec<&str> = line.split_whitespace().collect();
        let done = Command::new(program())
            .args(&args)
            .current_dir(place.path())
            .stdin(Stdio::null())
            .output()
            .expect("the program starts");
        said += &format!("$ dotwright {}\n", args.join(" "));
        said += &String::from_utf8_lossy(&done.stdout);
        said += &String::from_utf8_lossy(&done.stderr);
        said += &format!("exit code {}\n\n", done.status.code().expect("it ends by itself"));
    }
    let mut made = BTreeMap::from([("said.txt".to_string(), said.into_bytes())]);
    for path in files(place.path()) {
        let name = path.strip_prefix(place.path()).expect("inside").to_string_lossy().into_owned();
        let wanted = |k: &&str| name.ends_with(*k) || (k.ends_with('/') && name.starts_with(*k));
        if name.contains('/') && (job.keep.is_empty() || job.keep.iter().any(wanted)) {
            made.insert(name, fs::read(path).expect("readable"));
        }
    }
    made
}

/// The program under test: the one just built, unless another is named.
fn program() -> OsString {
    std::env::var_os("DOTWRIGHT").unwrap_or_else(|| env!("CARGO_BIN_EXE_dotwright").into())
}

/// All files below a folder.
pub fn files(folder: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    for entry in fs::read_dir(folder).into_iter().flatten() {
        let path = entry.expect("readable").path();
        if path.is_dir() { all.extend(files(&path)) } else { all.push(path) }
    }
    all
}
