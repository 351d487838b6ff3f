//! Spoiled files of every sort, each read by the program.

use std::fs;
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use crate::chance::{self, Chance};
use crate::mutate::spoiled;
use crate::run::{bounded, failures, fault, listing, words};
use crate::seeds::{Sort, sorts};

/// How many files are tried where nobody asks for more.
const USUAL: usize = 3000;

#[test]
fn spoiled_files_of_every_sort_are_refused_in_a_sentence_or_used() {
    let bench = tempfile::tempdir().expect("a folder");
    let mut sorts = sorts(bench.path());
    if let Ok(only) = std::env::var("DOTWRIGHT_ATTACK_ON") {
        sorts.retain(|s| only.split(',').any(|name| name == s.name));
    }
    assert!(!sorts.is_empty(), "DOTWRIGHT_ATTACK_ON names no sort of file");
    let (rounds, start) = chance::rounds(USUAL);
    // Taken in turns, so that any number of rounds tries all sorts.
    let most = sorts.iter().map(|s| s.share).max().unwrap_or(0);
    let turns: Vec<usize> = (0..most)
        .flat_map(|n| (0..sorts.len()).map(move |s| (n, s)))
        .filter(|&(n, s)| n < sorts[s].share)
        .map(|t| t.1)
        .collect();
    let next = AtomicUsize::new(0);
    let failed = Mutex::new(Vec::new());
    let counts: Vec<[AtomicUsize; 2]> = sorts.iter().map(|_| Default::default()).collect();
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(2, |n| n.get()) {
            scope.spawn(|| {
                let place = tempfile::tempdir().expect("a folder");
                for name in ["art", "photo", "wedge.toml", "dots.png", "wide.svg"] {
                    fs::copy(bench.path().join(name), place.path().join(name)).expect("copied");
                }
                loop {
                    let round = next.fetch_add(1, Ordering::Relaxed);
                    if round >= rounds {
                        break;
                    }
                    let sort = turns[round % turns.len()];
                    let chance = Chance(start.wrapping_add((round as u64) << 20));
                    let (refused, wrong) = one(&sorts[sort], chance, place.path(), bench.path(), round);
                    counts[sort][0].fetch_add(1, Ordering::Relaxed);
                    counts[sort][1].fetch_add(usize::from(refused), Ordering::Relaxed);
                    failed.lock().expect("whole").extend(wrong);
                }
            });
        }
    });
    let failed = failed.into_inner().expect("whole");
    for (sort, [tried, refused]) in sorts.iter().zip(&counts) {
        let count = |n: &AtomicUsize| n.load(Ordering::Relaxed);
        println!("{}: {} tried, {} refused", sort.name, count(tried), count(refused));
    }
    println!("{rounds} spoiled files tried, {} failed; chance began at {start}", failed.len());
    assert!(failed.is_empty(), "{} of {rounds} failed:\n{}", failed.len(), failed.join("\n"));
}

/// One spoiled file: whether it was refused, and what went wrong.
fn one(sort: &Sort, mut chance: Chance, place: &Path, bench: &Path, round: usize) -> (bool, Option<String>) {
    let good = &sort.files[chance.below(sort.files.len())];
    let file = spoiled(&mut chance, good, &sort.files, sort.form);
    let line = if chance.below(4) < 3 { sort.lines[0] } else { chance.of(sort.lines) };
    let at = place.join(sort.file);
    fs::write(&at, &file).expect("written");
    let before = listing(place);
    let ended = bounded(&words(line), place, "");
    let wrong = fault(&ended, &before, &listing(place)).map(|what| {
        let kept = failures().join(format!("{}-{round}", sort.name));
        fs::write(&kept, &file).expect("written");
        let short: String = what.chars().take(400).collect();
        format!("{} read by '{line}': {short}", kept.display())
    });
    for path in listing(place) {
        if !before.contains(&path) {
            let _ = if path.is_dir() { fs::remove_dir_all(&path) } else { fs::remove_file(&path) };
        }
    }
    // What lies there for others is good again.
    let good = bench.join(sort.file);
    if good.is_file() {
        fs::copy(good, at).expect("copied");
    } else {
        fs::remove_file(at).expect("removed");
    }
    (ended.code == Ok(1), wrong)
}
