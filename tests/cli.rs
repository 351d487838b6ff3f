//! The command line as a maker uses it: real commands, real files, exit codes and sentences.

use std::collections::BTreeMap;
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

fn dotwright(args: &[&str], folder: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_dotwright"))
        .args(args)
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .expect("the program starts")
}

fn ok(args: &[&str], folder: &Path) -> String {
    let o = dotwright(args, folder);
    let (out, err) = (text(&o.stdout), text(&o.stderr));
    assert!(o.status.success(), "{args:?}\n{out}\n{err}");
    out
}

/// Runs a command that must be refused: exit code, one sentence that holds `part`, nothing left behind.
fn refused(args: &[&str], folder: &Path, code: i32, part: &str) {
    let before = listing(folder);
    let o = dotwright(args, folder);
    let err = text(&o.stderr);
    assert_eq!(o.status.code(), Some(code), "{args:?}\n{err}");
    assert!(err.contains(part), "{args:?}: '{part}' is not in\n{err}");
    assert!(!err.contains("panicked"), "{err}");
    if code == 1 {
        assert!(err.trim().lines().count() == 1 && err.len() < 600, "one sentence, not:\n{err}");
    }
    assert_eq!(listing(folder), before, "{args:?} left something behind");
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn listing(folder: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    for e in fs::read_dir(folder).expect("readable") {
        let p = e.expect("readable").path();
        if p.is_dir() {
            all.extend(listing(&p));
        }
        all.push(p);
    }
    all.sort();
    all
}

/// A folder with a small grey ramp and a drawing in it.
fn bench() -> tempfile::TempDir {
    let dir = tempfile::tempdir().expect("a folder");
    let ramp = image::GrayImage::from_fn(400, 300, |x, y| image::Luma([((x + y) * 255 / 700) as u8]));
    ramp.save(dir.path().join("ramp.png")).expect("written");
    let svg = r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 40"><circle cx="20" cy="20" r="20"/></svg>"#;
    fs::write(dir.path().join("disc.svg"), svg).expect("written");
    dir
}

#[test]
fn prepare_with_nothing_else_works_and_says_what_it_assumed() {
    let b = bench();
    let out = ok(&["prepare", "ramp.png", "--out", "out"], b.path());
    for part in ["assumed", "glass tile", "poster paint", "diode 5 W", "0.0875 mm"] {
        assert!(out.contains(part), "'{part}' is not in\n{out}");
    }
    for name in ["dots.png", "proof.png", "density.png", "ticket.html", "job.toml", "report.json"] {
        assert!(b.path().join("out").join(name).is_file(), "{name}");
    }
}

#[test]
fn when_all_is_well_six_lines_say_so_and_more_where_it_is_asked_for() {
    let b = bench();
    let said = ok(&["prepare", "disc.svg", "--out", "out", "--blank", "glass-coaster-90"], b.path());
    assert_eq!(said.lines().count(), 6, "{said}");
    for part in
        ["read as a drawing", "it will be", "of the art is under the beam", "it takes", "note assumed"]
    {
        assert!(said.contains(part), "'{part}' is not in\n{said}");
    }
    assert!(
        said.ends_with("written to out; open ticket.html first, print it and follow its steps\n"),
        "{said}"
    );
    let line =
        ["prepare", "disc.svg", "--out", "out", "--replace", "--blank", "glass-coaster-90", "--verbose"];
    let more = ok(&line, b.path());
    for part in [
        "Assumed: the machine",
        "Pitch 0.0875 mm",
        "mean mark",
        "(84.776 x 84.776 mm as a whole)",
        "-> burn a wedge",
    ] {
        assert!(more.contains(part), "'{part}' is not in\n{more}");
    }
    assert!(said.lines().filter(|l| !l.starts_with("it will be")).all(|l| more.contains(l)), "{more}");
    let line = ["prepare", "disc.svg", "--out", "out", "--replace", "--verbose", "--quiet"];
    refused(&line, b.path(), 2, "cannot be used with");
}

#[test]
fn a_picture_that_is_not_what_it_was_is_said_wherever_a_job_is_run_again() {
    let b = bench();
    let p = b.path();
    fs::copy(p.join("disc.svg"), p.join("logo.svg")).expect("copied");
    ok(&["prepare", "logo.svg", "--out", "one", "--blank", "round:20mm", "--screen", "threshold"], p);
    let square =
        r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 40"><path d="M0 0h40v40H0z"/></svg>"#;
    fs::write(p.join("logo.svg"), square).expect("written");
    let said = "logo.svg is not the picture this job was first prepared with";
    let again = ok(&["prepare", "--job", "one/job.toml", "--out", "two"], p);
    assert!(again.contains(&format!("CAUTION art-changed: {said}")), "{again}");
    let tray = ok(&["tray", "one/job.toml", "--grid", "2x1", "--out", "three"], p);
    assert!(tray.contains("look at art-changed: pieces 1 and 2"), "{tray}");
    for folder in ["two", "three"] {
        assert!(
            // There it begins a sentence.
            fs::read_to_string(p.join(folder).join("ticket.html")).expect("there").contains(&said[1..]),
            "{folder}"
        );
    }
    // Other art on the line is meant to be other art, and the job of a second look knows the new picture.
    for line in ["prepare disc.svg --job one/job.toml --out four", "prepare --job two/job.toml --out five"] {
        let out = ok(&line.split(' ').collect::<Vec<_>>(), p);
        assert!(!out.contains("art-changed"), "{line}: {out}");
    }
}

#[test]
fn a_job_run_again_gives_the_same_bytes() {
    let b = bench();
    let line = "prepare ramp.png --out one --blank round:60mm --screen bayer --levels auto --sharpen 0.2mm --turn 90 --mirror";
    ok(&line.split(' ').collect::<Vec<_>>(), b.path());
    ok(&["prepare", "--job", "one/job.toml", "--out", "two"], b.path());
    for name in listing(&b.path().join("one")) {
        let name = name.file_name().expect("a name").to_owned();
        let [one, two] = ["one", "two"].map(|d| fs::read(b.path().join(d).join(&name)).expect("both"));
        assert!(one == two, "{name:?} differs");
    }
}

#[test]
fn a_tray_of_several_kinds_of_blank_says_what_to_do_with_each() {
    let b = bench();
    let p = b.path();
    let order = "title = 'Mixed'\nblank = '{blank}'\ntable = 'names.csv'\n[tray]\ngrid = '2x1'\n[[piece.layer]]\ntext = '{name}'\nplace = '10x4mm'\n";
    fs::write(p.join("order.toml"), order).expect("written");
    fs::write(p.join("names.csv"), "name,blank\nIda,glass-coaster-90\nBo,slate-coaster-100\n")
        .expect("written");
    ok(&["tray", "order.toml", "--out", "tray"], p);
    let read = |name: &str| fs::read_to_string(p.join("tray").join(name)).expect("there");
    let ticket = read("ticket.html");
    for part in ["by piece", "(poster paint): ", "(bare slate): ", "Stone dust"] {
        assert!(ticket.contains(part), "'{part}' is not in the ticket");
    }
    // Only the glass is painted.
    let coats = ticket.match_indices("<b>Coat</b>").map(|(at, _)| &ticket[at..at + 60]);
    assert!(coats.clone().count() == 1 && coats.clone().all(|c| c.contains("(poster paint)")));
    let program = read("program-1.nc");
    assert!(program.contains(": bare slate on diode 5 W") && program.contains("Stone dust"));
}

#[test]
fn a_tray_says_of_a_stop_of_bad_rows_and_of_what_is_marked_already_what_is_so() {
    let b = bench();
    let p = b.path();
    let order = |table: &str| {
        format!(
            "title = 'Tags'\nblank = 'rect:20x10mm'\ntable = '{table}'\n[tray]\ngrid = '1x1'\n[[piece.layer]]\ntext = '{{name}}'\nplace = '8x4mm'\n"
        )
    };
    fs::write(p.join("order.toml"), order("names.csv")).expect("written");
    fs::write(p.join("names.csv"), "name\nIda\nBo\n").expect("written");
    // A tray that is marked already needs no program, and the rest can be burnt.
    let rest = ok(&["tray", "order.toml", "--from", "2", "--out", "rest"], p);
    assert!(rest.contains("follow its steps") && !p.join("rest/program-1.nc").exists(), "{rest}");
    let ticket = fs::read_to_string(p.join("rest/ticket.html")).expect("there");
    assert!(!ticket.contains("DO NOT BURN") && ticket.contains("Run program-2.nc, and stay"));
    fs::write(p.join("bad.toml"), order("bad.csv")).expect("written");
    fs::write(p.join("bad.csv"), "Ida,Cook\nBo,Mate\n").expect("written");
    refused(
        &["tray", "bad.toml", "--skip-bad-rows", "--out", "bad"],
        p,
        1,
        "no column 'name'; it has Cook, Ida (its first line is taken as the headings); no row can be used",
    );
    let hot = format!("{}[piece.burn]\nspeed = '1mm/s'\n", order("names.csv"));
    fs::write(p.join("hot.toml"), hot).expect("written");
    let o = dotwright(&["tray", "hot.toml", "--out", "hot"], p);
    let said = text(&o.stdout);
    assert_eq!(o.status.code(), Some(3), "{said}");
    assert!(said.contains("do not burn it as it is") && !said.contains("marking takes"), "{said}");
}

#[test]
fn a_search_time_becomes_a_number_of_passes_that_the_job_keeps() {
    let dir = bench();
    let out = ok(
        &[
            "prepare",
            "ramp.png",
            "--blank",
            "rect:20x15mm",
            "--screen",
            "fitted",
            "--search-time",
            "0.3s",
            "--out",
            "a",
        ],
        dir.path(),
    );
    let said = out.lines().find(|l| l.contains("of search")).expect("it says how many passes");
    let passes: u32 =
        said.split_whitespace().next().and_then(|n| n.parse().ok()).expect("a number of passes");
    let job = fs::read_to_string(dir.path().join("a/job.toml")).expect("a job file");
    assert!(job.contains(&format!("effort = {passes}\n")), "{said}\n{job}");
    ok(&["prepare", "--job", "a/job.toml", "--out", "b"], dir.path());
    let dots = |folder: &str| fs::read(dir.path().join(folder).join("dots.png")).expect("dots");
    assert_eq!(dots("a"), dots("b"));
    refused(
        &["prepare", "ramp.png", "--search-time", "0", "--out", "c"],
        dir.path(),
        2,
        "a number of seconds up to 3600",
    );
}

#[test]
fn an_option_on_the_line_overrides_the_job_file() {
    let b = bench();
    ok(&["prepare", "disc.svg", "--out", "one", "--blank", "round:50mm"], b.path());
    ok(&["prepare", "--job", "one/job.toml", "--out", "two", "--power", "70%"], b.path());
    let read = |d: &str| -> serde_json::Value {
        serde_json::from_slice(&fs::read(b.path().join(d).join("report.json")).expect("there")).expect("JSON")
    };
    let (one, two) = (read("one"), read("two"));
    assert_eq!(two["process"]["power_share"]["value"], 0.7);
    assert_eq!(two["process"]["power_share"]["standing"], "given");
    assert_eq!(one["process"]["power_share"]["standing"], "assumed");
    assert_eq!(one["blank"], two["blank"]);
}

#[test]
fn a_folder_that_is_not_empty_is_kept_unless_replaced() {
    let b = bench();
    ok(&["prepare", "disc.svg", "--out", "out"], b.path());
    refused(&["prepare", "disc.svg", "--out", "out"], b.path(), 1, "--replace");
    ok(&["prepare", "disc.svg", "--out", "out", "--bmp", "--replace"], b.path());
    fs::write(b.path().join("out/notes.txt"), "mine").expect("written");
    ok(&["prepare", "disc.svg", "--out", "out", "--replace"], b.path());
    let left = files(&b.path().join("out"));
    assert!(left.contains_key("notes.txt") && !left.contains_key("dots.bmp"), "{:?}", left.keys());
}

/// Names and bytes of a folder's files.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let name = |p: &Path| p.file_name().expect("a name").to_string_lossy().into_owned();
    listing(folder).iter().map(|p| (name(p), fs::read(p).expect("a file"))).collect()
}

/// Runs a command in a folder of files; all files but those named must stay as they are.
fn changes_only(args: &[&str], folder: &Path, out: &str, names: &[&str]) {
    let before = files(&folder.join(out));
    ok(args, folder);
    let after = files(&folder.join(out));
    for (name, bytes) in &before {
        assert!(names.contains(&name.as_str()) || after.get(name) == Some(bytes), "{args:?} took {name}");
    }
    for name in names {
        assert!(after.contains_key(*name), "{args:?} did not write {name}");
    }
}

#[test]
fn replace_touches_only_the_files_that_the_command_itself_writes() {
    let b = bench();
    let p = b.path();
    ok(&["prepare", "disc.svg", "--out", "d", "--blank", "round:30mm"], p);
    changes_only(
        &["replay", "d/program.nc", "--out", "d", "--replace"],
        p,
        "d",
        &["path.png", "replay.json"],
    );
    changes_only(
        &["proof", "d/dots.png", "--blank", "round:30mm", "--out", "d", "--replace"],
        p,
        "d",
        &["proof.png", "density.png", "report.json"],
    );
    let line = "compare disc.svg --blank round:20mm --screens bayer --out d --replace";
    changes_only(
        &line.split(' ').collect::<Vec<_>>(),
        p,
        "d",
        &["contact-sheet.png", "contact-sheet.html", "comparison.json"],
    );
}

#[test]
fn a_file_that_is_read_is_never_replaced() {
    let b = bench();
    let p = b.path();
    ok(&["prepare", "disc.svg", "--out", "d", "--blank", "round:30mm", "--bmp"], p);
    for art in ["d/dots.png", "d/dots.bmp", "d/../d/dots.png"] {
        refused(&["prepare", art, "--out", "d", "--replace"], p, 1, "is read by this run");
    }
    // A job is run again in its own folder, as long as the job file stays what it is.
    let job = fs::read(p.join("d/job.toml")).expect("there");
    ok(&["prepare", "--job", "d/job.toml", "--out", "d", "--replace"], p);
    assert_eq!(fs::read(p.join("d/job.toml")).expect("there"), job);
    let other = ["prepare", "--job", "d/job.toml", "--power", "60%", "--out", "d", "--replace"];
    refused(&other, p, 1, "job.toml' is read by this run");
    // What stands on standard input may be a file of the folder too.
    #[cfg(target_os = "linux")]
    {
        let o = Command::new(env!("CARGO_BIN_EXE_dotwright"))
            .args(["prepare", "-", "--out", "d", "--replace"])
            .current_dir(p)
            .stdin(fs::File::open(p.join("d/dots.png")).expect("there"))
            .output()
            .expect("it starts");
        assert_eq!(o.status.code(), Some(1), "{}", text(&o.stderr));
        assert!(text(&o.stderr).contains("is read by this run"), "{}", text(&o.stderr));
    }
}

#[test]
fn a_job_and_a_wedge_do_not_take_each_others_files() {
    let b = bench();
    let p = b.path();
    ok(&["prepare", "disc.svg", "--out", "job", "--blank", "round:30mm"], p);
    ok(&["wedge", "draw", "--out", "wedge"], p);
    refused(&["wedge", "draw", "--out", "job", "--replace"], p, 1, "holds a job");
    refused(&["prepare", "disc.svg", "--out", "wedge", "--replace"], p, 1, "holds a wedge");
    changes_only(&["wedge", "draw", "--out", "wedge", "--replace"], p, "wedge", &["wedge.nc", "ticket.html"]);
}

#[test]
fn a_stopped_job_leaves_no_earlier_program_behind() {
    let b = bench();
    ok(&["prepare", "disc.svg", "--out", "d", "--blank", "round:30mm"], b.path());
    let line =
        "prepare disc.svg --out d --replace --blank round:16mm --density 608dpi --power 90% --speed 12.5mm/s";
    let o = dotwright(&line.split(' ').collect::<Vec<_>>(), b.path());
    assert_eq!(o.status.code(), Some(3), "{}", text(&o.stderr));
    let left = files(&b.path().join("d"));
    assert!(left.contains_key("ticket.html") && !left.contains_key("program.nc"), "{:?}", left.keys());
}

#[cfg(unix)]
#[test]
fn the_folder_that_the_shell_stands_in_stays_the_same() {
    use std::os::unix::fs::MetadataExt;
    let b = bench();
    let d = b.path().join("d");
    fs::create_dir(&d).expect("made");
    fs::copy(b.path().join("disc.svg"), d.join("disc.svg")).expect("copied");
    let inode = fs::metadata(&d).expect("there").ino();
    for _ in 0..2 {
        ok(&["prepare", "disc.svg", "--out", ".", "--replace", "--blank", "round:30mm"], &d);
        assert_eq!(fs::metadata(&d).expect("there").ino(), inode);
    }
    let left = files(&d);
    assert!(left.contains_key("disc.svg") && left.contains_key("program.nc"), "{:?}", left.keys());
}

#[test]
fn an_archive_holds_the_same_bytes_as_the_folder() {
    let b = bench();
    let p = b.path();
    ok(&["prepare", "disc.svg", "--out", "d", "--blank", "round:30mm"], p);
    // In a folder of its own, so that its job file sees the art as that of the folder does.
    let out = ok(&["prepare", "disc.svg", "--out", "z/d.zip", "--blank", "round:30mm"], p);
    assert!(out.contains("written to z/d.zip; open ticket.html first"), "{out}");
    let bytes = fs::read(p.join("z/d.zip")).expect("there");
    let archive = rawzip::ZipArchive::from_slice(&bytes).expect("an archive");
    let mut entries = archive.entries();
    let mut packed = BTreeMap::new();
    while let Some(e) = entries.next_entry().expect("readable") {
        let name = e.file_path().try_normalize().expect("a name").as_ref().to_string();
        let data = archive.get_entry(e.wayfinder()).expect("there").data();
        let mut file = Vec::new();
        match e.compression_method() {
            rawzip::CompressionMethod::STORE => file.extend(data),
            _ => drop(flate2::read::DeflateDecoder::new(data).read_to_end(&mut file).expect("unpacked")),
        }
        packed.insert(name, file);
    }
    assert!(packed == files(&p.join("d")));
    refused(&["prepare", "disc.svg", "--out", "z/d.zip"], p, 1, "is there already");
    ok(&["prepare", "disc.svg", "--out", "z/d.zip", "--blank", "round:30mm", "--replace"], p);
    assert!(fs::read(p.join("z/d.zip")).expect("there") == bytes);
}

#[test]
fn only_a_reader_that_went_away_is_no_error() {
    let b = bench();
    refused(&["prepare", "Broken pipe.jpg", "--out", "out"], b.path(), 1, "Broken pipe.jpg");
    // A stop is a stop, whoever reads: standard output is a pipe that nobody holds any more.
    let line =
        "prepare disc.svg --blank round:16mm --density 608dpi --power 90% --speed 12.5mm/s --json --out";
    let mut stop = Command::new(env!("CARGO_BIN_EXE_dotwright"))
        .args(line.split(' ').chain(["two"]))
        .current_dir(b.path())
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts");
    drop(stop.stdout.take());
    let o = stop.wait_with_output().expect("it ends");
    assert_eq!(o.status.code(), Some(3), "{}", text(&o.stderr));
    // A full disk is an error, and tells which.
    if cfg!(target_os = "linux") {
        let full = fs::OpenOptions::new().write(true).open("/dev/full").expect("there");
        let o = Command::new(env!("CARGO_BIN_EXE_dotwright"))
            .args(["kit", "list"])
            .stdout(full)
            .output()
            .expect("it starts");
        assert_eq!(o.status.code(), Some(1));
        assert!(text(&o.stderr).contains("standard output cannot be written"), "{}", text(&o.stderr));
    }
}

#[test]
fn names_never_steer_the_terminal() {
    let b = bench();
    let bad = "red\u{1b}[31m\u{9b}1m\nSTOP.svg";
    if fs::copy(b.path().join("disc.svg"), b.path().join(bad)).is_err() {
        return; // A system that has no such names.
    }
    let steers = |t: &str| t.chars().any(|c| c.is_control() && c != '\n');
    let told = r"red\u001b[31m\u009b1m\u000aSTOP.svg";
    for json in [&["--json"][..], &[]] {
        let args =
            [&["prepare", bad, "--out", "o\u{7}ut", "--replace", "--blank", "round:30mm"], json].concat();
        let o = dotwright(&args, b.path());
        assert!(o.status.success(), "{}", text(&o.stderr));
        assert!(!steers(&text(&o.stdout)) && !steers(&text(&o.stderr)), "{:?}", text(&o.stdout));
        assert!(
            text(&o.stdout).contains(if json.is_empty() { told } else { "STOP.svg" }),
            "{}",
            text(&o.stdout)
        );
    }
    ok(&["prepare", "--job", "o\u{7}ut/job.toml", "--out", "again"], b.path());
    for (code, args) in [
        (1, vec!["prepare", "no\u{1b}[31m\nthing.jpg", "--out", "x"]),
        (1, vec!["prepare", "disc.svg", "--out", "x", "--machine", "\u{1b}]0;x\u{7}"]),
        (1, vec!["replay", "\u{1b}[31m"]),
        (2, vec!["prepare", "disc.svg", "--out", "x", "--power", "\u{1b}[31m"]),
        (2, vec!["\u{1b}[31m"]),
    ] {
        let o = dotwright(&args, b.path());
        assert_eq!(o.status.code(), Some(code), "{args:?}: {}", text(&o.stderr));
        let err = text(&o.stderr);
        assert!(!steers(&err), "{err:?}");
        assert!(code == 2 || err.trim().lines().count() == 1 && err.contains(r"\u001b"), "{err:?}");
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_file_name_may_be_any_bytes() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;
    let b = bench();
    let art = OsStr::from_bytes(b"caf\xe9 100%.svg");
    fs::copy(b.path().join("disc.svg"), b.path().join(art)).expect("copied");
    let run = |args: &[&OsStr]| {
        let mut c = Command::new(env!("CARGO_BIN_EXE_dotwright"));
        let o = c.args(args).current_dir(b.path()).stdin(Stdio::null()).output().expect("it starts");
        assert!(o.status.success(), "{args:?}\n{}", text(&o.stderr));
    };
    let w = OsStr::new;
    let out = OsStr::from_bytes(b"out \xff");
    run(&[w("prepare"), art, w("--out"), out, w("--blank"), w("round:30mm")]);
    let job = b.path().join(out).join("job.toml");
    let told = fs::read_to_string(&job).expect("text");
    assert!(told.contains(r#"file = "file:../caf%E9 100%25.svg""#), "{told}");
    run(&[w("prepare"), w("--job"), job.as_os_str(), w("--out"), w("again")]);
    assert!(files(&b.path().join(out)) == files(&b.path().join("again")));
    run(&[w("replay"), b.path().join(out).join("program.nc").as_os_str()]);
    run(&[w("proof"), b.path().join(out).join("dots.png").as_os_str(), w("--out"), w("judged")]);
    // What is named by a kit's name or a file's is such a name too.
    let paint = OsStr::from_bytes(b"mein l\xe4ck.toml");
    let kit = ok(&["kit", "show", "poster-paint"], b.path());
    fs::write(b.path().join(paint), kit).expect("written");
    run(&[w("prepare"), w("disc.svg"), w("--out"), w("own"), w("--coating"), paint]);
    let measured = OsStr::from_bytes(b"gemessen \xfc.toml");
    let process = "machine = 'diode-5w'\ncoating = 'poster-paint'\n[x_half]\nvalue = '1.8J/mm2'\n";
    fs::write(b.path().join(measured), process).expect("written");
    let curve = OsStr::from_bytes(b"kurve \xfc.toml");
    fs::write(b.path().join(curve), "coverage = [0.0, 0.3, 1.0]\nmark = [0.0, 0.5, 1.0]\n").expect("written");
    let small = [w("prepare"), w("ramp.png"), w("--blank"), w("round:12mm"), w("--accept"), w("over-burn")];
    run(&[&small[..], &[w("--out"), w("by-process"), w("--process"), measured]].concat());
    // A curve is for screens that do not know the beam.
    let diffused = [&small[..], &[w("--screen"), w("floyd-steinberg")]].concat();
    run(&[&diffused[..], &[w("--out"), w("by-curve"), w("--dot-gain"), curve]].concat());
    run(&[&small[..], &[w("--out"), w("plain")]].concat());
    run(&[&diffused[..], &[w("--out"), w("plain-diffused")]].concat());
    let dots = |out: &str| fs::read(b.path().join(out).join("dots.png")).expect("there");
    assert!(dots("by-process") != dots("plain") && dots("by-curve") != dots("plain-diffused"));
    let again = w("by-curve/job.toml");
    run(&[w("prepare"), w("--job"), again, w("--out"), w("by-curve-again")]);
    assert!(dots("by-curve-again") == dots("by-curve"));
}

#[test]
fn bad_art_is_refused_with_one_sentence() {
    let b = bench();
    let p = b.path();
    fs::write(p.join("note.png"), "no picture at all").expect("written");
    fs::write(p.join("empty.jpg"), "").expect("written");
    let whole = fs::read(p.join("ramp.png")).expect("there");
    fs::write(p.join("cut.png"), &whole[..whole.len() / 2]).expect("written");
    let far = r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><image href="other.png" width="9" height="9"/></svg>"#;
    fs::write(p.join("far.svg"), far).expect("written");
    for art in ["note.png", "empty.jpg", "cut.png", "far.svg", "nowhere.png"] {
        refused(&["prepare", art, "--out", "out"], p, 1, art);
    }
}

/// A document of pages of 90 x 60 points, each with what it draws.
fn document(pages: &[&str]) -> Vec<u8> {
    let kids: Vec<_> = (0..pages.len()).map(|i| format!("{} 0 R", 3 + 2 * i)).collect();
    let mut objects = vec![
        "<< /Type /Catalog /Pages 2 0 R >>".to_string(),
        format!("<< /Type /Pages /Kids [{}] /Count {} >>", kids.join(" "), kids.len()),
    ];
    for (i, drawn) in pages.iter().enumerate() {
        let content = 4 + 2 * i;
        objects.push(format!(
            "<< /Type /Page /Parent 2 0 R /MediaBox [0 0 90 60] /Resources << >> /Contents {content} 0 R >>"
        ));
        objects.push(format!("<< /Length {} >>\nstream\n{drawn}\nendstream", drawn.len()));
    }
    let mut out = b"%PDF-1.4\n".to_vec();
    let mut table = format!("xref\n0 {}\n0000000000 65535 f \n", objects.len() + 1);
    for (i, object) in objects.iter().enumerate() {
        table.push_str(&format!("{:010} 00000 n \n", out.len()));
        out.extend_from_slice(format!("{} 0 obj\n{object}\nendobj\n", i + 1).as_bytes());
    }
    let end = format!(
        "{table}trailer\n<< /Size {} /Root 1 0 R >>\nstartxref\n{}\n%%EOF\n",
        objects.len() + 1,
        out.len()
    );
    out.extend_from_slice(end.as_bytes());
    out
}

#[test]
fn a_page_of_a_document_marks_what_the_same_drawing_marks() {
    let b = bench();
    let p = b.path();
    // The upper left corner of the page is at 0, 60 of a document, at 0, 0 of a drawing.
    let pages = ["0 0 90 60 re f", "10 10 40 30 re f 60 60 m 90 60 l 75 0 l h f"];
    fs::write(p.join("two.pdf"), document(&pages)).expect("written");
    let same = r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 90 60"><path d="M10 20h40v30h-40zM60 0H90L75 60z"/></svg>"#;
    fs::write(p.join("same.svg"), same).expect("written");
    let line = |art: &str, more: &str| {
        let line = format!("prepare {art} --blank rect:60x40mm --margin 1mm {more}");
        ok(&line.split(' ').filter(|w| !w.is_empty()).collect::<Vec<_>>(), p)
    };
    line("two.pdf", "--page 2 --out pdf");
    line("same.svg", "--out svg");
    line("two.pdf", "--out first");
    let dots = |folder: &str| fs::read(p.join(folder).join("dots.png")).expect("there");
    assert_eq!(dots("pdf"), dots("svg"));
    assert_ne!(dots("pdf"), dots("first"));
    let report = |folder: &str| fs::read_to_string(p.join(folder).join("report.json")).expect("there");
    assert!(report("pdf").contains("it has 2 pages; page 2 was taken"), "{}", report("pdf"));
    // The job keeps the page.
    ok(&["prepare", "--job", "pdf/job.toml", "--out", "again"], p);
    assert_eq!(dots("pdf"), dots("again"));
    refused(&["prepare", "two.pdf", "--page", "3", "--out", "out"], p, 1, "--page 1 to --page 2");
    refused(&["prepare", "same.svg", "--page", "2", "--out", "out"], p, 1, "one page only");
    fs::write(p.join("cut.pdf"), &document(&pages)[..70]).expect("written");
    refused(&["prepare", "cut.pdf", "--out", "out"], p, 1, "cut.pdf");
}

#[test]
fn every_complaint_leads_on_and_none_speaks_to_programmers() {
    let b = bench();
    let p = b.path();
    fs::create_dir(p.join("samples")).expect("made");
    fs::copy(p.join("ramp.png"), p.join("samples/harbour.png")).expect("copied");
    fs::create_dir(p.join("full")).expect("made");
    fs::write(p.join("full/mine.txt"), "mine").expect("written");
    fs::write(p.join("samples/moved.toml"), "[art]\nfile = '../gone/ramp.png'\n").expect("written");
    fs::write(p.join("samples/piped.toml"), "[art]\nfile = '-'\n").expect("written");
    fs::write(p.join("samples/names.csv"), "name\nAnna\n").expect("written");
    for (line, code, part) in [
        ("prepare harbor.png --out out", 1, "did you mean 'samples/harbour.png'?"),
        ("prepare samples/harbor.png --out out", 1, "did you mean 'samples/harbour.png'?"),
        ("prepare elsewhere/ramp.png --out out", 1, "did you mean 'ramp.png'?"),
        ("prepare sunset.png --out out", 1, "there is no such file; check its name"),
        ("prepare samples --out out", 1, "it is a folder"),
        ("prepare ramp.png --out full", 1, "is not empty"),
        ("prepare ramp.png --out ramp.png/out", 1, "'"),
        ("compare harbor.png --out out", 1, "did you mean 'samples/harbour.png'?"),
        ("proof rampe.png --out out", 1, "did you mean 'ramp.png'?"),
        ("replay program.nc", 1, "there is no such file"),
        ("wedge read photo.jpg --wedge wedge.toml --out out", 1, "there is no such file"),
        ("prepare --job job.toml --out out", 1, "there is no such file"),
        ("prepare --job samples/moved.toml --out out", 1, "gone/ramp.png; put it there, or name the picture"),
        ("prepare --job samples/piped.toml --out out", 1, "came from a pipe"),
        ("tray samples/names.csv --out out", 1, "a table, not an order"),
        ("prepare ramp.png --out out --machine mine.toml", 1, "mine.toml"),
        ("prepare ramp.png --out out --process mine.toml", 1, "there is no such file"),
        ("prepare ramp.png --out out --density 304", 2, "write for example 304dpi"),
        ("prepare ramp.png --out out --pitch 0.08", 2, "write for example 0.08mm"),
        ("prepare ramp.png --out out --margin 2", 2, "write for example 2mm"),
        ("prepare ramp.png --out out --margin 2,5mm", 2, "decimal comma; write 2.5mm"),
        ("prepare ramp.png --out out --power 72,5%", 2, "decimal comma; write 72.5%"),
        ("prepare ramp.png --out out --margin -1mm", 1, "from 0mm to 1000mm"),
        ("prepare ramp.png --out out --speed -5mm/s", 1, "speed"),
        ("prepare ramp.png --out out --blank 90mm", 1, "round:90mm"),
        ("prepare ramp.png --out out --blank 90", 1, "round:90mm"),
        ("prepare ramp.png --out out --blank 100x60mm", 1, "rect:100x60mm"),
        ("prepare ramp.png --out out --blank round:88,9mm", 1, "write 88.9mm"),
        ("prepare --text Anna --border 40mm --blank round:90mm --out out", 1, "make the border narrower"),
        ("prepare ramp.png --out out --ruling 4", 1, "clustered"),
        ("prepare ramp.png --out out --dot-gain off", 1, "floyd-steinberg"),
        ("prepare ramp.png --out out --screen bayer --effort 8", 1, "fitted"),
        ("prepare ramp.png --out out --fonts nowhere", 1, "there are no fonts at"),
        ("prepare ramp.png --out out --fonts ramp.png", 1, "no font"),
        ("prepare ramp.png --out out --rotate 90", 2, "--turn 90"),
        ("prepare ramp.png --out out --flip", 2, "--mirror"),
        ("prepare ramp.png --out out --brightness 10", 2, "--"),
        ("prepare ramp.png --out out --gamma=2", 2, "--curve"),
        ("prepare ramp.png --out out --dpi 300", 2, "--density"),
        ("prepare ramp.png --out out --size 60x40mm", 2, "--place 60x40mm"),
        ("wedge draw --out out --feed 20", 2, "--"),
        ("advise --material slate", 2, "--coating"),
    ] {
        let words: Vec<_> = line.split(' ').collect();
        refused(&words, p, code, part);
        let said = text(&dotwright(&words, p).stderr);
        for inner in ["os error", "Some(", "None", "Err(", "Ok(", "\\\"", "NotFound", "::"] {
            assert!(!said.contains(inner), "{line}: '{inner}' in\n{said}");
        }
    }
}

#[test]
fn impossible_jobs_are_refused_with_one_sentence() {
    let b = bench();
    for (line, part) in [
        ("--blank round:4mm", "smaller than its margins"),
        ("--blank rect:400x400mm --density 2540dpi --place cover", "million dots"),
        ("--speed 900mm/s", "100mm/s"),
        ("--machine diode-7w", "there is no machine"),
        ("--coating nowhere.toml", "nowhere.toml"),
        ("--process nowhere.toml", "nowhere.toml"),
        ("--screen treshold", "did you mean threshold?"),
        ("--out ramp.png", "ramp.png"),
    ] {
        let line =
            format!("prepare disc.svg {}{line}", if line.contains("--out") { "" } else { "--out out " });
        refused(&line.split(' ').collect::<Vec<_>>(), b.path(), 1, part);
    }
}

#[test]
fn a_wrong_command_line_is_told_what_to_write() {
    let b = bench();
    for (line, part) in [
        ("--power 110%", "from 0% to 100%"),
        ("--power 90", "no unit"),
        ("--speed 12.5", "12.5mm/s"),
        ("--margin 2px", "unknown unit"),
        ("--density 0dpi", "out of range"),
        ("--blank round:90mm --turn 45", "45"),
        ("--read-as painting", "painting"),
    ] {
        let line = format!("prepare disc.svg --out out {line}");
        refused(&line.split(' ').collect::<Vec<_>>(), b.path(), 2, part);
    }
    // The ranges that their help states.
    for (line, part) in [
        ("advise --size 0.5x10mm", "from 1mm to 2000mm"),
        ("advise --size 10x2001mm", "from 1mm to 2000mm"),
        ("advise --from 0mm", "from 0.005mm to 5mm"),
        ("advise --to -1mm", "from 0.005mm to 5mm"),
        ("advise --to 6mm", "from 0.005mm to 5mm"),
        ("wedge read photo.png --wedge wedge.toml --out out --grain 101", "from 0 to 100"),
        ("wedge read photo.png --wedge wedge.toml --out out --grain nan", "from 0 to 100"),
    ] {
        refused(&line.split(' ').collect::<Vec<_>>(), b.path(), 2, part);
    }
}

#[test]
fn the_day_of_a_reading_is_today_unless_it_is_given_and_must_be_a_day() {
    let b = bench();
    refused(
        &["wedge", "read", "ramp.png", "--wedge", "w.toml", "--out", "o", "--date", "2026-02-30"],
        b.path(),
        2,
        "--date",
    );
    // Without a day the command gets as far as the missing file.
    refused(&["wedge", "read", "ramp.png", "--wedge", "w.toml", "--out", "o"], b.path(), 1, "w.toml");
}

#[test]
fn standard_input_is_art_too() {
    let b = bench();
    let file = fs::File::open(b.path().join("ramp.png")).expect("there");
    let o = Command::new(env!("CARGO_BIN_EXE_dotwright"))
        .args(["prepare", "-", "--out", "out", "--json"])
        .current_dir(b.path())
        .stdin(file)
        .output()
        .expect("it starts");
    assert!(o.status.success(), "{}", text(&o.stderr));
    let report: serde_json::Value = serde_json::from_slice(&o.stdout).expect("JSON on standard output");
    assert_eq!(report["art"]["name"], "standard input");
}

#[test]
fn the_kit_is_listed_and_an_entry_can_be_made_ones_own() {
    let b = bench();
    let list = ok(&["kit", "list"], b.path());
    for part in ["diode-5w", "poster-paint", "bare-slate", "glass-coaster-90", "assumed"] {
        assert!(list.contains(part), "{part}");
    }
    let own = ok(&["kit", "show", "poster-paint"], b.path()).replace("poster paint", "my own paint");
    fs::write(b.path().join("mine.toml"), own.replace("standing = \"assumed\"", "standing = \"given\""))
        .expect("written");
    let out = ok(&["prepare", "disc.svg", "--out", "out", "--coating", "mine.toml"], b.path());
    assert!(out.contains("my own paint"), "{out}");
    refused(&["kit", "show", "slate"], b.path(), 1, "did you mean");
    // What a starter machine leaves out is there too, behind a #.
    let machine = ok(&["kit", "show", "diode-5w"], b.path());
    for part in ["\n#switch_ms = 0.1\n", "\n#pointer_power", "\n#[rotary]\n", "0 to 10. Left out: 0.1."] {
        assert!(machine.contains(part), "{part} is not in\n{machine}");
    }
}

#[test]
fn a_file_of_texts_that_cannot_be_used_is_refused() {
    let b = bench();
    let all: serde_json::Value = serde_json::from_str(&ok(&["texts"], b.path())).expect("JSON");
    assert_eq!(all["kit"]["zinc-spray.dry"], "Let it dry for an hour.");
    let cases: [(&str, &[u8], &str); 5] = [
        ("not.json", b"[]", "is no file of texts"),
        ("key.json", br#"{"page": {"cloze": "Zu"}}"#, "page.cloze"),
        ("value.json", br#"{"kit": {"zinc-spray.dry": "{hours} h"}}"#, "{hours}"),
        ("language.json", br#"{"page": {"lang": "de_DE"}}"#, "names no language"),
        ("latin.json", b"{\"page\": {\"close\": \"Schlie\xdfen\"}}", "save it as UTF-8"),
    ];
    for (name, content, says) in cases {
        fs::write(b.path().join(name), content).expect("written");
        refused(&["desk", "--no-open", "--home", "home", "--texts", name], b.path(), 1, says);
    }
    refused(&["desk", "--no-open", "--home", "home", "--texts", "none.json"], b.path(), 1, "no such file");
}

#[test]
fn completions_and_manual_pages_come_from_the_same_definitions() {
    let b = bench();
    assert!(ok(&["completions", "bash"], b.path()).contains("--blank"));
    fs::create_dir(b.path().join("man")).expect("made");
    ok(&["man", "man"], b.path());
    let page = fs::read_to_string(b.path().join("man/dotwright-prepare.1")).expect("the page");
    assert!(page.contains("density") && page.contains("290.3dpi"));
}

#[test]
fn a_program_marks_exactly_its_dots_and_stops_are_kept_from_it() {
    let b = bench();
    ok(&["prepare", "disc.svg", "--out", "one", "--blank", "round:40mm"], b.path());
    let out = ok(&["replay", "one/program.nc", "--against", "one/dots.png", "--out", "path"], b.path());
    assert!(out.contains("the dots are the same"), "{out}");
    assert!(b.path().join("path/path.png").is_file() && b.path().join("one/outline.nc").is_file());
    // Doubled density at the trade's setting over-burns (common practice): no program, exit code 3.
    let line = "prepare disc.svg --out two --blank round:16mm --density 608dpi --power 90% --speed 12.5mm/s";
    let o = dotwright(&line.split(' ').collect::<Vec<_>>(), b.path());
    assert_eq!(o.status.code(), Some(3), "{}", text(&o.stderr));
    assert!(text(&o.stdout).contains("STOP over-burn") && text(&o.stdout).contains("(checked)"));
    assert!(b.path().join("two/proof.png").is_file() && !b.path().join("two/program.nc").exists());
    let line = format!("{} --accept over-burn --replace", line);
    ok(&line.split(' ').collect::<Vec<_>>(), b.path());
    assert!(b.path().join("two/program.nc").is_file());
}

#[test]
fn a_job_is_run_again_with_another_name() {
    let b = bench();
    let name = "text = 'Anna', place = '16x5mm', anchor = 'bottom'";
    let first = ["prepare", "--border", "0.6mm", "--layer", name, "--blank", "rect:30x20mm", "--out", "one"];
    ok(&first, b.path());
    ok(&["prepare", "--job", "one/job.toml", "--text", "Tom Hill", "--out", "two"], b.path());
    let job = |folder: &str| fs::read_to_string(b.path().join(folder).join("job.toml")).expect("there");
    assert_eq!(job("two"), job("one").replace("text = \"Anna\"", "text = \"Tom Hill\""));
    // A job file where the picture is asked for, as `tray` takes one.
    let o = dotwright(&["prepare", "one/job.toml", "--out", "three"], b.path());
    assert!(o.status.code() == Some(1) && !b.path().join("three").exists());
    assert!(
        text(&o.stderr).contains("is a job file, not a picture; run it again with --job"),
        "{}",
        text(&o.stderr)
    );
}

#[test]
fn a_program_for_more_power_than_the_machine_has_is_a_stop() {
    let b = bench();
    ok(&["prepare", "disc.svg", "--out", "one", "--blank", "round:20mm"], b.path());
    let kit = ok(&["kit", "show", "diode-5w"], b.path());
    let own = kit.replace("full_scale_s = 1000", "full_scale_s = 255");
    fs::write(b.path().join("own.toml"), own).expect("written");
    let o = dotwright(&["replay", "one/program.nc", "--machine", "own.toml"], b.path());
    assert_eq!(o.status.code(), Some(3), "{}", text(&o.stderr));
    let said = text(&o.stdout);
    assert!(said.contains("STOP over-full-power") && said.contains("up to S 900"), "{said}");
    // The other way round all would be marked too weakly.
    ok(
        &"prepare disc.svg --out two --blank round:20mm --machine own.toml".split(' ').collect::<Vec<_>>(),
        b.path(),
    );
    let o = dotwright(&["replay", "two/program.nc"], b.path());
    assert_eq!(o.status.code(), Some(3), "{}", text(&o.stderr));
    let said = text(&o.stdout);
    assert!(
        said.contains("STOP other-full-power") && said.contains("burns at 0.255 times the power"),
        "{said}"
    );
}

#[test]
fn lines_along_y_mark_the_dots_just_as_well() {
    let b = bench();
    ok(&["prepare", "disc.svg", "--out", "one", "--blank", "round:40mm", "--axis", "y"], b.path());
    let out = ok(&["replay", "one/program.nc", "--against", "one/dots.png"], b.path());
    assert!(out.contains("the dots are the same") && !out.contains("STOP"), "{out}");
    let outline = ok(&["replay", "one/outline.nc"], b.path());
    assert!(!outline.contains("STOP"), "{outline}");
    let program = fs::read_to_string(b.path().join("one/program.nc")).expect("there");
    let upright = program.lines().filter(|l| l.starts_with('Y')).count();
    assert!(upright > 500 && !program.lines().any(|l| l.starts_with('X')), "{upright}");
    ok(&["prepare", "--job", "one/job.toml", "--out", "two"], b.path());
    let read = |folder: &str| fs::read(b.path().join(folder).join("program.nc")).expect("there");
    assert!(read("one") == read("two"));
}

/// A machine file of the kit with something else in it.
fn machine(folder: &Path, from: &str, to: &str) -> String {
    let own = ok(&["kit", "show", "diode-5w"], folder);
    assert!(own.contains(from), "{own}");
    fs::write(folder.join("own.toml"), own.replacen(from, to, 1)).expect("written");
    "own.toml".into()
}

#[test]
fn a_program_that_would_burn_or_leave_the_bed_is_never_written() {
    let b = bench();
    for header in ["M3S1000", "G0X100Y100", "M2"] {
        for key in ["header", "footer"] {
            let own = machine(b.path(), "[program]", &format!("[program]\n{key} = ['{header}']"));
            let said = format!("{key} line '{header}'");
            refused(&["prepare", "disc.svg", "--out", "out", "--machine", &own], b.path(), 1, &said);
            refused(&["wedge", "draw", "--out", "out", "--machine", &own], b.path(), 1, &said);
        }
    }
    // The blank hangs over the bed's edge; the art does not.
    let own = machine(b.path(), "[motion]", "[motion]\nblank_on_bed = '315x0mm'");
    let line = ["prepare", "disc.svg", "--place", "20x20mm", "--out", "out", "--machine", &own];
    let o = dotwright(&line, b.path());
    assert_eq!(o.status.code(), Some(3), "{}", text(&o.stderr));
    assert!(text(&o.stdout).contains("STOP off-bed: The outline leaves the bed"), "{}", text(&o.stdout));
    assert!(!b.path().join("out/program.nc").exists() && !b.path().join("out/outline.nc").exists());
    refused(&["wedge", "draw", "--out", "wedge", "--machine", &own], b.path(), 1, "would leave the bed");
    // Where lines hang over too, what is accepted is how far the blank does, which is further.
    let own = machine(b.path(), "[motion]", "[motion]\nblank_on_bed = '330x100mm'");
    let line = ["prepare", "disc.svg", "--place", "60x60mm", "--out", "over", "--machine", &own];
    ok(&[&line[..], &["--accept", "off-bed"]].concat(), b.path());
    let job = fs::read_to_string(b.path().join("over/job.toml")).expect("job.toml");
    let o = dotwright(&["replay", "over/outline.nc", "--machine", &own], b.path());
    let off = text(&o.stdout);
    assert!(job.contains("figure = \"30 mm\"") && off.contains("leaves the bed by 30 mm"), "{job}\n{off}");
    // A tray whose lines leave the bed where its pieces, each in the middle, do not.
    machine(b.path(), "400x400mm", "100x100mm");
    let edge = "blank = 'rect:48x15mm'\ncopies = '2'\ntray.grid = '2x1'\ntray.gap = '1mm'\npiece.machine = 'own.toml'\n\
                piece.scan.axis = 'x'\npiece.scan.run_up = '8mm'\n[[piece.layer]]\nborder = '1mm'\n";
    fs::write(b.path().join("edge.toml"), edge).expect("written");
    refused(&["tray", "edge.toml", "--out", "edge"], b.path(), 1, "or say --accept off-bed");
    ok(&["tray", "edge.toml", "--accept", "off-bed", "--out", "edge"], b.path());
    let o = dotwright(&["replay", "edge/program-1.nc", "--machine", "own.toml"], b.path());
    assert!(text(&o.stdout).contains("The path leaves the bed by"), "{}", text(&o.stdout));
    // One step of power for all.
    let own = machine(b.path(), "full_scale_s = 1000", "full_scale_s = 1");
    refused(&["wedge", "draw", "--out", "wedge", "--machine", &own], b.path(), 1, "too few steps");
    let line = ["prepare", "disc.svg", "--out", "coarse", "--machine", &own];
    let o = dotwright(&line, b.path());
    assert!(
        o.status.code() == Some(3) && text(&o.stdout).contains("STOP coarse-power"),
        "{}",
        text(&o.stdout)
    );
}

#[test]
fn a_trim_that_is_cut_is_told_of_and_the_bound_is_that_of_what_is_left() {
    let b = bench();
    let line = "prepare disc.svg --blank round:20mm --screen bayer --trim 1mm --out one";
    let out = ok(&line.split(' ').collect::<Vec<_>>(), b.path());
    let said = "Runs are shortened by 0.035 mm at either end, not by the 1mm of --trim";
    assert!(out.lines().any(|l| l.starts_with(said)), "{out}");
    let report = fs::read_to_string(b.path().join("one/report.json")).expect("there");
    let report: serde_json::Value = serde_json::from_str(&report).expect("JSON");
    let time = |name: &str| report["times"][name].as_f64().expect("a time");
    // Marks all have the marking speed, so they take what the bound says.
    assert!((time("bound_s") - time("beam_on_s")).abs() < 1e-6 * time("bound_s"), "{}", report["times"]);
}

#[test]
fn tones_by_power_make_a_program_too() {
    let b = bench();
    let line = "prepare ramp.png --out one --blank rect:30x25mm --tone-by power";
    ok(&line.split(' ').collect::<Vec<_>>(), b.path());
    let out = ok(&["replay", "one/program.nc", "--against", "one/dots.png"], b.path());
    assert!(out.contains("the dots are the same"), "{out}");
    let program = fs::read_to_string(b.path().join("one/program.nc")).expect("there");
    let powers: std::collections::BTreeSet<&str> =
        program.lines().filter_map(|l| l.split('S').nth(1)).filter(|s| s.parse::<u32>().is_ok()).collect();
    assert!(powers.len() > 50, "only {} powers", powers.len());
    // What only dots have a use for is refused.
    for option in ["--time 70%", "--known 2%", "--effort 1", "--dot-gain off"] {
        let line = line.replace("--out one", "--out two") + " " + option;
        let args: Vec<&str> = line.split(' ').collect();
        refused(&args, b.path(), 1, "does nothing with tones by power");
        assert!(!b.path().join("two").exists(), "{option}");
    }
}

#[test]
fn lines_along_y_are_spared_as_well_as_lines_along_x() {
    let b = bench();
    let seconds = |axis: &str, time: &str| {
        let out = format!("{axis}-{time}");
        let asked = ["--out", &out, "--axis", axis, "--time", time, "--blank", "rect:30x30mm"];
        ok(&[&["prepare", "ramp.png"], &asked[..]].concat(), b.path());
        let found =
            ok(&["replay", &format!("{out}/program.nc"), "--against", &format!("{out}/dots.png")], b.path());
        assert!(found.contains("the dots are the same"), "{found}");
        let report = fs::read_to_string(b.path().join(&out).join("report.json")).expect("there");
        let report: serde_json::Value = serde_json::from_str(&report).expect("JSON");
        assert_eq!(report["dots"]["pitch_along_mm"], 0.04375, "{axis}");
        report["times"]["total_s"].as_f64().expect("a time")
    };
    for axis in ["x", "y"] {
        let (all, some) = (seconds(axis, "100%"), seconds(axis, "85%"));
        assert!(some < 0.86 * all, "{axis}: {some} s of {all} s");
    }
}

#[test]
fn any_one_bit_picture_can_be_judged_and_others_say_what_to_do() {
    let b = bench();
    let p = b.path();
    ok(&["prepare", "disc.svg", "--out", "one", "--blank", "round:40mm"], p);
    let out = ok(&["proof", "one/dots.png", "--blank", "round:40mm", "--out", "two", "--loupe", "20,20"], p);
    assert!(out.contains("look at proof.png") && p.join("two/loupe.png").is_file(), "{out}");
    // The lines' density, with the dots as much closer along them as the file says.
    let line = ["proof", "one/dots.png", "--blank", "round:40mm", "--density", "290.3dpi", "--out", "dense"];
    let out = ok(&line, p);
    assert!(out.contains("will be 34.91 x 34.91 mm on") && !out.contains("past-margin"), "{out}");
    // On a smaller blank only what is within its margin is judged; the disc is 10 mm too wide on each side.
    let out = ok(&["proof", "one/dots.png", "--blank", "round:20mm", "--out", "small"], p);
    assert!(out.contains("will be 14.96 x 14.96 mm (34.91 x 34.91 mm as a whole) on round:20mm"), "{out}");
    assert!(out.contains("reaches 10 mm past the margin") || out.contains("reaches 9.9"), "{out}");
    refused(&["proof", "ramp.png", "--density", "304dpi", "--out", "three"], p, 1, "1-bit");
    let far = ["proof", "one/dots.png", "--blank", "round:40mm", "--out", "three", "--loupe", "90,90"];
    refused(&far, p, 1, "outside the marked area");
    for (name, text, part) in [
        ("beam.toml", "beam_along = { value = \"0mm\" }\n", "line 1"),
        ("flat.toml", "wedge = \"w\"\nx_half = { value = \"never\" }\n", "line 2: x_half"),
        ("dim.toml", "marked = { value = 3 }\n", "marked is 3"),
    ] {
        fs::write(p.join(name), text).expect("written");
        refused(&["proof", "one/dots.png", "--out", "three", "--process", name], p, 1, part);
    }
}

#[test]
fn candidates_are_compared_and_pitches_advised() {
    let b = bench();
    let line = "compare ramp.png --blank rect:30x25mm --screens bayer,floyd-steinberg --densities 290.29dpi,363dpi --out odd";
    let out = ok(&line.split(' ').collect::<Vec<_>>(), b.path());
    assert!(
        out.contains("Recommended: floyd-steinberg at 290.3 dpi") && out.contains("  step-beat"),
        "{out}"
    );
    let line = "compare ramp.png --blank rect:30x25mm --screens bayer,floyd-steinberg --densities 254dpi,290dpi --out sheet";
    let out = ok(&line.split(' ').collect::<Vec<_>>(), b.path());
    assert!(out.contains("Recommended: floyd-steinberg"), "{out}");
    let json: serde_json::Value =
        serde_json::from_slice(&fs::read(b.path().join("sheet/comparison.json")).expect("there"))
            .expect("JSON");
    assert_eq!(json["candidates"].as_array().map(Vec::len), Some(4));
    refused(&["compare", "ramp.png", "--screens", "bayr", "--out", "x"], b.path(), 1, "did you mean bayer?");
    // A drawing has nothing to spare.
    let times = ["compare", "disc.svg", "--blank", "round:12mm", "--times", "--out", "x"];
    refused(&times, b.path(), 1, "no line can be spared here: the burn takes");
    let out = ok(&["advise", "--machine", "diode-10w", "--coating", "zinc-spray"], b.path());
    assert!(out.contains("=>") && out.contains("Never measured here"), "{out}");
}

#[test]
fn an_acceptance_is_for_its_art_and_its_figure() {
    let b = bench();
    let p = b.path();
    let run = |line: &str| {
        let o = dotwright(&line.split(' ').collect::<Vec<_>>(), p);
        (o.status.code(), text(&o.stderr))
    };
    let stops = |line: &str, part: &str| {
        let (code, err) = run(line);
        assert_eq!(code, Some(3), "{line}\n{err}");
        assert!(
            err.contains(part) && err.contains("--accept over-burn"),
            "{line}: '{part}' is not in\n{err}"
        );
    };
    let hot = "--blank round:16mm --density 608dpi --power 90% --speed 12.5mm/s";
    let (code, err) = run(&format!("prepare disc.svg --out one {hot} --accept over-burn"));
    assert_eq!(code, Some(0), "{err}");
    let job = fs::read_to_string(p.join("one/job.toml")).expect("there");
    assert!(job.contains("[[scan.accept]]\nname = \"over-burn\"\nart_crc32 = "), "{job}");

    // The same art under the same job: accepted as before, and the same bytes.
    let again = ok(&["prepare", "--job", "one/job.toml", "--out", "two"], p);
    assert!(again.contains("\nSTOP over-burn (accepted): "), "{again}");
    for name in listing(&p.join("one")) {
        let name = name.file_name().expect("a name").to_owned();
        let [one, two] = ["one", "two"].map(|d| fs::read(p.join(d).join(&name)).expect("both"));
        assert!(one == two, "{name:?} differs");
    }

    // Other art, a worse figure, and a plain name as older files have it: nobody has looked at those.
    let square =
        r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><rect width="9" height="9"/></svg>"#;
    fs::write(p.join("square.svg"), square).expect("written");
    stops("prepare square.svg --job one/job.toml --out three", "for other art than this");
    assert!(!p.join("three/program.nc").exists());
    let report = fs::read_to_string(p.join("three/report.json")).expect("there");
    assert!(report.contains("for other art than this"), "the report says so too");
    stops("prepare --job one/job.toml --out four --margin 1mm", "no longer holds");
    let start = job.find("[[scan.accept]]").expect("there");
    let end = start + job[start..].find("\n\n").expect("more follows");
    let plain =
        format!("{}{}", &job[..start], &job[end..]).replace("[scan]\n", "[scan]\naccept = [\"over-burn\"]\n");
    fs::write(p.join("plain.toml"), plain.replace("../disc.svg", "disc.svg")).expect("written");
    stops("prepare --job plain.toml --out five", "without saying for which art");
    let (code, err) = run("prepare --job plain.toml --out six --accept over-burn");
    assert_eq!(code, Some(0), "{err}");

    let line = "prepare disc.svg --out seven --accept overburn";
    refused(&line.split(' ').collect::<Vec<_>>(), p, 1, "did you mean over-burn?");
    let typo = job.replace("name = \"over-burn\"", "name = \"over-bun\"").replace("../disc.svg", "disc.svg");
    fs::write(p.join("typo.toml"), typo).expect("written");
    refused(&["prepare", "--job", "typo.toml", "--out", "seven"], p, 1, "did you mean over-burn?");
}

#[test]
fn what_is_cut_missing_or_faint_is_found_and_only_that() {
    let b = bench();
    let p = b.path();
    let found = |art: &str, more: &str| -> Vec<String> {
        let line = format!("prepare {art} --out out --replace --json {more}");
        let o = dotwright(&line.split_whitespace().collect::<Vec<_>>(), p);
        let json: serde_json::Value = serde_json::from_slice(&o.stdout).expect("a report");
        let all = json["findings"].as_array().expect("findings");
        all.iter().map(|f| f["name"].as_str().expect("a name").to_string()).collect()
    };
    let has = |found: &[String], name: &str| found.iter().any(|f| f == name);
    let svg = |name: &str, inside: &str| {
        let text = format!("<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 560 260'>{inside}</svg>");
        fs::write(p.join(name), text).expect("written");
    };
    let text = |t: &str| format!("<text x='280' y='160' font-size='90' text-anchor='middle'>{t}</text>");
    svg("long.svg", &text("Bartholomew Featherstone"));
    svg("glyphs.svg", &text("Anna 李伟"));
    svg("name.svg", &text("Ingrid Sørli"));
    svg("wide.svg", "<path d='M0 0H560V260H0Z M40 40V220H520V40Z'/>");
    svg(
        "speck.svg",
        "<rect width='560' height='260' fill='#fff'/><rect x='280' y='130' width='1' height='1'/>",
    );
    let tag = "--blank rect:60x30mm";
    let plain = found("name.svg", tag);
    for name in ["cut", "missing-glyph", "faint"] {
        assert!(!has(&plain, name), "{plain:?}");
    }
    assert!(has(&found("long.svg", tag), "cut"));
    let glyphs = found("glyphs.svg", tag);
    assert!(has(&glyphs, "missing-glyph") && !has(&glyphs, "cut"), "{glyphs:?}");
    // A font that has them is named: by its file, or by the folder that holds it.
    fs::create_dir(p.join("fonts")).expect("made");
    let font = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/art/blocks.ttf");
    fs::copy(font, p.join("fonts/blocks.ttf")).expect("copied");
    for place in ["fonts", "fonts/blocks.ttf"] {
        let with = found("glyphs.svg", &format!("{tag} --fonts {place}"));
        assert!(!has(&with, "missing-glyph"), "{with:?}");
    }
    // A frame round the edge is cut where the blank is filled, and not where the frame lies inside.
    assert!(has(&found("wide.svg", "--blank round:40mm --place cover"), "cut"));
    assert!(!has(&found("wide.svg", "--blank round:40mm"), "cut"));
    assert!(has(&found("speck.svg", tag), "faint"));
}

#[test]
fn a_tone_wedge_of_the_searching_screen_is_followed_unless_told_not_to() {
    let b = bench();
    let process = "machine = 'diode-5w'\ncoating = 'poster-paint'\n[[tone_curve]]\nscreen = 'auto'\n\
                   coverage = [0.0, 0.3, 0.6, 1.0]\nmark = [0.0, 0.4, 0.7, 1.0]\n";
    fs::write(b.path().join("toned.toml"), process).expect("written");
    let line =
        ["prepare", "ramp.png", "--blank", "round:12mm", "--quiet", "--process", "toned.toml", "--out"];
    ok(&[&line[..], &["followed"]].concat(), b.path());
    ok(&[&line[..], &["not", "--dot-gain", "off"]].concat(), b.path());
    let dots = |out: &str| fs::read(b.path().join(out).join("dots.png")).expect("there");
    assert_ne!(dots("followed"), dots("not"));
    // A curve of a file is of no use to it, wedge or no wedge.
    fs::write(b.path().join("curve.toml"), "coverage = [0.0, 0.5, 1.0]\nmark = [0.0, 0.5, 1.0]\n")
        .expect("written");
    refused(
        &[&line[..], &["no", "--dot-gain", "curve.toml"]].concat(),
        b.path(),
        1,
        "--dot-gain does nothing",
    );
}

/// Takes each remedy of a job that is a power, a speed or a pitch, and holds what it claims against what then is found: how
/// many there were. `asked` are the options of the job that such a remedy takes the place of.
fn remedies_held_to_their_word(job: &[&str], asked: &[(&str, &str)]) -> usize {
    let b = bench();
    let line = |more: &[(&str, &str)]| -> serde_json::Value {
        let more = more.iter().flat_map(|(option, value)| [*option, *value]);
        let fixed = ["--out", "out", "--replace", "--json"];
        let all: Vec<&str> = ["prepare"].iter().chain(job).chain(&fixed).copied().chain(more).collect();
        serde_json::from_slice(&dotwright(&all, b.path()).stdout).expect("a report")
    };
    // The names of what a person must look at, and whether it is a stop.
    let serious = |report: &serde_json::Value| -> Vec<(String, bool)> {
        let all = report["findings"].as_array().expect("findings");
        let serious = all.iter().filter(|f| f["severity"] != "note");
        serious.map(|f| (f["name"].as_str().expect("a name").into(), f["severity"] == "stop")).collect()
    };
    let before = line(asked);
    let named = serious(&before);
    assert!(named.iter().any(|(name, _)| name == "over-burn"), "{named:?}");
    let mut tried = 0;
    for finding in before["findings"].as_array().expect("findings") {
        for remedy in finding["remedies"].as_array().expect("remedies") {
            let value = &remedy["value"];
            let (option, value) = match remedy["change"].as_str().expect("a change") {
                "power" => ("--power", format!("{value}%")),
                "speed" => ("--speed", format!("{value}mm/s")),
                "pitch" => ("--pitch", format!("{value}mm")),
                _ => continue,
            };
            let replaced = |other: &str| other == option || (other, option) == ("--density", "--pitch");
            let kept = asked.iter().copied().filter(|(other, _)| !replaced(other));
            let after = serious(&line(&kept.chain([(option, value.as_str())]).collect::<Vec<_>>()));
            let name = finding["name"].as_str().expect("a name");
            // Nothing is new, and no caution is a stop now.
            let no_worse = |(name, stop): &(String, bool)| named.iter().any(|(n, s)| n == name && s >= stop);
            let clean = after.iter().all(no_worse) && after.iter().all(|(n, _)| n != name);
            assert_eq!(remedy["verified"], clean, "{name} {remedy}: {after:?}");
            tried += 1;
        }
    }
    tried
}

#[test]
fn a_remedy_that_brings_another_fault_is_not_called_checked() {
    // Steps of 1/80 mm: twice the density chars and crowds the lines.
    let disc = ["disc.svg", "--blank", "round:16mm"];
    let tried = remedies_held_to_their_word(&disc, &[("--density", "608dpi"), ("--speed", "12.5mm/s")]);
    assert!(tried >= 4, "{tried}");
    // A few specks char; at the wider of the two pitches without a beat they are so many that it is a stop.
    let photo = concat!(env!("CARGO_MANIFEST_DIR"), "/samples/harbour.jpg");
    let photo = [photo, "--blank", "rect:30x30mm", "--screen", "floyd-steinberg"];
    let asked = [("--power", "80%"), ("--speed", "7mm/s"), ("--pitch", "0.09mm")];
    let tried = remedies_held_to_their_word(&photo, &asked);
    assert!(tried >= 4, "{tried}");
}
