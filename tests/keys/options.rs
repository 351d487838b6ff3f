//! The options of the command line.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::{LazyLock, Mutex};

use crate::files::wrong;
use crate::world::{self, Made};

/// An option, the line it is added to, and where it is seen.
struct Opt {
    /// Command and option: `prepare --blank`.
    of: &'static str,
    /// The line without it, after the command.
    line: &'static str,
    /// What is added.
    add: &'static str,
    /// The side of what is made that must change (see `Made::side`).
    seen: &'static str,
}

const fn opt(of: &'static str, line: &'static str, add: &'static str, seen: &'static str) -> Opt {
    Opt { of, line, add, seen }
}

/// A photo with the screen that is chosen where none is named, and with one that is made in half the time.
const AUTO: &str = "whole.jpg --blank rect:12x9mm --margin 1mm --out out";
const ART: &str = "whole.jpg --blank rect:12x9mm --margin 1mm --screen floyd-steinberg --out out";
const EMBLEM: &str = "emblem.svg --blank rect:12x9mm --out out";
const HOT: &str = "whole.jpg --blank rect:12x9mm --margin 1mm --screen bayer --speed 4mm/s --out out";
const PLACED: &str = "whole.jpg --blank rect:12x9mm --margin 1mm --screen bayer --place 4x3mm --out out";
const COMPARE: &str = "whole.jpg --blank rect:12x9mm --margin 1mm --screens bayer,floyd-steinberg --out out";
const COMPARED: &str =
    "whole.jpg --blank rect:12x9mm --margin 1mm --place 4x3mm --screens bayer,floyd-steinberg --out out";
const ORDER: &str = "order.toml --out out";
const PROOF: &str = "dots.png --blank rect:12x9mm --margin 1mm --out out";
const TONE: &str = "--kind tone --blank rect:45x45mm --coverages 4 --screens bayer --out out";
const DRAW: &str = "--blank rect:50x50mm --steps 3x3 --out out";
const READ: &str = "wedge.png --wedge wedge.toml --date 2026-01-02 --out out";
const GRID: &str = "wedge.png --grid 3x3 --powers 100..40% --speeds 6..30mm/s --size 14.5x16.1mm \
                    --corners 263,215 595,215 595,583 263,583 --date 2026-01-02 --out out";

const OPTIONS: &[Opt] = &[
    opt("prepare --out", "whole.jpg --blank rect:12x9mm", "--out out", "dots.png"),
    opt("prepare --job", AUTO, "--job job.toml", "dots.png"),
    opt("prepare --replace", "whole.jpg --blank rect:12x9mm --out full", "--replace", "exit"),
    opt("prepare --json", ART, "--json", "said"),
    opt("prepare --verbose", ART, "--verbose", "said"),
    opt("prepare --quiet", ART, "--quiet", "said"),
    opt("prepare --loupe", ART, "--loupe 5,5", "loupe.png"),
    opt(
        "prepare --search-time",
        "whole.jpg --blank rect:12x9mm --screen fitted --out out",
        "--search-time 0.01s",
        "job:/dots/effort",
    ),
    opt("prepare --drawing-time", EMBLEM, "--drawing-time 0.000001s", "exit"),
    opt("prepare --blank", "whole.jpg --out out", "--blank rect:12x9mm", "dots.png"),
    opt("prepare --margin", ART, "--margin 2mm", "dots.png"),
    opt("prepare --place", ART, "--place cover", "dots.png"),
    opt("prepare --anchor", PLACED, "--anchor left", "program"),
    opt("prepare --at", PLACED, "--at 1mm,-0.5mm", "program"),
    opt("prepare --text", ART, "--text Fog", "dots.png"),
    opt("prepare --border", ART, "--border 0.5mm", "dots.png"),
    opt("prepare --layer", ART, "--layer text='Fog',place='5x2mm'", "dots.png"),
    opt("prepare --turn", ART, "--turn 90", "dots.png"),
    opt("prepare --mirror", ART, "--mirror", "dots.png"),
    opt("prepare --page", "two.pdf --blank rect:12x9mm --out out", "--page 2", "dots.png"),
    opt("prepare --crop", ART, "--crop 10%,0%,80%,100%", "dots.png"),
    opt("prepare --surface", ART, "--surface slate", "proof.png"),
    opt("prepare --read-as", ART, "--read-as drawing", "dots.png"),
    opt("prepare --levels", ART, "--levels 20%,80%", "dots.png"),
    opt("prepare --brighten", ART, "--brighten -40", "dots.png"),
    opt("prepare --contrast", ART, "--contrast 80", "dots.png"),
    opt("prepare --invert", ART, "--invert", "dots.png"),
    opt("prepare --local-contrast", ART, "--local-contrast 80%", "dots.png"),
    opt("prepare --sharpen", ART, "--sharpen 0.3mm,200%", "dots.png"),
    opt("prepare --curve", ART, "--curve 0%:0%,50%:60%,100%:100%", "dots.png"),
    opt("prepare --dot-gain", ART, "--dot-gain off", "dots.png"),
    opt("prepare --ceiling", ART, "--ceiling 50%", "dots.png"),
    opt("prepare --density", ART, "--density 200dpi", "dots.png"),
    opt("prepare --pitch", ART, "--pitch 0.12mm", "dots.png"),
    opt("prepare --pitch-across", ART, "--pitch-across 0.12mm", "dots.png"),
    opt("prepare --screen", ART, "--screen bayer", "dots.png"),
    opt(
        "prepare --level",
        "whole.jpg --blank rect:12x9mm --screen threshold --out out",
        "--level 30%",
        "dots.png",
    ),
    opt(
        "prepare --matrix",
        "whole.jpg --blank rect:12x9mm --screen bayer --out out",
        "--matrix 4",
        "dots.png",
    ),
    opt("prepare --raster-order", ART, "--raster-order", "dots.png"),
    opt("prepare --as-published", ART, "--as-published", "dots.png"),
    opt(
        "prepare --ruling",
        "whole.jpg --blank rect:12x9mm --screen clustered --out out",
        "--ruling 4",
        "dots.png",
    ),
    opt(
        "prepare --angle",
        "whole.jpg --blank rect:12x9mm --screen clustered --out out",
        "--angle -10",
        "dots.png",
    ),
    opt(
        "prepare --effort",
        "whole.jpg --blank rect:12x9mm --screen fitted --out out",
        "--effort 1",
        "dots.png",
    ),
    opt("prepare --known", AUTO, "--known 0%", "dots.png"),
    opt("prepare --fonts", "sign.svg --blank rect:12x9mm --out out", "--fonts blocks.ttf", "dots.png"),
    opt("prepare --beam-on", ART, "--beam-on white", "dots.png"),
    opt("prepare --tiff", ART, "--tiff", "dots.tiff"),
    opt("prepare --bmp", ART, "--bmp", "dots.bmp"),
    opt("prepare --machine", ART, "--machine diode-20w", "program"),
    opt("prepare --coating", ART, "--coating bare-slate", "dots.png"),
    opt("prepare --process", ART, "--process process.toml", "dots.png"),
    opt("prepare --power", ART, "--power 70%", "program"),
    opt("prepare --speed", ART, "--speed 15mm/s", "program"),
    opt("prepare --passes", ART, "--passes 2", "program"),
    opt("prepare --time", ART, "--time 60%", "program"),
    opt("prepare --tone-by", ART, "--tone-by power", "program"),
    opt("prepare --direction", ART, "--direction one", "program"),
    opt("prepare --axis", ART, "--axis y", "program"),
    opt("prepare --run-up", ART, "--run-up 3mm", "program"),
    opt("prepare --trim", ART, "--trim 0.02mm", "program"),
    opt("prepare --accept", HOT, "--accept over-burn", "program"),
    opt(
        "compare --drawing-time",
        "emblem.svg --blank rect:12x9mm --screens bayer --out out",
        "--drawing-time 0.000001s",
        "exit",
    ),
    opt("compare --screens", "whole.jpg --blank rect:12x9mm --out out", "--screens bayer", "comparison.json"),
    opt(
        "compare --tones",
        "whole.jpg --blank rect:12x9mm --screens bayer --out out",
        "--tones",
        "comparison.json",
    ),
    opt(
        "compare --times",
        "whole.jpg --blank rect:12x9mm --screens auto --out out",
        "--times",
        "comparison.json",
    ),
    opt("compare --densities", COMPARE, "--densities 200dpi,254dpi", "comparison.json"),
    opt("tray --out", "order.toml", "--out out", "ticket.html"),
    opt("tray --replace", "order.toml --out full", "--replace", "exit"),
    opt("tray --grid", ORDER, "--grid 1x3", "tray-1.png"),
    opt("tray --gap", ORDER, "--gap 2mm", "tray-1.png"),
    opt("tray --from", ORDER, "--from 2", "program-1.nc"),
    opt("tray --only", ORDER, "--only 2", "program-1.nc"),
    opt("tray --skip-bad-rows", "bad.toml --out out", "--skip-bad-rows", "ticket.html"),
    opt("tray --accept", "hot.toml --out out", "--accept over-burn", "program-1.nc"),
    opt("tray --jig", ORDER, "--jig 20%,50mm/s", "jig.nc"),
    opt("tray --json", ORDER, "--json", "said"),
    opt("tray --quiet", ORDER, "--quiet", "said"),
    opt("tray --drawing-time", ORDER, "--drawing-time 0.000001s", "exit"),
    opt("compare --out", "whole.jpg --blank rect:12x9mm --screens bayer", "--out out", "comparison.json"),
    opt("compare --replace", "whole.jpg --blank rect:12x9mm --screens bayer --out full", "--replace", "told"),
    opt("compare --json", COMPARE, "--json", "said"),
    opt("compare --quiet", COMPARE, "--quiet", "said"),
    opt("compare --blank", "whole.jpg --screens bayer --out out", "--blank rect:12x9mm", "comparison.json"),
    opt("compare --margin", COMPARE, "--margin 2mm", "comparison.json"),
    opt("compare --place", COMPARE, "--place cover", "comparison.json"),
    opt("compare --turn", COMPARE, "--turn 90", "comparison.json"),
    opt(
        "compare --page",
        "two.pdf --blank rect:12x9mm --screens bayer --out out",
        "--page 2",
        "comparison.json",
    ),
    opt(
        "compare --fonts",
        "sign.svg --blank rect:12x9mm --screens bayer --out out",
        "--fonts blocks.ttf",
        "comparison.json",
    ),
    opt("compare --anchor", COMPARED, "--anchor left", "comparison.json"),
    opt("compare --at", COMPARED, "--at 1mm,-0.5mm", "comparison.json"),
    opt("compare --mirror", COMPARE, "--mirror", "comparison.json"),
    opt("compare --crop", COMPARE, "--crop 10%,0%,80%,100%", "comparison.json"),
    opt("compare --surface", COMPARE, "--surface slate", "contact-sheet.png"),
    opt("compare --read-as", COMPARE, "--read-as drawing", "comparison.json"),
    opt("compare --levels", COMPARE, "--levels 20%,80%", "comparison.json"),
    opt("compare --brighten", COMPARE, "--brighten -40", "comparison.json"),
    opt("compare --contrast", COMPARE, "--contrast 80", "comparison.json"),
    opt("compare --invert", COMPARE, "--invert", "comparison.json"),
    opt("compare --local-contrast", COMPARE, "--local-contrast 80%", "comparison.json"),
    opt("compare --sharpen", COMPARE, "--sharpen 0.3mm,200%", "comparison.json"),
    opt("compare --curve", COMPARE, "--curve 0%:0%,50%:60%,100%:100%", "comparison.json"),
    opt("compare --dot-gain", COMPARE, "--dot-gain off", "comparison.json"),
    opt("compare --ceiling", COMPARE, "--ceiling 50%", "comparison.json"),
    opt("compare --density", COMPARE, "--density 200dpi", "comparison.json"),
    opt("compare --pitch", COMPARE, "--pitch 0.12mm", "comparison.json"),
    opt("compare --pitch-across", COMPARE, "--pitch-across 0.12mm", "comparison.json"),
    opt(
        "compare --level",
        "whole.jpg --blank rect:12x9mm --screens threshold --out out",
        "--level 30%",
        "comparison.json",
    ),
    opt("compare --matrix", COMPARE, "--matrix 4", "comparison.json"),
    opt("compare --raster-order", COMPARE, "--raster-order", "comparison.json"),
    opt("compare --as-published", COMPARE, "--as-published", "comparison.json"),
    opt(
        "compare --ruling",
        "whole.jpg --blank rect:12x9mm --screens clustered --out out",
        "--ruling 4",
        "comparison.json",
    ),
    opt(
        "compare --angle",
        "whole.jpg --blank rect:12x9mm --screens clustered --out out",
        "--angle 10",
        "comparison.json",
    ),
    opt(
        "compare --effort",
        "whole.jpg --blank rect:12x9mm --screens fitted --out out",
        "--effort 1",
        "comparison.json",
    ),
    opt(
        "compare --known",
        "whole.jpg --blank rect:12x9mm --screens fitted --out out",
        "--known 0%",
        "comparison.json",
    ),
    opt("compare --machine", COMPARE, "--machine diode-20w", "comparison.json"),
    opt("compare --coating", COMPARE, "--coating bare-slate", "comparison.json"),
    opt("compare --process", COMPARE, "--process process.toml", "comparison.json"),
    opt("compare --power", COMPARE, "--power 70%", "comparison.json"),
    opt("compare --speed", COMPARE, "--speed 15mm/s", "comparison.json"),
    opt("compare --passes", COMPARE, "--passes 2", "comparison.json"),
    opt(
        "compare --time",
        "whole.jpg --blank rect:12x9mm --screens fitted --out out",
        "--time 60%",
        "comparison.json",
    ),
    opt("compare --direction", COMPARE, "--direction one", "comparison.json"),
    opt("compare --axis", COMPARE, "--axis y", "comparison.json"),
    opt("compare --run-up", COMPARE, "--run-up 3mm", "comparison.json"),
    opt("compare --trim", COMPARE, "--trim 0.02mm", "comparison.json"),
    opt("proof --density", PROOF, "--density 200dpi", "report.json"),
    opt("proof --axis", PROOF, "--axis y", "report.json"),
    opt("proof --beam-on", PROOF, "--beam-on white", "report.json"),
    opt("proof --out", "dots.png --blank rect:12x9mm", "--out out", "report.json"),
    opt("proof --replace", "dots.png --blank rect:12x9mm --out full", "--replace", "exit"),
    opt("proof --loupe", PROOF, "--loupe 5,5", "loupe.png"),
    opt("proof --json", PROOF, "--json", "said"),
    opt("proof --verbose", PROOF, "--verbose", "said"),
    opt("proof --quiet", PROOF, "--quiet", "said"),
    opt("proof --blank", "dots.png --out out", "--blank round:15mm", "report.json"),
    opt("proof --margin", PROOF, "--margin 2mm", "report.json"),
    opt("proof --surface", PROOF, "--surface slate", "proof.png"),
    opt("proof --machine", PROOF, "--machine diode-20w", "report.json"),
    opt("proof --coating", PROOF, "--coating bare-slate", "report.json"),
    opt("proof --process", PROOF, "--process process.toml", "report.json"),
    opt("proof --power", PROOF, "--power 70%", "report.json"),
    opt("proof --speed", PROOF, "--speed 15mm/s", "report.json"),
    opt("proof --passes", PROOF, "--passes 2", "report.json"),
    opt("advise --size", "", "--size 20x20mm", "said"),
    opt("advise --from", "", "--from 0.06mm", "said"),
    opt("advise --to", "", "--to 0.1mm", "said"),
    opt("advise --json", "", "--json", "said"),
    opt("advise --machine", "", "--machine diode-20w", "said"),
    opt("advise --coating", "", "--coating bare-slate", "said"),
    opt("advise --process", "", "--process process.toml", "said"),
    opt("advise --power", "", "--power 70%", "said"),
    opt("advise --speed", "", "--speed 15mm/s", "said"),
    opt("advise --passes", "", "--passes 2", "said"),
    opt("replay --against", "program.nc", "--against dots.png", "said"),
    opt("replay --beam-on", "program.nc --against dots.png", "--beam-on white", "exit"),
    opt("replay --machine", "program.nc", "--machine small.toml", "exit"),
    opt("replay --out", "program.nc", "--out out", "path.png"),
    opt("replay --replace", "program.nc --out walked", "--replace", "exit"),
    opt("replay --json", "program.nc", "--json", "said"),
    opt("replay --quiet", "program.nc", "--quiet", "said"),
    opt("screens --json", "", "--json", "said"),
    opt("wedge draw --kind", "--blank rect:50x50mm --out out", "--kind timing", "wedge.toml"),
    opt("wedge draw --out", "--blank rect:50x50mm", "--out out", "wedge.toml"),
    opt("wedge draw --replace", "--blank rect:50x50mm --out full", "--replace", "told"),
    opt("wedge draw --blank", "--out out", "--blank rect:50x50mm", "wedge.toml"),
    opt("wedge draw --margin", DRAW, "--margin 3mm", "wedge.toml"),
    opt("wedge draw --power", DRAW, "--power 50..100%", "wedge.toml"),
    opt("wedge draw --speed", DRAW, "--speed 8..20mm/s", "wedge.toml"),
    opt("wedge draw --steps", "--blank rect:50x50mm --out out", "--steps 3x3", "wedge.toml"),
    opt("wedge draw --linear", DRAW, "--linear", "wedge.toml"),
    opt("wedge draw --passes", DRAW, "--passes 2", "wedge"),
    opt("wedge draw --screens", TONE, "--screens floyd-steinberg", "dots.png"),
    opt("wedge draw --coverages", TONE, "--coverages 5", "dots.png"),
    opt("wedge draw --marks-power", DRAW, "--marks-power 80% --marks-speed 9mm/s", "wedge"),
    opt("wedge draw --marks-speed", DRAW, "--marks-speed 9mm/s --marks-power 80%", "wedge"),
    opt("wedge draw --density", DRAW, "--density 254dpi", "dots.png"),
    opt("wedge draw --pitch", DRAW, "--pitch 0.1mm", "dots.png"),
    opt("wedge draw --machine", DRAW, "--machine diode-20w", "wedge"),
    opt("wedge draw --coating", DRAW, "--coating bare-slate", "wedge.toml"),
    opt("wedge draw --process", DRAW, "--process process.toml", "wedge.toml"),
    opt("wedge read --wedge", "wedge.png --out out", "--wedge wedge.toml", "process.toml"),
    opt("wedge read --out", "wedge.png --wedge wedge.toml", "--out out", "process.toml"),
    opt("wedge read --replace", "wedge.png --wedge wedge.toml --out full", "--replace", "told"),
    opt("wedge read --date", "wedge.png --wedge wedge.toml --out out", "--date 2020-01-02", "process.toml"),
    opt("wedge read --corners", READ, "--corners 10,10 400,10 400,400 10,400", "exit"),
    opt("wedge read --white", READ, "--white 500,5,60,10", "reading.json"),
    opt(
        "wedge read --white-luminance",
        "wedge.png --wedge wedge.toml --white 500,5,60,10 --out out",
        "--white-luminance 20%",
        "reading.json",
    ),
    opt("wedge read --grain", "grainy.png --wedge wedge.toml --out out", "--grain 0.01", "process.toml"),
    opt("wedge read --process", READ, "--process process.toml", "process.toml"),
    opt(
        "wedge read --grid",
        "wedge.png --powers 100..40% --speeds 6..30mm/s --size 14.5x16.1mm --corners 263,215 595,215 595,583 263,583 --out out",
        "--grid 3x3",
        "process.toml",
    ),
    opt("wedge read --powers", GRID, "--powers 90..40%", "reading.json"),
    opt("wedge read --speeds", GRID, "--speeds 8..30mm/s", "reading.json"),
    opt("wedge read --size", GRID, "--size 30x30mm", "reading.json"),
    opt("wedge read --gap", GRID, "--gap 40%", "reading.json"),
    opt("wedge read --passes", GRID, "--passes 2", "reading.json"),
    opt("wedge read --pitch", GRID, "--pitch 0.1mm", "reading.json"),
    opt("wedge read --machine", GRID, "--machine diode-20w", "reading.json"),
    opt("wedge read --coating", GRID, "--coating bare-slate", "reading.json"),
    opt("wedge read --json", READ, "--json", "said"),
    opt("wedge read --quiet", READ, "--quiet", "said"),
    opt("wedge compare --json", "reading.json", "--json", "said"),
    opt("kit list --json", "", "--json", "said"),
    opt("kit show --json", "poster-paint", "--json", "said"),
];

/// Options whose work takes a minute: `screens --table` measures every screen, on the picture of `--art`.
const LONG: &[&str] = &["screens --table", "screens --art", "screens --replace", "screens --drawing-time"];

/// The options of the command that answers until it is ended: tests/desk and tests/outside/desk use them.
const STAYS: &[&str] = &["desk --port", "desk --no-open", "desk --home", "desk --texts"];

/// The commands that have commands of their own.
const GROUPS: &[&str] = &["wedge", "kit"];

fn typed(line: &str) -> Vec<String> {
    line.split_whitespace().map(String::from).collect()
}

fn dotwright(args: &[String], folder: &Path) -> String {
    let done = Command::new(env!("CARGO_BIN_EXE_dotwright"))
        .args(args)
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .expect("the program starts");
    let text = |b: &[u8]| String::from_utf8_lossy(b).into_owned();
    assert!(done.status.success(), "{args:?}: {}", text(&done.stderr));
    text(&done.stdout)
}

/// A folder with a job, a wedge and readings in it.
fn bench() -> tempfile::TempDir {
    let place = tempfile::tempdir().expect("a folder");
    let at = |name: &str| place.path().join(name);
    let art = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/art/whole.jpg");
    fs::copy(art, at("whole.jpg")).expect("the art is there");
    let emblem = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/emblem.svg");
    fs::copy(emblem, at("emblem.svg")).expect("the drawing is there");
    let document = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/art/two.pdf");
    fs::copy(document, at("two.pdf")).expect("the document is there");
    let sign = r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 40"><text y="30" font-size="20" font-family="Harbour Blocks">Ha</text></svg>"#;
    fs::write(at("sign.svg"), sign).expect("written");
    let font = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/art/blocks.ttf");
    fs::copy(font, at("blocks.ttf")).expect("the font is there");
    let order =
        "blank = 'rect:12x9mm'\ntable = 'tags.csv'\ntray.grid = '3x1'\n[[piece.layer]]\ntext = '{name}'\n";
    fs::write(at("order.toml"), order).expect("written");
    fs::write(at("hot.toml"), format!("piece.burn.speed = '4mm/s'\n{order}")).expect("written");
    fs::write(at("tags.csv"), "name\nFog\nRain\nFog\n").expect("written");
    let missing = "[[piece.layer]]\nfile = '{art}'\n";
    fs::write(at("bad.toml"), format!("blank = 'rect:12x9mm'\ntable = 'bad.csv'\n{missing}"))
        .expect("written");
    fs::write(at("bad.csv"), "art\nemblem.svg\nnone.svg\n").expect("written");
    fs::write(at("job.toml"), "[dots]\nscreen = 'bayer'\n").expect("written");
    let process = "[rise]\nvalue = 3.0\n[x_half]\nvalue = '1.8J/mm2'\n[beam_across]\nvalue = '0.15mm'\n\
                   [best]\npower = '80%'\nspeed = '11mm/s'\npitch = '0.1mm'\npasses = 1\n";
    fs::write(at("process.toml"), process).expect("written");
    let run = |line: &str| dotwright(&typed(line), place.path());
    let small = run("kit show diode-5w").replace("400x400mm", "5x5mm");
    fs::write(at("small.toml"), small).expect("written");
    run("prepare whole.jpg --blank rect:12x9mm --margin 1mm --out full");
    run("replay full/program.nc --out walked");
    // So small that its gaps are the fifth of a step that a grid has by default.
    run("wedge draw --kind exposure --blank rect:31x31mm --steps 3x3 --out drawn");
    run("wedge read drawn/wedge.png --wedge drawn/wedge.toml --date 2026-01-02 --out read");
    for (from, to) in [
        ("full/dots.png", "dots.png"),
        ("full/program.nc", "program.nc"),
        ("drawn/wedge.png", "wedge.png"),
        ("drawn/wedge.toml", "wedge.toml"),
        ("read/reading.json", "reading.json"),
    ] {
        fs::copy(at(from), at(to)).expect("copied");
    }
    // The drawing has no grain; a photo has.
    let mut grainy = image::open(at("wedge.png")).expect("a picture").to_luma8();
    let mut noise = 1u32;
    for pixel in grainy.pixels_mut() {
        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        pixel[0] = pixel[0].saturating_add((noise >> 28) as u8);
    }
    grainy.save(at("grainy.png")).expect("written");
    place
}

/// Runs a line in a copy of the bench.
fn made(command: &str, line: &str) -> Made {
    static BENCH: LazyLock<tempfile::TempDir> = LazyLock::new(bench);
    let place = tempfile::tempdir().expect("a folder");
    for entry in fs::read_dir(BENCH.path()).expect("readable") {
        let path = entry.expect("readable").path();
        let to = place.path().join(path.file_name().expect("a name"));
        if path.is_dir() {
            fs::create_dir(&to).expect("made");
            for file in fs::read_dir(&path).expect("readable") {
                let file = file.expect("readable").path();
                fs::copy(&file, to.join(file.file_name().expect("a name"))).expect("copied");
            }
        } else {
            fs::copy(&path, to).expect("copied");
        }
    }
    world::run(&typed(&format!("{command} {line}")), place.path())
}

/// A line with an option that stands in it already in another way.
fn added(line: &str, add: &str) -> String {
    let name = add.split(' ').next().expect("a name");
    let mut words: Vec<&str> = line.split_whitespace().collect();
    if let Some(at) = words.iter().position(|w| *w == name) {
        let next = words[at + 1..].iter().position(|w| w.starts_with("--"));
        let end = next.map_or(words.len(), |n| at + 1 + n);
        words.drain(at..end);
    }
    format!("{} {add}", words.join(" "))
}

/// What a line makes without an option and with it.
fn seen(o: &Opt) -> (Made, Made) {
    static BEFORE: LazyLock<Mutex<BTreeMap<String, Made>>> = LazyLock::new(Default::default);
    let command = o.of.split(" --").next().expect("a command");
    let name = format!("{command} {}", o.line);
    let before = BEFORE.lock().expect("whole").get(&name).cloned();
    let before = before.unwrap_or_else(|| made(command, o.line));
    BEFORE.lock().expect("whole").insert(name, before.clone());
    (before, made(command, &added(o.line, o.add)))
}

#[test]
fn every_option_changes_what_is_made_or_is_refused() {
    let wrong = wrong(OPTIONS, |o| {
        let (before, after) = seen(o);
        // An option must not turn a fault into silence, nor break what works.
        if after.code == 1 || after.code == 2 {
            let new = before.err != after.err;
            return (!new).then(|| format!("{} {}: {}", o.of, o.line, after.err));
        }
        let same = before.side(o.seen) == after.side(o.seen);
        same.then(|| format!("{}: '{}' does not change {} of '{}'", o.of, o.add, o.seen, o.line))
    });
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The names that follow an indent in a part of a command's help.
fn listed(help: &str, part: &str) -> Vec<String> {
    let lines = help.lines().skip_while(|l| *l != part).skip(1);
    lines
        .take_while(|l| !l.is_empty())
        .filter_map(|l| l.strip_prefix("  ")?.split(' ').next())
        .filter(|w| !w.is_empty() && *w != "help")
        .map(String::from)
        .collect()
}

#[test]
fn every_option_of_every_command_is_in_the_table() {
    let here = Path::new(".");
    let help = |command: &str| dotwright(&typed(&format!("{command} --help")), here);
    let mut commands = Vec::new();
    for command in listed(&help(""), "Commands:") {
        if GROUPS.contains(&&*command) {
            commands.extend(listed(&help(&command), "Commands:").iter().map(|c| format!("{command} {c}")));
        } else {
            commands.push(command);
        }
    }
    assert!(commands.len() >= 13, "{commands:?}");
    let known: BTreeSet<&str> =
        OPTIONS.iter().map(|o| o.of).chain(LONG.iter().chain(STAYS).copied()).collect();
    let mut found = BTreeSet::new();
    for command in &commands {
        for line in help(command).lines() {
            let line = line.trim_start();
            let line = if line.starts_with('-') && !line.starts_with("--") {
                line.split_once(", ").map_or("", |l| l.1)
            } else {
                line
            };
            let name: String = line
                .chars()
                .take_while(|c| c.is_ascii_lowercase() || *c == '-' || c.is_ascii_digit())
                .collect();
            // A description may wrap so that a line begins with an option it speaks of: then a comma follows.
            let after = line[name.len()..].chars().next();
            if name.starts_with("--") && name != "--help" && matches!(after, None | Some(' ')) {
                found.insert(format!("{command} {name}"));
            }
        }
    }
    for name in &found {
        assert!(known.contains(&**name), "{name} is an option that no table of this test has");
    }
    for name in known {
        assert!(
            found.contains(name),
            "{name} is in a table of this test, but the command has no such option"
        );
    }
}
