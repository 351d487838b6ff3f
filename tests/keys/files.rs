//! The keys of the files.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;
use std::sync::{LazyLock, Mutex};

use toml::{Table, Value};

use crate::world::{self, Made};

/// A key, what it is set to, and where that is seen.
struct Key {
    /// Its file and path: `job.tone.levels`, `machine.laser.power`; an array's first table counts as 0.
    at: &'static str,
    /// What else is set, so that it can be seen.
    with: &'static [(&'static str, &'static str)],
    /// The value, as in TOML.
    to: &'static str,
    /// The side of what is made that must change (see `Made::side`).
    seen: &'static str,
}

const fn key(at: &'static str, to: &'static str, seen: &'static str) -> Key {
    Key { at, with: &[], to, seen }
}

const fn with(with: &'static [(&'static str, &'static str)], k: Key) -> Key {
    Key { with, ..k }
}

const SCREEN: &str = "job.dots.screen";
const ALONG_Y: &[(&str, &str)] = &[("job.scan.axis", "'y'")];
/// The screen that is chosen where none is named. The tables' own has a dot-gain curve and takes half the time.
const AUTO: &[(&str, &str)] = &[(SCREEN, "'auto'")];
const CLUSTERED: &[(&str, &str)] = &[(SCREEN, "'clustered'")];
/// So much exposure that the piece chars.
const HOT: &[(&str, &str)] = &[("job.burn.speed", "'4mm/s'")];
/// The same, accepted for the art that is used here, at a figure that it stays below.
const ACCEPTED: &[(&str, &str)] = &[
    ("job.burn.speed", "'4mm/s'"),
    ("job.scan.accept", "[{ name = 'over-burn', art_crc32 = 648326614, figure = '500 mm2' }]"),
];
/// A blank that lies at the far corner of the bed.
const CORNER: &[(&str, &str)] = &[("machine.motion.blank_on_bed", "'390x392mm'")];
/// A rotary and a piece for it.
const ROUND: &[(&str, &str)] = &[
    ("job.blank.shape", "'cylinder:12x9mm'"),
    (
        "machine.rotary",
        "{ letter = 'A', degrees_per_unit = 1, steps_per_turn = 1600, units_per_s = 90, units_per_s2 = 400 }",
    ),
];
/// The same on rollers.
const ROLLED: &[(&str, &str)] = &[
    ("job.blank.shape", "'cylinder:12x9mm'"),
    (
        "machine.rotary",
        "{ letter = 'A', mm_per_unit = 1, steps_per_mm = 80, units_per_s = 90, units_per_s2 = 400 }",
    ),
];
const HOT_AND_MEASURED: &[(&str, &str)] =
    &[("job.burn.speed", "'4mm/s'"), ("process.rise", "{ value = 3.0 }")];
/// A process file says something that was measured.
const MEASURED: &[(&str, &str)] = &[("process.rise", "{ value = 3.0 }")];
const CHARS: &[(&str, &str)] = &[("process.x_char", "{ value = '9J/mm2' }")];
const HALF_MEASURED: &[(&str, &str)] = &[("process.wedge", "'W1'"), ("process.rise", "{ value = 3.0 }")];

const LETTER: &[(&str, &str)] = &[("job.layer", "[{ text = 'Fog', place = '8x2mm' }]")];
const LETTERS: &[(&str, &str)] = &[("job.layer", "[{ text = 'Fog and rain', place = '8x4mm' }]")];
const LINE: &[(&str, &str)] = &[("job.layer", "[{ border = '0.5mm' }]")];
const PICTURE: &[(&str, &str)] = &[("job.layer", "[{ file = 'whole.jpg', place = '5x5mm' }]")];

/// Keys whose value is only kept and shown with the job it belongs to.
const RECORDS: &[(&str, &str)] = &[
    ("process.absolute_lightness", "true"),
    ("process.not_measured", "{ lag_ms = 'no timing wedge' }"),
    ("process.beam_along.sigma", "0.01"),
    ("process.beam_across.sigma", "0.01"),
    ("process.unmarked.sigma", "0.01"),
    ("process.marked.sigma", "0.01"),
    ("process.charred.sigma", "0.01"),
    ("process.x_half.sigma", "0.01"),
    ("process.rise.sigma", "0.01"),
    ("process.x_char.sigma", "0.01"),
    ("process.char_rise.sigma", "0.01"),
    ("process.schwarzschild.sigma", "0.01"),
    ("process.lag_ms.sigma", "0.01"),
    (
        "process.sheet",
        "[{ wedge = 'W1', pitch_along = '0.1mm', pitch_across = '0.1mm', y_unmarked = 0.03, patch = [] }]",
    ),
];

/// Keys that say what a file is to whoever reads it, and go no further.
const READ_IN_THE_FILE: &[&str] = &["blank.name", "blank.about"];

/// Keys that are accepted and not used yet, each because it is being mended: nothing else may be here.
const DROPPED: &[Key] = &[];

const KEYS: &[Key] = &[
    with(&[("job.burn.power", "'80%'")], key("job.unsaid", "['power']", "report:/process/power_share")),
    key("job.art.file", "'disc.svg'", "dots.png"),
    key("job.art.crc32", "7", "report:/findings"),
    with(&[("job.art.file", "'two.pdf'")], key("job.art.page", "2", "dots.png")),
    with(&[("job.art.file", "'sign.svg'")], key("job.art.fonts", "'blocks.ttf'", "dots.png")),
    key("job.art.read_as", "'drawing'", "dots.png"),
    key("job.art.crop", "'10%,0%,80%,100%'", "dots.png"),
    key("job.art.turn", "90", "dots.png"),
    key("job.art.mirror", "true", "dots.png"),
    with(&[("job.blank.place", "'4x3mm'")], key("job.art.anchor", "'top-left'", "program")),
    with(&[("job.blank.place", "'4x3mm'")], key("job.art.at", "'1mm,0mm'", "program")),
    key("job.layer", "[{ border = '0.5mm' }]", "dots.png"),
    with(LETTER, key("job.layer.0.text", "'E'", "dots.png")),
    with(LETTER, key("job.layer.0.place", "'3x2mm'", "dots.png")),
    with(LETTER, key("job.layer.0.anchor", "'left'", "dots.png")),
    with(LETTER, key("job.layer.0.at", "'1mm,-0.5mm'", "dots.png")),
    with(LETTER, key("job.layer.0.turn", "90", "dots.png")),
    with(LETTER, key("job.layer.0.bare", "true", "dots.png")),
    with(LETTER, key("job.layer.0.clear", "'0.5mm'", "dots.png")),
    with(LETTER, key("job.layer.0.font", "'DejaVu Serif'", "dots.png")),
    with(LETTER, key("job.layer.0.bold", "true", "dots.png")),
    with(LETTERS, key("job.layer.0.lines", "2", "dots.png")),
    with(LETTER, key("job.layer.0.align", "'left'", "dots.png")),
    with(LETTER, key("job.layer.0.arc_mm", "3.0", "dots.png")),
    with(LINE, key("job.layer.0.border", "'1mm'", "dots.png")),
    with(LINE, key("job.layer.0.inset", "'2mm'", "dots.png")),
    with(PICTURE, key("job.layer.0.file", "'disc.svg'", "dots.png")),
    with(PICTURE, key("job.layer.0.crc32", "7", "report:/findings")),
    with(PICTURE, key("job.layer.0.read_as", "'drawing'", "dots.png")),
    with(PICTURE, key("job.layer.0.crop", "'10%,0%,80%,100%'", "dots.png")),
    with(PICTURE, key("job.layer.0.mirror", "true", "dots.png")),
    with(PICTURE, key("job.layer.0.invert", "true", "dots.png")),
    with(PICTURE, key("job.layer.0.brighten", "'40%'", "dots.png")),
    with(PICTURE, key("job.layer.0.contrast", "'80%'", "dots.png")),
    key("job.blank.shape", "'round:9mm'", "dots.png"),
    key("job.blank.margin", "'2mm'", "dots.png"),
    key("job.blank.surface", "'slate'", "proof.png"),
    key("job.blank.coatings", "['bare-slate']", "report:/findings"),
    key("job.blank.place", "'cover'", "dots.png"),
    key("job.tone.levels", "'20%,80%'", "dots.png"),
    key("job.tone.brighten", "'40%'", "dots.png"),
    key("job.tone.contrast", "'80%'", "dots.png"),
    key("job.tone.invert", "true", "dots.png"),
    key("job.tone.local_contrast", "'80%'", "dots.png"),
    key("job.tone.sharpen", "'0.3mm,200%'", "dots.png"),
    key("job.tone.curve", "'0%:0%,50%:60%,100%:100%'", "dots.png"),
    key("job.tone.dot_gain", "'off'", "dots.png"),
    key("job.tone.ceiling", "'50%'", "dots.png"),
    key("job.dots.pitch", "'0.12mm'", "dots.png"),
    key("job.dots.pitch_across", "'0.12mm'", "dots.png"),
    with(&[(SCREEN, "'fitted'")], key("job.dots.known", "'0%'", "dots.png")),
    key("job.dots.screen", "'bayer'", "dots.png"),
    with(&[(SCREEN, "'threshold'")], key("job.dots.level", "'30%'", "dots.png")),
    with(&[(SCREEN, "'bayer'")], key("job.dots.matrix", "4", "dots.png")),
    key("job.dots.serpentine", "false", "dots.png"),
    key("job.dots.as_published", "true", "dots.png"),
    with(CLUSTERED, key("job.dots.ruling_per_mm", "4.0", "dots.png")),
    with(CLUSTERED, key("job.dots.angle_deg", "10.0", "dots.png")),
    with(&[(SCREEN, "'fitted'")], key("job.dots.effort", "1", "dots.png")),
    key("job.dots.beam_on", "'white'", "dots.png"),
    key("job.dots.tiff", "'packbits'", "dots.tiff"),
    key("job.dots.bmp", "true", "dots.bmp"),
    key("job.burn.power", "'70%'", "program"),
    key("job.burn.speed", "'15mm/s'", "program"),
    key("job.burn.passes", "2", "program"),
    with(AUTO, key("job.burn.time", "'60%'", "program")),
    key("job.scan.tone_by", "'power'", "program"),
    key("job.scan.direction", "'one'", "program"),
    key("job.scan.axis", "'y'", "program"),
    key("job.scan.run_up", "'3mm'", "program"),
    key("job.scan.trim", "'0.02mm'", "program"),
    with(
        HOT,
        key(
            "job.scan.accept",
            "[{ name = 'over-burn', art_crc32 = 648326614, figure = '500 mm2' }]",
            "program",
        ),
    ),
    with(ACCEPTED, key("job.scan.accept.0.name", "'off-bed'", "program")),
    with(ACCEPTED, key("job.scan.accept.0.art_crc32", "7", "program")),
    with(ACCEPTED, key("job.scan.accept.0.figure", "'0.1 mm2'", "program")),
    key("machine.name", "'bench'", "ticket.html"),
    key("machine.standing", "'given'", "report:/process/rated_power_w"),
    key("machine.source", "'its maker'", "job:/machine/source"),
    key("machine.laser.power", "'10W'", "report:/process/rated_power_w"),
    key("machine.laser.wavelength_nm", "1064", "ticket.html"),
    key("machine.laser.beam_along", "'0.2mm'", "dots.png"),
    key("machine.laser.beam_across", "'0.2mm'", "dots.png"),
    with(AUTO, key("machine.laser.switch_ms", "5", "dots.png")),
    with(CORNER, key("machine.motion.bed", "'500x500mm'", "report:/findings")),
    key("machine.motion.steps_per_mm_y", "33", "dots.png"),
    with(ALONG_Y, key("machine.motion.steps_per_mm_x", "33", "dots.png")),
    with(ALONG_Y, key("machine.motion.top_speed_y", "'10mm/s'", "program")),
    key("machine.motion.acceleration_mm_per_s2", "50", "program"),
    key("machine.motion.top_speed", "'10mm/s'", "program"),
    key("machine.motion.rapid_speed", "'20mm/s'", "report:/times"),
    key("machine.motion.acceleration_y_mm_per_s2", "50", "report:/times"),
    key("machine.motion.rapid_speed_y", "'20mm/s'", "report:/times"),
    key("machine.motion.settle", "'2mm'", "program"),
    key("machine.motion.gap_settle", "'0.3mm'", "program"),
    key("machine.motion.lag_ms", "5", "program"),
    key("machine.motion.placement_tolerance", "'3mm'", "report:/findings"),
    key("machine.motion.zero", "'5x5mm'", "program"),
    key("machine.motion.x_to_the_left", "true", "program"),
    key("machine.motion.y_downwards", "true", "program"),
    key("machine.motion.blank_on_bed", "'395x10mm'", "report:/findings"),
    key("machine.program.full_scale_s", "255", "program"),
    key("machine.program.power_mode", "'speed-scaled'", "program"),
    key("machine.program.s_inside_moves", "false", "program"),
    key("machine.program.link_bytes_per_s", "500", "report:/findings"),
    with(
        &[("machine.program.link_bytes_per_s", "1200"), ("job.burn.speed", "'30mm/s'")],
        key("machine.program.link_buffer_bytes", "1000000", "report:/findings"),
    ),
    key("machine.program.plans_ahead", "1", "program"),
    key("machine.program.moves_per_s", "20", "program"),
    key("machine.program.header", "['G54']", "program"),
    key("machine.program.footer", "['M9']", "program"),
    key("machine.program.pointer_power", "'1%'", "outline"),
    with(
        &[("job.blank.shape", "'rect:12x9mm'")],
        key(
            "machine.rotary",
            "{ letter = 'A', degrees_per_unit = 1, steps_per_turn = 1600, units_per_s = 90, units_per_s2 = 400 }",
            "job:/machine/rotary",
        ),
    ),
    with(ROUND, key("machine.rotary.letter", "'B'", "program")),
    with(ROUND, key("machine.rotary.degrees_per_unit", "2", "program")),
    with(ROUND, key("machine.rotary.steps_per_turn", "1000", "dots.png")),
    with(ROLLED, key("machine.rotary.mm_per_unit", "2", "program")),
    with(ROLLED, key("machine.rotary.steps_per_mm", "33", "dots.png")),
    with(ROUND, key("machine.rotary.along", "'y'", "program")),
    with(ROUND, key("machine.rotary.units_per_s", "1", "report:/times")),
    with(ROUND, key("machine.rotary.units_per_s2", "1", "report:/times")),
    with(ROUND, key("machine.rotary.to_the_left", "true", "program")),
    key("coating.name", "'chalk'", "ticket.html"),
    key("coating.standing", "'given'", "report:/process/power_share"),
    key("coating.source", "'its maker'", "job:/coating/source"),
    key("coating.used_on", "'slate'", "job:/coating/used_on"),
    key("coating.look.unmarked", "0.1", "proof.png"),
    key("coating.look.marked", "0.5", "proof.png"),
    with(HOT, key("coating.look.charred", "0.3", "proof.png")),
    key("coating.response.x_half", "'3J/mm2'", "dots.png"),
    key("coating.response.rise", "3", "dots.png"),
    key("coating.response.x_char", "'5J/mm2'", "report:/findings"),
    with(HOT, key("coating.response.char_rise", "3", "proof.png")),
    with(
        &[("coating.response.v0", "'40mm/s'")],
        key("coating.response.schwarzschild", "0.6", "report:/process/speed_mm_per_s"),
    ),
    key("coating.response.v0", "'40mm/s'", "report:/process/speed_mm_per_s"),
    key("coating.start.power", "'60%'", "program"),
    key("coating.start.exposure", "'6J/mm2'", "program"),
    key("coating.start.least_power", "'8W'", "report:/findings"),
    key("coating.work.clean", "'Wipe.'", "ticket.html"),
    key("coating.work.mix", "'Stir.'", "ticket.html"),
    key("coating.work.apply", "'Brush.'", "ticket.html"),
    key("coating.work.dry", "'Wait.'", "ticket.html"),
    key("coating.work.wash_off", "'Rinse.'", "ticket.html"),
    key("coating.work.finish", "'Look.'", "ticket.html"),
    key("coating.work.cautions", "['Careful.']", "ticket.html"),
    with(
        &[("process.rise", "{ value = 3.0 }"), ("process.x_half", "{ value = '2J/mm2' }")],
        key("process.wedge", "'W1'", "report:/process/rise"),
    ),
    with(MEASURED, key("process.machine", "'another bench'", "report:/findings")),
    with(MEASURED, key("process.coating", "'another coat'", "report:/findings")),
    with(MEASURED, key("process.rated_power", "'10W'", "report:/findings")),
    with(MEASURED, key("process.doubt", "'a reflection lies on the piece'", "report:/findings")),
    with(HALF_MEASURED, key("process.doubt_of", "'W1'", "job:/process/doubt_of")),
    with(MEASURED, key("process.beam_fitted", "{ along = '0.2mm', across = '0.1mm' }", "dots.png")),
    with(HALF_MEASURED, key("process.date", "'2026-01-02'", "job:/process/date")),
    with(MEASURED, key("process.beam_along", "{ value = '0.2mm' }", "dots.png")),
    with(MEASURED, key("process.beam_across", "{ value = '0.2mm' }", "dots.png")),
    with(MEASURED, key("process.unmarked", "{ value = 0.1 }", "proof.png")),
    with(MEASURED, key("process.marked", "{ value = 0.5 }", "proof.png")),
    with(HOT_AND_MEASURED, key("process.charred", "{ value = 0.3 }", "proof.png")),
    with(MEASURED, key("process.x_half", "{ value = '3J/mm2' }", "dots.png")),
    with(CHARS, key("process.rise", "{ value = 3.0 }", "dots.png")),
    with(MEASURED, key("process.x_char", "{ value = '5J/mm2' }", "report:/findings")),
    with(HOT_AND_MEASURED, key("process.char_rise", "{ value = 3.0 }", "proof.png")),
    with(
        &[("process.v0", "'40mm/s'")],
        key("process.schwarzschild", "{ value = 0.6 }", "report:/process/speed_mm_per_s"),
    ),
    with(MEASURED, key("process.v0", "'40mm/s'", "report:/process/speed_mm_per_s")),
    with(
        MEASURED,
        key("process.best", "{ power = '70%', speed = '11mm/s', pitch = '0.1mm', passes = 1 }", "program"),
    ),
    with(MEASURED, key("process.lag_ms", "{ value = 5.0 }", "program")),
    with(
        MEASURED,
        key(
            "process.tone_curve",
            "[{ screen = 'floyd-steinberg', coverage = [0.0, 0.5, 1.0], mark = [0.0, 0.8, 1.0] }]",
            "dots.png",
        ),
    ),
    key("process.beam_along.value", "'0.2mm'", "dots.png"),
    key("process.beam_across.value", "'0.2mm'", "dots.png"),
    key("process.unmarked.value", "0.1", "proof.png"),
    key("process.marked.value", "0.5", "proof.png"),
    with(HOT, key("process.charred.value", "0.3", "proof.png")),
    key("process.x_half.value", "'3J/mm2'", "dots.png"),
    key("process.rise.value", "3.0", "dots.png"),
    key("process.x_char.value", "'5J/mm2'", "report:/findings"),
    with(HOT, key("process.char_rise.value", "3.0", "proof.png")),
    with(&[("process.v0", "'40mm/s'")], key("process.schwarzschild.value", "0.6", "dots.png")),
    key("process.lag_ms.value", "5.0", "program"),
    key("process.best.power", "'70%'", "program"),
    key("process.best.speed", "'11mm/s'", "program"),
    key("process.best.pitch", "'0.1mm'", "dots.png"),
    key("process.best.passes", "2", "program"),
    key("process.tone_curve.0.screen", "'floyd-steinberg'", "dots.png"),
    with(
        &[(SCREEN, "'floyd-steinberg'"), ("process.tone_curve.0.screen", "'floyd-steinberg'")],
        key("process.tone_curve.0.coverage", "[0.0, 0.2, 1.0]", "dots.png"),
    ),
    with(
        &[(SCREEN, "'floyd-steinberg'"), ("process.tone_curve.0.screen", "'floyd-steinberg'")],
        key("process.tone_curve.0.mark", "[0.0, 0.2, 1.0]", "dots.png"),
    ),
    with(
        &[(SCREEN, "'floyd-steinberg'"), ("process.tone_curve.0.screen", "'floyd-steinberg'")],
        key("process.tone_curve.0.sigma", "[0.0, 0.3, 0.0]", "dots.png"),
    ),
    with(
        &[(SCREEN, "'floyd-steinberg'"), ("process.tone_curve.0.screen", "'floyd-steinberg'")],
        key(
            "process.tone_curve.0.setting",
            "{ power = '70%', speed = '11mm/s', pitch = '0.1mm', passes = 1 }",
            "dots.png",
        ),
    ),
    key("blank.shape", "'rect:11x9mm'", "dots.png"),
    key("blank.margin", "'4mm'", "dots.png"),
    key("blank.surface", "'slate'", "proof.png"),
    key("blank.coatings", "['poster-paint']", "report:/findings"),
];

/// The files of a job.
type Files = BTreeMap<&'static str, Table>;

/// A job, machine and coating that work, and where it is asked for all that a process or blank file may hold.
fn files() -> Files {
    let kit = |name: &str| {
        let words = ["kit", "show", name].map(String::from);
        world::run(&words, Path::new(".")).out.parse().expect("TOML")
    };
    let job = "[art]\nfile = 'whole.jpg'\n[blank]\nshape = 'rect:12x9mm'\nmargin = '1mm'\nsurface = 'glass'\n\
               [tone]\n[dots]\nscreen = 'floyd-steinberg'\n[burn]\n[[scan.accept]]\nname = 'off-bed'\nart_crc32 = 1\nfigure = '1 mm'\n";
    Files::from([
        ("job", job.parse().expect("TOML")),
        ("machine", kit("diode-5w")),
        ("coating", kit("poster-paint")),
        ("process", whole_process()),
        ("blank", kit("metal-tag-60")),
    ])
}

/// A process file with every table that it may have, at the values that hold without it.
fn whole_process() -> Table {
    "[beam_along]\nvalue = '0.12mm'\n[beam_across]\nvalue = '0.12mm'\n[unmarked]\nvalue = 0.03\n[marked]\nvalue = 0.65\n\
     [charred]\nvalue = 0.1\n[x_half]\nvalue = '2.2J/mm2'\n[rise]\nvalue = 6.25\n[x_char]\nvalue = '9J/mm2'\n\
     [char_rise]\nvalue = 8.0\n[schwarzschild]\nvalue = 0.8\n[lag_ms]\nvalue = 0.0\n\
     [best]\npower = '90%'\nspeed = '12.5mm/s'\npitch = '0.0875mm'\npasses = 1\n\
     [[tone_curve]]\nscreen = 'bayer'\ncoverage = [0.0, 0.5, 1.0]\nmark = [0.0, 0.6, 1.0]\n"
        .parse()
        .expect("TOML")
}

/// Sets a value; a table on the way must be there, of an array the first.
fn set(files: &mut Files, at: &str, value: Value) {
    let (file, path) = at.split_once('.').expect("a file and a path");
    let mut names: Vec<&str> = path.split('.').filter(|name| *name != "0").collect();
    let last = names.pop().expect("a key");
    let table = files.get_mut(file).unwrap_or_else(|| panic!("{file} is no file"));
    let table = names.iter().fold(table, |t, name| match t.get_mut(*name) {
        Some(Value::Table(inner)) => inner,
        Some(Value::Array(list)) => list[0].as_table_mut().expect("a table"),
        _ => panic!("{at}: there is no table {name}"),
    });
    table.insert(last.to_string(), value);
}

fn value(text: &str) -> Value {
    format!("v = {text}").parse::<Table>().expect("TOML").remove("v").expect("a value")
}

/// Runs a job of these files.
fn made(files: &Files, uses: &BTreeSet<&str>) -> Made {
    let place = tempfile::tempdir().expect("a folder");
    let at = |name: &str| place.path().join(name);
    let art = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/art/whole.jpg");
    fs::copy(art, at("whole.jpg")).expect("the art is there");
    let disc = r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 30"><circle cx="20" cy="15" r="12"/></svg>"#;
    fs::write(at("disc.svg"), disc).expect("written");
    let document = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/art/two.pdf");
    fs::copy(document, at("two.pdf")).expect("the document is there");
    let sign = r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 40"><text y="30" font-size="20" font-family="Harbour Blocks">Ha</text></svg>"#;
    fs::write(at("sign.svg"), sign).expect("written");
    let font = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/art/blocks.ttf");
    fs::copy(font, at("blocks.ttf")).expect("the font is there");
    let mut args = vec!["prepare".to_string(), "--out".into(), "out".into()];
    for (name, table) in files {
        if uses.contains(name) {
            fs::write(at(&format!("{name}.toml")), table.to_string()).expect("written");
            args.extend([format!("--{name}"), format!("{name}.toml")]);
        }
    }
    world::run(&args, place.path())
}

/// What is seen of a key, without it and with it.
fn seen(at: &str, with: &[(&str, &str)], to: &str) -> (Made, Made) {
    // Runs without the key are shared by all keys that ask for the same.
    static BEFORE: LazyLock<Mutex<BTreeMap<String, Made>>> = LazyLock::new(Default::default);
    static FILES: LazyLock<Files> = LazyLock::new(files);
    let mut files = FILES.clone();
    let mut uses = BTreeSet::from(["job", "machine", "coating"]);
    for (at, _) in with.iter().chain([&(at, "")]) {
        let file = at.split('.').next().expect("a file");
        uses.insert(files.keys().find(|k| **k == file).expect("a file"));
    }
    // A key of the process alone begins with an empty file, one inside a table of it with a whole one.
    if !at.strip_prefix("process.").is_some_and(|rest| rest.contains('.')) {
        files.insert("process", Table::new());
    }
    for (at, to) in with {
        set(&mut files, at, value(to));
    }
    let name = format!("{files:?}{uses:?}");
    let before = BEFORE.lock().expect("whole").get(&name).cloned();
    let before = before.unwrap_or_else(|| made(&files, &uses));
    BEFORE.lock().expect("whole").insert(name, before.clone());
    set(&mut files, at, value(to));
    (before, made(&files, &uses))
}

/// Runs a check for each entry on a few threads and gathers what is wrong.
pub fn wrong<T: Sync>(all: &[T], check: impl Fn(&T) -> Option<String> + Sync) -> Vec<String> {
    let next = std::sync::atomic::AtomicUsize::new(0);
    let wrong = Mutex::new(Vec::new());
    std::thread::scope(|s| {
        for _ in 0..std::thread::available_parallelism().map_or(2, |n| n.get()) {
            s.spawn(|| {
                while let Some(one) = all.get(next.fetch_add(1, std::sync::atomic::Ordering::Relaxed)) {
                    wrong.lock().expect("whole").extend(check(one));
                }
            });
        }
    });
    wrong.into_inner().expect("whole")
}

#[test]
fn every_key_changes_what_is_made_or_is_refused() {
    let wrong = wrong(KEYS, |k| {
        let (before, after) = seen(k.at, k.with, k.to);
        if before.code != 0 && before.code != 3 {
            return Some(format!("{}: without it: {}", k.at, before.err));
        }
        if after.code == 1 {
            return None;
        }
        let same = before.side(k.seen) == after.side(k.seen);
        same.then(|| format!("{} = {} does not change {}", k.at, k.to, k.seen))
    });
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn what_is_known_to_be_dropped_is_not_mended_yet() {
    let mended = wrong(DROPPED, |k| {
        let (before, after) = seen(k.at, k.with, k.to);
        let same = after.code == before.code && before.side(k.seen) == after.side(k.seen);
        (!same).then(|| format!("{} is mended: move it to the table of keys", k.at))
    });
    assert!(mended.is_empty(), "{}", mended.join("\n"));
}

#[test]
fn what_is_only_recorded_is_written_back() {
    let wrong = wrong(RECORDS, |(at, to)| {
        let (_, after) = seen(at, &[], to);
        let pointer = format!("job:/{}", at.replace('.', "/"));
        let kept = after.side(&pointer)?;
        let wanted = serde_json::to_value(value(to)).expect("a tree").to_string();
        (kept != wanted.as_bytes()).then(|| format!("{at} came back as {}", String::from_utf8_lossy(&kept)))
    });
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// All tables of a file, by their paths; tables of free names are left out.
fn tables(at: &str, table: &Table, all: &mut Vec<String>) {
    all.push(at.to_string());
    for (name, value) in table {
        match value {
            Value::Table(inner) => tables(&format!("{at}.{name}"), inner, all),
            Value::Array(list) => {
                if let Some(Value::Table(inner)) = list.first() {
                    tables(&format!("{at}.{name}.0"), inner, all);
                }
            }
            _ => {}
        }
    }
}

#[test]
fn every_key_that_a_file_may_hold_is_in_the_tables() {
    let mut files = files();
    set(&mut files, "job.layer", value("[{ border = '0.5mm' }]"));
    set(&mut files, ROUND[1].0, value(ROUND[1].1));
    let mut all = Vec::new();
    for (name, table) in &files {
        tables(name, table, &mut all);
    }
    let known: BTreeSet<&str> = KEYS
        .iter()
        .chain(DROPPED)
        .map(|k| k.at)
        .chain(RECORDS.iter().map(|r| r.0))
        .chain(READ_IN_THE_FILE.iter().copied())
        .collect();
    let mut found = BTreeSet::new();
    let listed = Mutex::new(Vec::new());
    let wrong = wrong(&all, |table| {
        // The program itself says which keys it knows, where one is not among them.
        let mut files = files.clone();
        set(&mut files, &format!("{table}.no_such_key"), Value::Integer(1));
        let made = made(&files, &files.keys().copied().collect());
        let Some((_, list)) = made.err.split_once("unknown field `no_such_key`, expected ") else {
            return Some(format!("{table} takes a key that nobody knows: {}", made.err));
        };
        let names: Vec<String> = list.split('`').skip(1).step_by(2).map(|n| format!("{table}.{n}")).collect();
        if names.is_empty() {
            return Some(format!("{table}: {}", made.err));
        }
        listed.lock().expect("whole").extend(names);
        None
    });
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    let tables: BTreeSet<&str> =
        all.iter().map(String::as_str).chain(["job.machine", "job.coating", "job.process"]).collect();
    for name in listed.into_inner().expect("whole") {
        let is_table = tables.contains(&*name) && !name.starts_with("process.");
        assert!(known.contains(&*name) || is_table, "{name} is a key that no table of this test has");
        found.insert(name);
    }
    for name in known {
        assert!(found.contains(name), "{name} is in a table of this test, but no file may hold it");
    }
}
