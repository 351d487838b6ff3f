//! Random jobs: what is written is what replay and a reader written apart find in it.

use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestError, TestRng, TestRunner};
use serde_json::Value;

use crate::chance;
use crate::reader::{self, Ground, Move};
use crate::run::{Ended, bounded, fault, listing, words};

/// Jobs tried where nobody asks for more, in two halves side by side.
const USUAL: usize = 200;

/// A machine of any kind.
#[derive(Debug, Clone)]
struct Machine {
    bed: (u32, u32),
    acceleration: u32,
    rapid: u32,
    settle: f64,
    lag: f64,
    zero: (i32, i32),
    flips: (bool, bool),
    on_bed: Option<(u32, u32)>,
    full: u32,
    scaled: bool,
    moving: bool,
    header: Vec<String>,
    footer: Vec<String>,
    pointer: bool,
    link: u32,
    ahead: u32,
}

impl Machine {
    fn file(&self) -> String {
        let list = |l: &[String]| l.iter().map(|t| format!("'{t}'")).collect::<Vec<_>>().join(", ");
        let on_bed = self.on_bed.map_or(String::new(), |(x, y)| format!("blank_on_bed = '{x}x{y}mm'\n"));
        let pointer = if self.pointer { "pointer_power = '1%'\n" } else { "" };
        format!(
            "name = 'bench'\n[laser]\npower = '5W'\nwavelength_nm = 450\nbeam_along = '0.12mm'\nbeam_across = '0.1mm'\n\
             [motion]\nbed = '{}x{}mm'\nsteps_per_mm_x = 80\nsteps_per_mm_y = 100\nacceleration_mm_per_s2 = {}\n\
             top_speed = '100mm/s'\nrapid_speed = '{}mm/s'\nsettle = '{}mm'\nlag_ms = {:?}\nzero = '{}x{}mm'\n\
             x_to_the_left = {}\ny_downwards = {}\n{on_bed}[program]\nfull_scale_s = {}\npower_mode = '{}'\n\
             s_inside_moves = {}\nlink_bytes_per_s = {}\nplans_ahead = {}\nheader = [{}]\nfooter = [{}]\n{pointer}",
            self.bed.0,
            self.bed.1,
            self.acceleration,
            self.rapid,
            self.settle,
            self.lag,
            self.zero.0,
            self.zero.1,
            self.flips.0,
            self.flips.1,
            self.full,
            if self.scaled { "speed-scaled" } else { "constant" },
            self.moving,
            self.link,
            self.ahead,
            list(&self.header),
            list(&self.footer),
        )
    }
}

fn machine() -> impl Strategy<Value = Machine> {
    let modes = || {
        let line = prop::sample::select(vec!["G54", "G64", "G40 G49", "M8", "M9", "G4 P0.2"]);
        prop::collection::vec(line.prop_map(String::from), 0..3)
    };
    let place = prop_oneof![Just((0, 0)), (-3i32..20, -3i32..20)];
    let motion = (
        (60u32..200, 60u32..200),
        prop::sample::select(vec![150u32, 500, 2000, 20_000]),
        prop::sample::select(vec![30u32, 100, 400]),
        prop::sample::select(vec![0.0, 0.5, 1.3]),
        prop::sample::select(vec![0.0, 0.0, 0.4, -0.7, 2.5]),
        place,
        any::<(bool, bool)>(),
        prop::option::of((5u32..60, 5u32..60)),
    );
    let program = (
        prop::sample::select(vec![255u32, 1000, 10_000]),
        any::<bool>(),
        prop::bool::weighted(0.8),
        modes(),
        modes(),
        any::<bool>(),
        prop::sample::select(vec![0u32, 11_520, 100_000]),
        prop::sample::select(vec![0u32, 1, 4, 15, 64]),
    );
    (motion, program).prop_map(|(m, p)| Machine {
        bed: m.0,
        acceleration: m.1,
        rapid: m.2,
        settle: m.3,
        lag: m.4,
        zero: m.5,
        flips: m.6,
        on_bed: m.7,
        full: p.0,
        scaled: p.1,
        moving: p.2,
        header: p.3,
        footer: p.4,
        pointer: p.5,
        link: p.6,
        ahead: p.7,
    })
}

/// Pieces of a command line, most of them left out most of the time.
fn line() -> impl Strategy<Value = Vec<String>> {
    let some = |share: f64, options: &[&str]| {
        let options: Vec<String> = options.iter().map(|o| o.to_string()).collect();
        prop::option::weighted(share, prop::sample::select(options))
    };
    let size = (6u32..18, 6u32..18, 0u32..3).prop_map(|(w, h, kind)| match kind {
        0 => format!("--blank round:{w}mm"),
        1 => format!("--blank rect:{w}x{h}mm:r1mm"),
        _ => format!("--blank rect:{w}x{h}mm"),
    });
    let art = prop::sample::select(vec![
        "photo.jpg",
        "photo.jpg",
        "alpha.png",
        "disc.svg",
        "tag.svg",
        "bits.png",
        "palette.gif",
    ]);
    let first = (
        art.prop_map(String::from),
        size,
        prop::sample::select(vec!["--margin 0mm", "--margin 0.5mm", "--margin 1.7mm"]).prop_map(String::from),
        // Lines far wider apart than the beam take ten times as long to forecast: a fifth of the jobs will do.
        prop_oneof![4 => 50u32..140, 1 => 140u32..250]
            .prop_map(|p| format!("--pitch {}mm", f64::from(p) / 1000.0)),
        (5u32..60, 0u32..10).prop_map(|(v, tenth)| format!("--speed {v}.{tenth}mm/s")),
        (10u32..101).prop_map(|p| format!("--power {p}%")),
    );
    let more = (
        some(0.5, &["--place cover", "--place 5x5mm", "--place 8x3mm"]),
        some(0.4, &["--turn 90", "--turn 180", "--turn 270", "--mirror", "--crop 20%,10%,60%,80%"]),
        some(
            0.3,
            &[
                "--read-as photo",
                "--read-as drawing",
                "--levels auto",
                "--contrast 50%",
                "--sharpen 0.2mm",
                "--ceiling 60%",
                "--brighten 20",
            ],
        ),
        some(0.3, &["--pitch-across 0.11mm", "--pitch-across 0.2mm"]),
        some(
            0.7,
            &[
                "--screen threshold",
                "--screen bayer --matrix 4",
                "--screen clustered --angle 20",
                "--screen blue-noise --dot-gain off",
                "--screen ostromoukhov",
                "--screen zhou-fang",
                "--screen stucki --raster-order",
                "--screen model-diffusion",
                "--screen fitted --effort 1",
                "--screen auto --effort 1",
                "--tone-by power",
                "--screen jarvis-judice-ninke --as-published",
            ],
        ),
        some(0.4, &["--passes 2", "--passes 3"]),
        some(0.4, &["--direction one", "--direction both"]),
        some(0.2, &["--run-up 0mm", "--run-up 0.3mm", "--run-up 9mm"]),
        some(0.2, &["--trim 0.01mm", "--trim 0.02mm"]),
        some(0.3, &["--beam-on white", "--tiff", "--tiff packbits", "--bmp", "--tiff --bmp"]),
        some(0.7, &["--accept over-burn"]),
    );
    (first, more).prop_map(|(f, m)| {
        let optional = [m.0, m.1, m.2, m.3, m.4, m.5, m.6, m.7, m.8, m.9, m.10];
        let all = [f.0, f.1, f.2, f.3, f.4, f.5].into_iter().chain(optional.into_iter().flatten());
        all.flat_map(|piece| words(&piece)).collect()
    })
}

/// How many jobs ended with a program, with a stop, refused.
#[derive(Default)]
struct Counts {
    programs: Cell<u32>,
    stopped: Cell<u32>,
    refused: RefCell<BTreeMap<String, u32>>,
}

/// Runs a job and reads what it wrote.
fn one(place: &Path, machine: &Machine, line: &[String], counts: &Counts) -> Result<(), String> {
    let more = |cell: &Cell<u32>| cell.set(cell.get() + 1);
    fs::write(place.join("machine.toml"), machine.file()).map_err(|e| e.to_string())?;
    let _ = fs::remove_dir_all(place.join("out"));
    let before = listing(place);
    let mut args = words("prepare --machine machine.toml --out out --quiet --accept under-burn");
    // Many of these machines mark slowly what they mark: their programs are to be looked at all the same.
    args.extend(words("--accept edge-dwell --accept short-sighted"));
    args.extend_from_slice(line);
    let ended = bounded(&args, place, "");
    if let Some(wrong) = fault(&ended, &before, &listing(place)) {
        return Err(wrong);
    }
    let out = place.join("out");
    let has = |name: &str| out.join(name).is_file();
    match ended.code {
        Ok(0) if has("program.nc") && has("outline.nc") => more(&counts.programs),
        Ok(3) if !has("program.nc") && !has("outline.nc") && has("proof.png") => {
            more(&counts.stopped);
            return Ok(());
        }
        Ok(1) => {
            // What lies on the bed and burns nothing that it should not is written by ourselves: it has to be safe.
            if ended.err.contains("not safe to run") {
                return Err(ended.err);
            }
            // The sentence's words without its figures: the same refusal is counted together.
            let why: String = ended.err.chars().filter(|c| !c.is_ascii_digit()).take(120).collect();
            *counts.refused.borrow_mut().entry(why.trim().to_string()).or_insert(0) += 1;
            return Ok(());
        }
        _ => return Err(format!("{ended:?} with {:?}", listing(&out))),
    }
    let text = |name: &str| fs::read_to_string(out.join(name)).map_err(|e| format!("{name}: {e}"));
    let report: Value = serde_json::from_str(&text("report.json")?).map_err(|e| e.to_string())?;
    let job: Value = {
        let table: toml::Table = text("job.toml")?.parse().map_err(|e| format!("job.toml: {e}"))?;
        serde_json::to_value(table).map_err(|e| e.to_string())?
    };

    // The program's own reader finds no stop, in the program and in the outline.
    let white = if job["dots"]["beam_on"] == "white" { "--beam-on white" } else { "" };
    let replay = |rest: &str| bounded(&words(&format!("replay --machine machine.toml {rest}")), place, "");
    let clear = |e: Ended, what: &str| match e.code {
        Ok(0) => Ok(()),
        _ => Err(format!("replay of the {what}: {:?} {}{}", e.code, e.out, e.err)),
    };
    clear(replay(&format!("out/program.nc --against out/dots.png {white}")), "program")?;
    clear(replay("out/outline.nc"), "outline")?;

    // A reader written apart finds the dots of the picture, each as often as there are passes, and no power elsewhere.
    let known: Vec<String> = machine.header.iter().chain(&machine.footer).cloned().collect();
    let bare = |moves: Vec<Move>| -> Vec<Move> {
        let back = |v: [f64; 2]| {
            let flip = |v: f64, f: bool| if f { -v } else { v };
            [
                flip(v[0], machine.flips.0) + f64::from(machine.zero.0),
                flip(v[1], machine.flips.1) + f64::from(machine.zero.1),
            ]
        };
        moves.into_iter().map(|m| Move { from: back(m.from), to: back(m.to), ..m }).collect()
    };
    let program = bare(reader::moves(&text("program.nc")?, &known)?);
    let outline = bare(reader::moves(&text("outline.nc")?, &known)?);
    let number = |v: &Value| v.as_f64().ok_or(format!("{v} is no number"));
    let size = [number(&report["blank"]["width_mm"])?, number(&report["blank"]["height_mm"])?];
    on_the_bed(machine, size, program.iter().chain(&outline))?;

    let mm = |v: &Value| v.as_str().and_then(|t| t.strip_suffix("mm")?.parse::<f64>().ok());
    let place = &report["placement"];
    let dots = &report["dots"];
    let ground = Ground {
        left: number(&place["left_mm"])?,
        top: size[1] - number(&place["top_mm"])?,
        pitch: [number(&dots["pitch_along_mm"])?, number(&dots["pitch_across_mm"])?],
        count: [number(&dots["columns"])? as usize, number(&dots["rows"])? as usize],
        trim: mm(&job["scan"]["trim"]).unwrap_or(0.0),
        // A head that rests while the beam is switched is where it should be.
        lag: if machine.moving { machine.lag / 1000.0 } else { 0.0 },
        along: usize::from(job["scan"]["axis"] == "y"),
    };
    let burnt = reader::burnt(&program, &ground)?;
    let wanted = picture(&out.join("dots.png"), white.is_empty(), ground.count)?;
    let passes = number(&report["process"]["passes"]["value"])? as u32;
    if let Some(at) = (0..wanted.len()).find(|&i| burnt[i] != u32::from(wanted[i]) * passes) {
        let (x, y) = (at % ground.count[0], at / ground.count[0]);
        return Err(format!("dot {x}, {y} is {}, burnt {} times, passes {passes}", wanted[at], burnt[at]));
    }
    for name in ["dots.tiff", "dots.bmp"] {
        if has(name) && picture(&out.join(name), white.is_empty(), ground.count)? != wanted {
            return Err(format!("{name} holds other dots than dots.png"));
        }
    }
    powers(machine, &report, &job, &program)?;
    run_ups(machine, &report, &job, &program)?;
    let pointer = if machine.pointer { (0.01 * f64::from(machine.full)).round().max(1.0) } else { 0.0 };
    match outline.iter().find(|m| m.power > pointer) {
        Some(m) => Err(format!("the outline burns: {m:?}")),
        None => Ok(()),
    }
}

/// Every move lies on the bed; where the blank lies is as the machine says, else in the middle.
fn on_the_bed<'a>(m: &Machine, blank: [f64; 2], moves: impl Iterator<Item = &'a Move>) -> Result<(), String> {
    let bed = [f64::from(m.bed.0), f64::from(m.bed.1)];
    let corner = match m.on_bed {
        Some((x, y)) => [f64::from(x), f64::from(y)],
        None => [(bed[0] - blank[0]) / 2.0, (bed[1] - blank[1]) / 2.0],
    };
    for one in moves {
        for axis in 0..2 {
            let v = one.to[axis] + corner[axis];
            if v < -0.001 || v > bed[axis] + 0.001 {
                return Err(format!("off the bed: {one:?}, {v} of {}", bed[axis]));
            }
        }
    }
    Ok(())
}

/// Burns have the power and the speed that were settled; with tones by power, no more.
fn powers(m: &Machine, report: &Value, job: &Value, program: &[Move]) -> Result<(), String> {
    let value = |name: &str| report["process"][name]["value"].as_f64().ok_or(format!("no {name}"));
    let full = value("power_share")? * f64::from(m.full);
    let speed = value("speed_mm_per_s")?;
    let by_power = job["scan"]["tone_by"] == "power";
    for one in program.iter().filter(|one| one.power > 0.0) {
        let fits = if by_power { one.power <= full + 0.5 } else { (one.power - full).abs() <= 0.5 };
        if !fits && one.power > 1.0 || (one.feed - speed).abs() > 0.01 {
            return Err(format!("{one:?}: S {full} and {speed} mm/s were settled"));
        }
    }
    Ok(())
}

/// The head has the way that it needs to speed up and to brake, beam off, before and after the burns of a line.
fn run_ups(m: &Machine, report: &Value, job: &Value, program: &[Move]) -> Result<(), String> {
    if !m.moving || job["scan"].get("run_up").is_some() {
        return Ok(());
    }
    let speed = report["process"]["speed_mm_per_s"]["value"].as_f64().ok_or("no speed")?;
    let needed = speed * speed / (2.0 * f64::from(m.acceleration)) - 0.003;
    let together = |a: &Move, b: &Move| {
        let (p, q) = (a.way(), b.way());
        !a.rapid && !b.rapid && p[0] * q[0] + p[1] * q[1] > 0.999_999
    };
    for chain in program.chunk_by(together) {
        let dark = |moves: &mut dyn Iterator<Item = &Move>| -> f64 {
            moves.take_while(|one| one.power == 0.0).map(Move::length).sum()
        };
        let burns = chain.iter().any(|one| one.power > 0.0);
        let (lead, tail) = (dark(&mut chain.iter()), dark(&mut chain.iter().rev()));
        if burns && (lead < needed || tail < needed) {
            let line = chain[0].line;
            return Err(format!(
                "line {line}: {lead} mm before and {tail} mm after the burns, {needed} needed"
            ));
        }
    }
    Ok(())
}

/// The dots of a picture file, row by row.
fn picture(path: &Path, black: bool, count: [usize; 2]) -> Result<Vec<bool>, String> {
    let bytes = fs::read(path).map_err(|e| e.to_string())?;
    let luma = image::load_from_memory(&bytes).map_err(|e| format!("{}: {e}", path.display()))?.to_luma8();
    if [luma.width() as usize, luma.height() as usize] != count {
        return Err(format!("{} has {:?} dots, not {count:?}", path.display(), luma.dimensions()));
    }
    Ok(luma.pixels().map(|p| (p[0] < 128) == black).collect())
}

fn bench() -> tempfile::TempDir {
    let place = tempfile::tempdir().expect("a folder");
    let package = Path::new(env!("CARGO_MANIFEST_DIR"));
    for (from, to) in [
        ("tests/data/art/whole.jpg", "photo.jpg"),
        ("tests/data/art/alpha.png", "alpha.png"),
        ("tests/data/art/bits.png", "bits.png"),
        ("tests/data/art/palette.gif", "palette.gif"),
        ("samples/name-tag.svg", "tag.svg"),
    ] {
        fs::copy(package.join(from), place.path().join(to)).expect("copied");
    }
    let disc = r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 30"><circle cx="20" cy="15" r="12"/></svg>"#;
    fs::write(place.path().join("disc.svg"), disc).expect("written");
    place
}

fn random_jobs(half: u8) {
    let (rounds, start) = chance::rounds(USUAL);
    let config = Config {
        cases: (rounds / 2) as u32,
        failure_persistence: None,
        max_shrink_iters: 300,
        ..Config::default()
    };
    let mut seed = [half; 32];
    seed[..8].copy_from_slice(&start.to_le_bytes());
    let mut runner = TestRunner::new_with_rng(config, TestRng::from_seed(RngAlgorithm::ChaCha, &seed));
    let (place, counts) = (bench(), Counts::default());
    let done = runner.run(&(machine(), line()), |(machine, line)| {
        one(place.path(), &machine, &line, &counts).map_err(TestCaseError::fail)
    });
    let (programs, stopped) = (counts.programs.get(), counts.stopped.get());
    for (why, times) in counts.refused.borrow().iter() {
        println!("refused {times} times: {why}");
    }
    let refused: u32 = counts.refused.borrow().values().sum();
    println!("{programs} programs read back, {stopped} stopped, {refused} refused; chance began at {start}");
    match done {
        Ok(()) => assert!(programs > stopped + refused, "too few jobs come to a program to try anything"),
        Err(TestError::Fail(why, (machine, line))) => {
            panic!("{why}\n'{}' with this machine:\n{}", line.join(" "), machine.file())
        }
        Err(TestError::Abort(why)) => panic!("{why}"),
    }
}

#[test]
fn random_jobs_are_read_back_one_half() {
    random_jobs(1);
}

#[test]
fn random_jobs_are_read_back_the_other_half() {
    random_jobs(2);
}
