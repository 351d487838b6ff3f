//! A run that is told to end: nothing unfinished is left, one sentence is said, the exit code is the shells'.
#![cfg(unix)]

use std::fs;
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

const PROGRAM: &str = env!("CARGO_BIN_EXE_dotwright");

/// A folder with a ramp in it.
fn bench() -> tempfile::TempDir {
    let dir = tempfile::tempdir().expect("a folder");
    let ramp = image::GrayImage::from_fn(400, 300, |x, y| image::Luma([((x + y) * 255 / 700) as u8]));
    ramp.save(dir.path().join("ramp.png")).expect("written");
    dir
}

/// Begins a job of far more dots than are searched through in the time of a test.
fn long_job(folder: &Path, out: &str) -> Child {
    let line = "prepare ramp.png --blank rect:300x300mm --density 508dpi --screen fitted --effort 64 --replace --out";
    Command::new(PROGRAM)
        .args(line.split(' ').chain([out]))
        .current_dir(folder)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts")
}

fn short_job(folder: &Path, out: &str) {
    let line = "prepare ramp.png --blank rect:12x10mm --quiet --replace --out";
    let done = Command::new(PROGRAM).args(line.split(' ').chain([out])).current_dir(folder).output();
    assert!(done.expect("it starts").status.success());
}

/// Waits until the outputs called `name` are begun; `within` is the folder in which they stand meanwhile.
fn begun(name: &str, within: &Path) {
    let start = Instant::now();
    while !unfinished(within).iter().any(|n| n.starts_with(&format!(".{name}."))) {
        assert!(start.elapsed() < Duration::from_secs(60), "it does not begin");
        std::thread::sleep(Duration::from_millis(5));
    }
}

fn send(job: &Child, signal: &str) {
    let sent = Command::new("kill").args([signal, &job.id().to_string()]).status();
    assert!(sent.expect("kill starts").success(), "{signal}");
}

fn names(folder: &Path) -> Vec<String> {
    let all = fs::read_dir(folder).into_iter().flatten();
    all.map(|e| e.expect("readable").file_name().to_string_lossy().into_owned()).collect()
}

fn unfinished(folder: &Path) -> Vec<String> {
    names(folder).into_iter().filter(|n| n.contains(".unfinished-")).collect()
}

fn ended(job: Child) -> (Option<i32>, String) {
    let Output { status, stderr, .. } = job.wait_with_output().expect("it ends");
    (status.code(), String::from_utf8_lossy(&stderr).into_owned())
}

#[test]
fn a_signal_ends_a_run_with_a_sentence_and_leaves_nothing() {
    for (signal, code) in [("-INT", 130), ("-TERM", 143), ("-HUP", 129)] {
        let b = bench();
        let job = long_job(b.path(), "new/coaster");
        begun("coaster", &b.path().join("new"));
        let start = Instant::now();
        send(&job, signal);
        let (ended_with, said) = ended(job);
        assert_eq!(ended_with, Some(code), "{said}");
        assert_eq!(said, "dotwright: stopped; nothing was written\n");
        assert_eq!(names(b.path()), ["ramp.png"], "{signal}");
        // A second is what the work has; the rest is for a machine that does more than this.
        assert!(start.elapsed() < Duration::from_secs(20), "{signal}");
    }
}

#[test]
fn a_second_signal_ends_a_run_at_once() {
    let b = bench();
    let job = long_job(b.path(), "coaster");
    begun("coaster", b.path());
    send(&job, "-INT");
    send(&job, "-INT");
    assert_eq!(ended(job), (Some(130), "dotwright: stopped; nothing was written\n".to_string()));
    assert_eq!(names(b.path()), ["ramp.png"]);
}

#[test]
fn a_run_that_is_told_to_end_keeps_the_files_that_were_there() {
    let b = bench();
    short_job(b.path(), "coaster");
    let before = names(&b.path().join("coaster"));
    let job = long_job(b.path(), "coaster");
    begun("coaster", &b.path().join("coaster"));
    send(&job, "-TERM");
    assert_eq!(ended(job).0, Some(143));
    let mut left = [before, names(&b.path().join("coaster"))];
    left.iter_mut().for_each(|n| n.sort());
    assert_eq!(left[0], left[1]);
}

#[test]
fn what_a_killed_run_left_is_removed_by_the_next_and_what_is_at_work_stays() {
    let b = bench();
    let alive = long_job(b.path(), "other");
    begun("other", b.path());
    let killed = long_job(b.path(), "coaster");
    begun("coaster", b.path());
    send(&killed, "-KILL");
    assert_eq!(ended(killed).0, None);
    assert_eq!(unfinished(b.path()).len(), 2);
    short_job(b.path(), "coaster");
    let left = unfinished(b.path());
    assert!(left.len() == 1 && left[0].starts_with(".other."), "{left:?}");
    send(&alive, "-TERM");
    assert_eq!(ended(alive).0, Some(143));
    assert!(unfinished(b.path()).is_empty());
}
