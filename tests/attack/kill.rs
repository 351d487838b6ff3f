//! Runs that are ended at random times: the folder holds the old files or the new ones, whole, and no leftovers.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use crate::chance::{self, Chance};
use crate::run::{bounded, command, listing, words};

/// How many runs are ended where nobody asks for more.
const USUAL: usize = 30;

/// The same piece at two powers, so that both write the same names with other bytes.
const LINES: [&str; 2] = [
    "prepare art.svg --blank round:14mm --power 80% --quiet --replace --out out",
    "prepare art.svg --blank round:14mm --power 70% --quiet --replace --out out",
];

type Files = BTreeMap<String, Vec<u8>>;

/// What lies in the output folder, without hidden folders.
fn files(folder: &Path) -> Files {
    let all = fs::read_dir(folder.join("out")).into_iter().flatten().flatten();
    all.filter(|e| e.path().is_file())
        .map(|e| (e.file_name().to_string_lossy().into_owned(), fs::read(e.path()).expect("readable")))
        .collect()
}

fn leftovers(folder: &Path) -> usize {
    let hidden = |p: &&std::path::PathBuf| {
        let name = p.file_name().unwrap_or_default().to_string_lossy().into_owned();
        name.starts_with('.') && name.contains(".unfinished")
    };
    listing(folder).iter().filter(hidden).count()
}

/// Waits until a run has begun to take old files out, or has ended; whether it was seen to begin.
fn exchange_begun(folder: &Path, child: &mut Child) -> bool {
    let out = |e: fs::DirEntry| e.path().join("out").is_dir();
    while child.try_wait().expect("a child").is_none() {
        if fs::read_dir(folder.join("out")).into_iter().flatten().flatten().any(out) {
            return true;
        }
        std::thread::yield_now();
    }
    false
}

#[test]
fn a_run_that_is_ended_at_any_time_leaves_the_old_or_the_new() {
    let (rounds, start) = chance::rounds(USUAL);
    let rounds = rounds.min(2000);
    let mut chance = Chance(start);
    let place = tempfile::tempdir().expect("a folder");
    let emblem = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/emblem.svg");
    fs::copy(emblem, place.path().join("art.svg")).expect("copied");
    let begun = Instant::now();
    let whole = LINES.map(|line| {
        let ended = bounded(&words(line), place.path(), "");
        assert_eq!(ended.code, Ok(0), "{}", ended.err);
        files(place.path())
    });
    let long = begun.elapsed() / 2;
    assert!(whole[0].len() > 6 && whole[0].len() == whole[1].len() && whole[0] != whole[1]);
    let (mut failed, mut ends, mut exchanges) = (Vec::new(), BTreeMap::new(), 0);
    for round in 0..rounds {
        let before = files(place.path());
        let which = round % 2;
        // Every third is killed while it puts its files in their place and tidies up: within a few ms of it.
        let at_the_end = round % 3 == 2;
        let signals = [("-INT", 2), ("-TERM", 15), ("-HUP", 1), ("-KILL", 9)];
        let (signal, number) = if at_the_end { signals[3] } else { *chance.of(&signals) };
        let mut child = command(&words(LINES[which]), place.path(), "")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts");
        let long = if at_the_end {
            exchanges += usize::from(exchange_begun(place.path(), &mut child));
            Duration::from_millis(3)
        } else {
            long
        };
        let wait = long.mul_f64(chance.below(1000) as f64 / 1000.0);
        std::thread::sleep(wait);
        if number == 9 {
            let _ = child.kill();
        } else {
            let id = child.id().to_string();
            let _ = Command::new("kill").args([signal, &id]).stderr(Stdio::null()).status();
        }
        let status = child.wait().expect("a child");
        let what =
            status.code().map_or("by the signal itself".to_string(), |c| format!("with exit code {c}"));
        *ends.entry(format!("{signal} {what}")).or_insert(0) += 1;
        let fits = match status.code() {
            Some(code) => code == 0 || code == 128 + number,
            // Before it listens, a signal ends it as the system does.
            None => std::os::unix::process::ExitStatusExt::signal(&status) == Some(number),
        };
        let now = files(place.path());
        let settled = now == before || now == whole[which];
        // Only the hardest of signals can leave a folder between the two, and never a program beside pages of another job.
        let between = number == 9 && {
            let of = |files: &Files| now.iter().all(|(name, bytes)| files.get(name) == Some(bytes));
            of(&before) || of(&whole[which]) || !now.keys().any(|name| name.ends_with(".nc"))
        };
        let left = leftovers(place.path());
        if !fits || !(settled || between) || (left > 0 && number != 9) || left > 1 {
            failed.push(format!(
                "round {round}: {signal} after {wait:?}: {what}, {left} left over, {:?} of {:?}",
                now.keys(),
                before.keys()
            ));
        }
        if failed.is_empty() && (left > 0 || !settled) {
            // The next run tidies up, whatever it writes itself.
            let ended = bounded(&words(LINES[1 - which]), place.path(), "");
            if ended.code != Ok(0) || files(place.path()) != whole[1 - which] || leftovers(place.path()) > 0 {
                failed.push(format!("round {round}: after {signal} the next run ends with {ended:?}"));
            }
        }
    }
    println!("{rounds} runs ended, {} failed; {ends:?}; chance began at {start}", failed.len());
    assert!(failed.is_empty(), "{}", failed.join("\n"));
    assert!(rounds < USUAL || ends.len() > 3, "chance hit too little: {ends:?} in {long:?}");
    assert!(rounds < USUAL || exchanges > 0, "no exchange was seen to begin");
}
