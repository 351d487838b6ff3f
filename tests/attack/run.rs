//! Running the program within bounds, and what may never happen.

use std::fs::{self, File};
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Processor time that a small job may take, seconds.
const SECONDS: u32 = 20;
/// Memory that it may ask for, KiB.
const KIB: u32 = 1 << 20;
/// When a run that takes no processor time is given up.
const WAIT: Duration = Duration::from_secs(180);

/// How a run ended.
#[derive(Debug)]
pub struct Ended {
    /// The exit code, or the signal that ended it.
    pub code: Result<i32, i32>,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

/// The program that is attacked: the one just built, or another in `DOTWRIGHT`.
pub fn program() -> String {
    std::env::var("DOTWRIGHT").unwrap_or_else(|_| env!("CARGO_BIN_EXE_dotwright").to_string())
}

/// The program with its line, under a shell that sets bounds first. `before` are more words for that shell.
pub fn command(line: &[String], folder: &Path, before: &str) -> Command {
    let mut sh = Command::new("sh");
    let bounds = format!("ulimit -t {SECONDS}; ulimit -v {KIB}; {before} exec \"$0\" \"$@\"");
    sh.arg("-c").arg(bounds).arg(program()).args(line);
    sh.current_dir(folder).stdin(Stdio::null()).env("MALLOC_ARENA_MAX", "1").env("RAYON_NUM_THREADS", "1");
    sh
}

/// Runs a line in a folder.
pub fn bounded(line: &[String], folder: &Path, before: &str) -> Ended {
    let said = tempfile::tempdir().expect("a folder");
    let at = |name: &str| said.path().join(name);
    let file = |name: &str| File::create(at(name)).expect("made");
    let mut child = command(line, folder, before)
        .stdout(file("out"))
        .stderr(file("err"))
        .spawn()
        .expect("the program starts");
    let begun = Instant::now();
    let status = loop {
        if let Some(status) = child.try_wait().expect("a child") {
            break status;
        }
        if begun.elapsed() > WAIT {
            let _ = child.kill();
        }
        std::thread::sleep(Duration::from_millis(2));
    };
    let text = |name: &str| String::from_utf8_lossy(&fs::read(at(name)).expect("readable")).into_owned();
    Ended { code: status.code().ok_or(status.signal().unwrap_or(0)), out: text("out"), err: text("err") }
}

/// All paths below a folder, in order.
pub fn listing(folder: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    for entry in fs::read_dir(folder).expect("readable") {
        let path = entry.expect("readable").path();
        if path.is_dir() {
            all.extend(listing(&path));
        }
        all.push(path);
    }
    all.sort();
    all
}

/// What is wrong with how a run ended, if anything: `before` and `after` are what lay in its folder.
pub fn fault(ended: &Ended, before: &[PathBuf], after: &[PathBuf]) -> Option<String> {
    let err = &ended.err;
    let code = match ended.code {
        Err(signal) => return Some(format!("ended by signal {signal}: {err}")),
        Ok(code) => code,
    };
    if !(0..=3).contains(&code) || err.contains("panicked") {
        return Some(format!("exit code {code}: {err}"));
    }
    let raw = |c: char| c.is_control() && c != '\n';
    if ended.out.contains(raw) || err.contains(raw) {
        return Some(format!("control characters reach the terminal: {:?}", format!("{}{err}", ended.out)));
    }
    if code == 1 && (err.trim().lines().count() != 1 || err.len() > 1000 || !err.starts_with("dotwright: ")) {
        return Some(format!("not one sentence: {err}"));
    }
    if matches!(code, 1 | 2) && before != after {
        return Some(format!("refused, but it left something behind: {after:?}"));
    }
    after.iter().find(|p| p.to_string_lossy().contains(".unfinished")).map(|p| format!("{p:?} is left over"))
}

/// Words of a line.
pub fn words(line: &str) -> Vec<String> {
    line.split_whitespace().map(String::from).collect()
}

/// Where what failed is kept.
pub fn failures() -> PathBuf {
    let target = Path::new(env!("CARGO_TARGET_TMPDIR")).parent().expect("the build folder");
    let folder = target.join("attack-failures");
    fs::create_dir_all(&folder).expect("made");
    folder
}
