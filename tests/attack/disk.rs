//! Disks that are full: one sentence, nothing kept, nothing lost.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::chance::{self, Chance};
use crate::run::{bounded, fault, listing, program, words};

/// How many runs are tried where nobody asks for more.
const USUAL: usize = 30;

/// Each writes one large file at least.
const LINES: &[&str] = &[
    "prepare art.svg --blank round:12mm --quiet --replace --out out",
    "compare art.svg --blank round:12mm --screens bayer --quiet --out sheet",
    "proof made/dots.png --blank round:12mm --loupe 6,6 --quiet --out look",
    "replay made/program.nc --out walked",
    "wedge draw --blank rect:40x40mm --steps 3x3 --out wedge",
];

fn bench() -> tempfile::TempDir {
    let place = tempfile::tempdir().expect("a folder");
    let emblem = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/emblem.svg");
    fs::copy(emblem, place.path().join("art.svg")).expect("copied");
    for out in ["made", "out"] {
        let line = format!("prepare art.svg --blank round:12mm --power 80% --quiet --out {out}");
        let ended = bounded(&words(&line), place.path(), "");
        assert_eq!(ended.code, Ok(0), "{}", ended.err);
    }
    place
}

fn contents(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    listing(folder)
        .into_iter()
        .filter(|p| p.is_file())
        .map(|p| (p.clone(), fs::read(p).expect("readable")))
        .collect()
}

/// No file may grow beyond a bound: the system's answer to that is the same as to a full disk.
#[test]
fn a_file_that_cannot_be_written_to_its_end_leaves_everything_as_it_was() {
    let (rounds, start) = chance::rounds(USUAL);
    let rounds = rounds.min(2000);
    let mut chance = Chance(start);
    let place = bench();
    let before = contents(place.path());
    let (mut refused, mut failed) = (0, Vec::new());
    for round in 0..rounds {
        let line = LINES[round % LINES.len()];
        // Blocks of 512 bytes; enough for what is said, most of the time too few for a picture.
        let blocks = 4 + room(&mut chance);
        let names = listing(place.path());
        let ended = bounded(&words(line), place.path(), &format!("trap '' XFSZ; ulimit -f {blocks};"));
        let after = listing(place.path());
        let told = ended.code != Ok(1)
            || (ended.err.contains("could not be written") && ended.err.contains("space"));
        let kept = ended.code == Ok(0) || contents(place.path()) == before;
        if let Some(wrong) = fault(&ended, &names, &after) {
            failed.push(format!("'{line}' with {blocks} blocks: {wrong}"));
        } else if !told || !kept {
            failed.push(format!("'{line}' with {blocks} blocks: kept {kept}: {ended:?}"));
        }
        refused += usize::from(ended.code == Ok(1));
        for path in listing(place.path()) {
            if !names.contains(&path) {
                let _ = if path.is_dir() { fs::remove_dir_all(&path) } else { fs::remove_file(&path) };
            }
        }
        for (path, bytes) in &before {
            fs::write(path, bytes).expect("written");
        }
    }
    println!(
        "{rounds} runs with too little room, {refused} refused, {} failed; chance began at {start}",
        failed.len()
    );
    assert!(failed.is_empty(), "{}", failed.join("\n"));
    assert!(refused * 3 > rounds, "hardly any run had too little room: {refused} of {rounds}");
}

/// How many blocks: few most of the time.
fn room(chance: &mut Chance) -> usize {
    let most = *chance.of(&[20, 100, 400, 2000]);
    chance.below(most)
}

/// A small disk of its own, where the system lets a test have one.
#[test]
fn a_full_disk_keeps_what_was_there() {
    let place = bench();
    fs::create_dir(place.path().join("disk")).expect("made");
    let prepare = format!(
        "'{}' prepare art.svg --blank round:12mm --quiet --replace --out disk/out; echo code $?; ls -A disk disk/out",
        program()
    );
    let within = |room: usize, rest: &str| {
        let script = format!("mount -t tmpfs -o size={room}k none disk && cp -r out disk/out && {rest}");
        let run =
            Command::new("unshare").args(["-rm", "sh", "-c", &script]).current_dir(place.path()).output();
        run.map(|o| format!("{}{}", String::from_utf8_lossy(&o.stdout), String::from_utf8_lossy(&o.stderr)))
    };
    let used: u64 =
        contents(&place.path().join("out")).iter().map(|(_, bytes)| bytes.len() as u64 / 1024 + 4).sum();
    if !within(used as usize * 4, "echo may").is_ok_and(|said| said.trim() == "may") {
        println!("skipped: this system lets a test have no disk of its own");
        return;
    }
    for more in [8, 40, 200, 400] {
        let said = within(used as usize + more, &prepare).expect("it runs");
        assert!(said.contains("code 1\n") && said.contains("dotwright: "), "{more} KiB free: {said}");
        assert!(!said.contains("unfinished") && !said.contains("panicked"), "{more} KiB free: {said}");
        // Everything of the earlier run is there.
        for (path, _) in contents(&place.path().join("out")) {
            let name = path.file_name().expect("a name").to_string_lossy().into_owned();
            assert!(said.lines().any(|l| l == name), "{name} is gone with {more} KiB free: {said}");
        }
    }
    let said = within(used as usize * 4, &prepare).expect("it runs");
    assert!(said.contains("code 0\n"), "{said}");
}

/// What is said has nowhere to go.
#[test]
fn a_full_standard_output_is_no_success() {
    if !Path::new("/dev/full").exists() {
        println!("skipped: there is no /dev/full");
        return;
    }
    for line in ["advise", "kit list --json", "screens", "kit show poster-paint", "--help", "completions zsh"]
    {
        let full = fs::File::options().write(true).open("/dev/full").expect("open");
        let done = Command::new(program()).args(words(line)).stdout(full).output().expect("it starts");
        let err = String::from_utf8_lossy(&done.stderr).into_owned();
        assert!(
            done.status.code() == Some(1) && err.contains("the disk is full"),
            "{line}: {:?} {err}",
            done.status
        );
    }
}
