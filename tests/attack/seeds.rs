//! Good files of every sort to begin with, and the lines that read them.

use std::fs;
use std::path::Path;

use crate::mutate::Form;
use crate::run::{bounded, words};

/// A sort of file.
pub struct Sort {
    /// What it is called.
    pub name: &'static str,
    /// How it is spoiled.
    pub form: Form,
    /// Good files of it.
    pub files: Vec<Vec<u8>>,
    /// The name that it gets.
    pub file: &'static str,
    /// Lines that read it; the first is taken three times as often as the others together.
    pub lines: &'static [&'static str],
    /// Its share of all rounds.
    pub share: usize,
}

const PREPARE: &str = "prepare art --blank rect:8x6mm --margin 0.6mm --pitch 0.1mm --pitch-across 0.0875mm --speed 12.5mm/s --screen bayer --dot-gain off --out out -q";

/// The same for drawings, that may take less than the usual 30 s each time that they are drawn: a run has 20 s in all.
const DRAWN: &str = "prepare art --blank rect:8x6mm --margin 0.6mm --pitch 0.1mm --pitch-across 0.0875mm --speed 12.5mm/s --screen bayer --dot-gain off --drawing-time 4s --out out -q";

/// A drawing with much of what drawings can have.
const DRAWING: &str = r##"<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="0 0 80 60">
<defs>
<linearGradient id="g" x1="0" x2="1"><stop offset="0" stop-color="#000"/><stop offset="1" stop-color="#fff" stop-opacity="0.2"/></linearGradient>
<radialGradient id="r" cx="0.5" cy="0.5" r="0.5" fx="0.3"><stop offset="0.1"/><stop offset="0.9" stop-color="grey"/></radialGradient>
<pattern id="p" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(30)"><rect width="2" height="2"/></pattern>
<clipPath id="c"><circle cx="40" cy="30" r="25"/></clipPath>
<mask id="m"><rect width="80" height="60" fill="#fff"/><circle cx="40" cy="30" r="9"/></mask>
<filter id="f" x="-10%" y="-10%" width="120%" height="120%"><feGaussianBlur stdDeviation="1.5"/><feOffset dx="1" dy="2"/>
<feColorMatrix type="saturate" values="0.3"/><feMorphology operator="erode" radius="0.4"/></filter>
<filter id="t"><feTurbulence baseFrequency="0.05" numOctaves="2" seed="3"/><feDisplacementMap in="SourceGraphic" scale="4"/></filter>
<marker id="k" markerWidth="4" markerHeight="4" refX="2" refY="2"><circle cx="2" cy="2" r="2"/></marker>
<symbol id="s" viewBox="0 0 10 10"><path d="M5 0 L6 4 L10 5 L6 6 L5 10 L4 6 L0 5 L4 4 Z"/></symbol>
</defs>
<g clip-path="url(#c)" opacity="0.8"><rect width="80" height="60" fill="url(#g)"/><rect x="5" y="5" width="30" height="20" fill="url(#p)" mask="url(#m)"/></g>
<circle cx="60" cy="40" r="12" fill="url(#r)" filter="url(#f)"/>
<path d="M10 50 C 20 10, 40 10, 50 50 S 70 90 75 20 A 5 9 30 1 0 60 12 z" fill="none" stroke="#000" stroke-width="1.5" stroke-dasharray="3 2" marker-mid="url(#k)"/>
<use xlink:href="#s" x="4" y="40" width="12" height="12" transform="rotate(15 10 46) scale(1.2)"/>
<text x="8" y="56" font-size="6" letter-spacing="0.4" text-anchor="start">Harbour <tspan font-weight="bold" dy="-2">museum</tspan></text>
<rect x="50" y="4" width="20" height="10" rx="2" filter="url(#t)" style="mix-blend-mode:multiply;fill-rule:evenodd"/>
</svg>"##;

/// All sorts, in a folder that holds the good files under their names for the lines that need more than one.
pub fn sorts(bench: &Path) -> Vec<Sort> {
    let data = Path::new(env!("CARGO_MANIFEST_DIR"));
    let read = |name: &str| fs::read(data.join(name)).expect("a file of the package");
    let run = |line: &str| {
        let ended = bounded(&words(line), bench, "");
        assert!(matches!(ended.code, Ok(0)), "{line}: {}", ended.err);
        ended.out.into_bytes()
    };
    let made = |name: &str| fs::read(bench.join(name)).expect("made");
    fs::copy(data.join("tests/data/art/whole.jpg"), bench.join("art")).expect("copied");
    fs::write(bench.join("wide.svg"), DRAWING).expect("written");
    let small = "--blank rect:8x6mm --margin 0.5mm --pitch 0.2mm --speed 15mm/s --accept under-burn";
    run(&format!("prepare art {small} --out piece"));
    run(&format!(
        "prepare wide.svg {small} --tone-by power --levels auto --sharpen 0.2mm --run-up 1mm --out power"
    ));
    run("wedge draw --blank rect:30x30mm --steps 3x3 --pitch 0.15mm --out drawn");
    run(
        "wedge draw --kind tone --blank rect:40x40mm --coverages 3 --screens bayer --pitch 0.15mm --out toned",
    );
    run("wedge read drawn/wedge.png --wedge drawn/wedge.toml --date 2026-01-02 --out read");
    run("wedge read toned/wedge.png --wedge toned/wedge.toml --date 2026-01-02 --out read-tone");
    for (from, to) in
        [("drawn/wedge.png", "photo"), ("drawn/wedge.toml", "wedge.toml"), ("piece/dots.png", "dots.png")]
    {
        fs::copy(bench.join(from), bench.join(to)).expect("copied");
    }
    let machine = String::from_utf8(run("kit show diode-5w")).expect("text");
    let rich = machine.replace("[program]", "[program]\npointer_power = \"1%\"").replace(
        "[motion]",
        "[motion]\nblank_on_bed = \"20x35mm\"\nlag_ms = 0.4\nzero = \"1x2mm\"\nx_to_the_left = true",
    );
    let switched = read("tests/data/scan/lighthouse_switched.nc");
    let mut pictures = Vec::new();
    let mut names: Vec<_> = fs::read_dir(data.join("tests/data/art")).expect("readable").flatten().collect();
    names.sort_by_key(|e| e.file_name());
    for entry in names {
        let name = entry.file_name().to_string_lossy().into_owned();
        if !name.ends_with(".json") && !name.starts_with("bomb") {
            pictures.push(fs::read(entry.path()).expect("readable"));
        }
    }
    let mut phones = Vec::new();
    for name in ["tiles-turned", "ten-bits-alpha", "odd", "profile", "across-colour"] {
        phones.push(read(&format!("tests/data/heic/{name}.heic")));
    }
    // What has no checksums is still a photo when parts of it are spoiled.
    let photo = image::load_from_memory(&made("drawn/wedge.png")).expect("a picture");
    let mut photos = vec![made("drawn/wedge.png")];
    for format in [image::ImageFormat::Bmp, image::ImageFormat::Jpeg] {
        let mut bytes = std::io::Cursor::new(Vec::new());
        photo.write_to(&mut bytes, format).expect("written");
        photos.push(bytes.into_inner());
    }
    let curve = b"coverage = [0.0, 0.3, 1.0]\nmark = [0.0, 0.5, 1.0]\n".to_vec();
    let (png, pictures): (Vec<_>, Vec<_>) = pictures.into_iter().partition(|p| p.starts_with(b"\x89PNG"));
    let mut junk = vec![Vec::new(), vec![0; 5000], b"%PDF-1.7\n1 0 obj <</Type /Catalog>> endobj".to_vec()];
    junk.push(b"PK\x03\x04\x14\0\0\0\x08\0".repeat(40));
    junk.push(b"\x7fELF\x02\x01\x01\0".repeat(90));
    junk.push(b"x".repeat(1 << 20));
    let sort = |name, form, files, file, lines, share| Sort { name, form, files, file, lines, share };
    vec![
        sort(
            "drawing",
            Form::Elements,
            vec![DRAWING.into(), DRAWING.into(), read("samples/emblem.svg"), read("samples/name-tag.svg")],
            "art",
            &[DRAWN],
            20,
        ),
        sort("picture", Form::Bytes, pictures, "art", &[PREPARE], 13),
        sort("document", Form::Text, vec![read("tests/data/art/rich.pdf")], "art", &[DRAWN], 5),
        sort("telephone", Form::Bytes, phones, "art", &[PREPARE], 3),
        sort("png", Form::Png, png, "art", &[PREPARE], 7),
        sort(
            "program",
            Form::Text,
            vec![made("piece/program.nc"), made("power/program.nc"), made("piece/outline.nc"), switched],
            "program.nc",
            &[
                "replay program.nc",
                "replay program.nc --out out",
                "replay program.nc --against dots.png --json",
            ],
            18,
        ),
        sort(
            "job",
            Form::Text,
            vec![made("piece/job.toml"), made("power/job.toml")].into_iter().map(here).collect(),
            "job.toml",
            &["prepare --job job.toml --out out -q"],
            10,
        ),
        sort(
            "process",
            Form::Text,
            vec![made("read/process.toml"), made("read-tone/process.toml")],
            "process.toml",
            &[
                "advise --process process.toml",
                "prepare art --blank rect:8x6mm --process process.toml --out out -q",
            ],
            9,
        ),
        sort(
            "machine",
            Form::Text,
            vec![machine.into_bytes(), rich.into_bytes()],
            "machine.toml",
            &[
                "advise --machine machine.toml",
                "prepare art --blank rect:8x6mm --margin 1mm --machine machine.toml --out out -q",
            ],
            9,
        ),
        sort(
            "coating",
            Form::Text,
            vec![run("kit show poster-paint"), run("kit show bare-slate")],
            "coating.toml",
            &[
                "advise --coating coating.toml",
                "prepare art --blank rect:8x6mm --margin 1mm --coating coating.toml --out out -q",
            ],
            5,
        ),
        sort(
            "wedge",
            Form::Text,
            vec![made("drawn/wedge.toml")],
            "wedge.toml",
            &["wedge read photo --wedge wedge.toml --out out"],
            3,
        ),
        sort("photo", Form::Png, photos, "photo", &["wedge read photo --wedge wedge.toml --out out"], 3),
        sort(
            "dots",
            Form::Png,
            vec![made("dots.png")],
            "dots.png",
            &["proof dots.png --blank rect:8x6mm --out out -q"],
            2,
        ),
        sort(
            "reading",
            Form::Text,
            vec![made("read/reading.json")],
            "reading.json",
            &["wedge compare reading.json"],
            1,
        ),
        sort(
            "blank",
            Form::Text,
            vec![run("kit show glass-coaster-90")],
            "blank.toml",
            &["wedge draw --blank blank.toml --steps 2x2 --out out"],
            1,
        ),
        sort(
            "curve",
            Form::Text,
            vec![curve],
            "curve.toml",
            &["prepare art --blank rect:8x6mm --screen stucki --dot-gain curve.toml --out out -q"],
            1,
        ),
        sort(
            "junk",
            Form::Bytes,
            junk,
            "junk",
            &[
                "prepare junk --blank rect:8x6mm --out out -q",
                "replay junk",
                "proof junk --density 200dpi --out out",
                "advise --machine junk",
                "advise --process junk",
                "prepare --job junk --out out",
                "wedge read junk --wedge wedge.toml --out out",
                "wedge read photo --wedge junk --out out",
                "wedge compare junk",
            ],
            1,
        ),
    ]
}

/// A job file whose art lies beside it.
fn here(job: Vec<u8>) -> Vec<u8> {
    String::from_utf8(job).expect("text").replace("\"../", "\"").into_bytes()
}
