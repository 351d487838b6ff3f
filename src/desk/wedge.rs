//! Wedge: test pieces drawn, their photos read, and the processes that come out kept under a name.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

use axum::http::{HeaderValue, header};
use serde::Deserialize;
use serde_json::{Map, Value, json};

use super::Desk;
use super::home::{Home, Name};
use super::kit;
use super::points::{PAPER, corners, rectangle};
use super::says::{Answer, Says, bytes};
use super::texts::{filled, say};
use super::together::{self, Earlier, Together};
use super::{unread, values};
use crate::art;
use crate::cli::wedge::{DRAWN, READ, draw_args, planned, put_reading};
use crate::encode::sink::{Files, Folder, Memory, Sink, Zip};
use crate::findings::{Finding, Remedy};
use crate::job::kit::spoken;
use crate::job::{ProcessFile, file_name};
use crate::progress::Progress;
use crate::proof::canvas::Picture;
use crate::units::duration;
use crate::wedge::ask::Ask;
use crate::wedge::evidence::Evidence;
use crate::wedge::reading::NoteAbout;
use crate::wedge::register::photo;
use crate::wedge::show::process;
use crate::wedge::target::Wedge;

/// What a wedge may be asked with: the options of `wedge draw`.
const OPTIONS: &[&str] = &[
    "kind",
    "blank",
    "margin",
    "power",
    "speed",
    "steps",
    "passes",
    "screens",
    "coverages",
    "marks-power",
    "marks-speed",
    "density",
    "pitch",
    "machine",
    "coating",
    "process",
];
/// Of these, what may name a file.
const NAMES: &[&str] = &["blank", "machine", "coating", "process"];

/// What is kept of a photo that was read: the files of `wedge read`, the photo as it was brought and as the page shows it,
/// and what the page is told.
const KEPT: Files = Files {
    names: &["process.toml", "reading.json", "curves.svg", "reading.png", "photo", "photo.png", "told.json"],
    never_beside: &[],
};
/// What is kept of a photo until it is read.
const BROUGHT: Files = Files { names: &["photo", "photo.png"], never_beside: &[] };

/// A wedge that is asked for.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct New {
    /// What it measures; null or absent: all that the blank has room for.
    kind: Option<String>,
    /// Options of `wedge draw`.
    #[serde(default)]
    asked: Map<String, Value>,
}

/// Draws a wedge and keeps it.
///
/// # Errors
/// As `wedge draw`.
pub(super) fn draw(home: &Home, new: New) -> Result<Value, Says> {
    let mut options = Vec::new();
    let mut process = None;
    let asked = new.asked.clone();
    let kind = new.kind.map(|k| ("kind".to_string(), Value::String(k)));
    for (key, value) in new.asked.into_iter().filter(|(k, _)| k != "kind").chain(kind) {
        let name = key.replace('_', "-");
        let text = match value {
            Value::String(text) => text,
            Value::Number(n) => n.to_string(),
            Value::Null => continue,
            _ => return Err(Says::unusable(filled("says.wedge.value", &[("key", &key)])).with("key", key)),
        };
        if text.trim().is_empty() {
            continue;
        }
        if !OPTIONS.contains(&name.as_str()) {
            return Err(Says::unusable(filled("says.wedge.option", &[("key", &key)])).with("key", key));
        }
        if name == "process" {
            process = Some(text.clone());
        }
        let text = if NAMES.contains(&name.as_str()) { named(home, &name, text)? } else { text };
        options.push((name, text));
    }
    let kind = options.iter().find(|(name, _)| name == "kind").map(|(_, kind)| kind.clone());
    let planned = planned(&draw_args(&options)?)?;
    let found = |f: &Finding| {
        let remedies: Vec<Value> = f.remedies.iter().map(|r| remedy(r, kind.as_deref(), &asked)).collect();
        json!({ "says": f.message.on_page(), "remedies": remedies })
    };
    if let Some(stop) = planned.stop() {
        return Err(Says::unusable(stop.message.on_page()).with("found", found(stop)));
    }
    let wedge = planned.wedge();
    let _held = home.saving();
    let usual = Name::near(&format!("{} {}", spoken(&wedge.coating), wedge.kind.word()), "wedge");
    let name = home.free("wedges", &usual)?;
    let line = filled(
        "drawn.wedge",
        &[
            ("kind", &wedge.kind.word()),
            ("coating", &spoken(&wedge.coating)),
            ("machine", &spoken(&wedge.machine)),
            ("blank", &wedge.blank),
            ("time", &duration(planned.seconds())),
        ],
    );
    let mut output = Folder::begin(&home.at(&["wedges", name.text(), "drawn"])?, &DRAWN, true, &[])?;
    planned.write(&mut output)?;
    output.commit()?;
    let told = json!({
        "name": name.text(),
        "kind": wedge.kind.name(),
        "line": line,
        // What its photo is read together with: nothing that was not chosen here.
        "process": process,
        "left_out": planned.left_out().map(|said| said.on_page()),
        "cautions": planned.findings().iter().map(found).collect::<Vec<_>>(),
        "seconds": planned.seconds(),
        "picture": format!("/api/wedges/{}/file/wedge.png", name.in_path()),
        "files": DRAWN.names.iter().map(|f| json!({ "name": f })).collect::<Vec<_>>(),
        "zip": format!("/api/wedges/{}/files.zip", name.in_path()),
    });
    home.write(&home.at(&["wedges", name.text(), "about.json"])?, told.to_string().as_bytes())?;
    Ok(told)
}

/// What helps of what was found of a wedge, with the whole of what to ask for in its place; null where that is done elsewhere.
fn remedy(remedy: &Remedy, kind: Option<&str>, asked: &Map<String, Value>) -> Value {
    let (mut kind, mut asked) = (kind, asked.clone());
    for (name, value) in &remedy.sets {
        match name.as_str() {
            "kind" => kind = Some(value.as_str()),
            name => drop(asked.insert(name.to_string(), value.as_str().into())),
        }
    }
    let asks = (!remedy.sets.is_empty()).then(|| json!({ "kind": kind, "asked": asked }));
    json!({ "line": remedy.text.on_page(), "checked": remedy.verified, "asks": asks })
}

/// A name of the kit, a shape, or a file of the home.
fn named(home: &Home, key: &str, text: String) -> Result<String, Says> {
    let path = file_name::path(&text);
    let a_file = key == "process" || text.ends_with(".toml") || text.contains(['/', '\\']) || path.exists();
    if !a_file {
        return Ok(text);
    }
    // As jobs name it: seen from a job's folder.
    let place = home.at(&["jobs", "wedge"])?;
    let path = home.within(&place.join(path)).map_err(|says| says.with("key", key))?;
    Ok(file_name::text(&path))
}

/// All wedges, that drawn last first.
///
/// # Errors
/// Where the folder cannot be read.
pub(super) fn list(home: &Home) -> Result<Value, Says> {
    let mut all = Vec::new();
    for entry in fs::read_dir(home.at(&["wedges"])?)?.flatten() {
        let Some(name) = entry.file_name().to_str().and_then(|n| Name::new(n).ok()) else { continue };
        let Ok(mut told) = about(home, &name) else { continue };
        // What it is was written when it was drawn; its folder changes with each photo.
        let drawn = fs::metadata(entry.path().join("about.json")).and_then(|m| m.modified()).ok();
        let since = drawn.and_then(|t| t.duration_since(UNIX_EPOCH).ok()).map(|d| d.as_millis() as u64);
        told["drawn"] = since.into();
        all.push((since, told));
    }
    all.sort_by_key(|(when, _)| std::cmp::Reverse(*when));
    Ok(json!({ "wedges": all.into_iter().map(|(_, told)| told).collect::<Vec<_>>() }))
}

/// A wedge as the page has it, with its reading where it was read.
///
/// # Errors
/// Where there is none.
pub(super) fn about(home: &Home, name: &Name) -> Result<Value, Says> {
    let _held = home.writing();
    known(home, name)
}

/// The same while nothing else may be written.
fn known(home: &Home, name: &Name) -> Result<Value, Says> {
    let text = fs::read(home.at(&["wedges", name.text(), "about.json"])?).map_err(|_| gone(name))?;
    let mut told: Value = serde_json::from_slice(&text)?;
    if let Ok(reading) = fs::read(home.at(&["wedges", name.text(), "read", "told.json"])?) {
        told["reading"] = serde_json::from_slice(&reading)?;
    }
    Ok(told)
}

fn gone(name: &Name) -> Says {
    Says::missing(filled("says.wedge.missing", &[("name", name)]))
}

/// A file of a wedge.
///
/// # Errors
/// Where there is none of that name.
pub(super) fn file(home: &Home, name: &Name, file: &str) -> Answer {
    let kind = match file.rsplit_once('.') {
        Some((_, "png")) => "image/png",
        Some((_, "svg")) => "image/svg+xml",
        Some((_, "html")) => "text/html; charset=utf-8",
        Some((_, "json")) => "application/json; charset=utf-8",
        _ => "text/plain; charset=utf-8",
    };
    let (place, kept) = match file {
        "brought.png" => ("brought", "photo.png"),
        "photo.png" => ("read", file),
        _ if READ.names.contains(&file) => ("read", file),
        _ if DRAWN.names.contains(&file) => ("drawn", file),
        _ => return Err(gone(name)),
    };
    let content = {
        let _held = home.writing();
        fs::read(home.at(&["wedges", name.text(), place, kept])?).map_err(|_| gone(name))?
    };
    let mut answer = bytes(kind, content)?;
    // Pages and programs are taken away rather than shown: they are no part of this page, whose policy is its own.
    if !kind.starts_with("image/")
        && let Ok(value) = HeaderValue::from_str(&format!("attachment; filename=\"{file}\""))
    {
        answer.headers_mut().insert(header::CONTENT_DISPOSITION, value);
    }
    Ok(answer)
}

/// What is burnt, as an archive.
///
/// # Errors
/// Where there is no such wedge.
pub(super) fn zip(home: &Home, name: &Name) -> Result<Vec<u8>, Says> {
    let mut zip = Zip::new(Vec::new());
    for file in DRAWN.names {
        let content = fs::read(home.at(&["wedges", name.text(), "drawn", file])?).map_err(|_| gone(name))?;
        zip.put(file, &content)?;
    }
    Ok(zip.finish()?)
}

/// A photo of a wedge as it is asked to be read.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Photograph {
    /// Four points that were set by hand.
    corners: Option<String>,
    /// The process that it is read together with, as jobs name it, empty for none; absent: that which was chosen last, to
    /// begin with when the wedge was drawn.
    with: Option<String>,
    /// Where white paper lies in it; absent: where it was last, in the photo that was read.
    white: Option<String>,
}

/// Reads a photo of a wedge; an empty one is that which was brought before, and with another process that which was read
/// last. Until it is read it lies beside the one that belongs to the reading that is kept.
///
/// # Errors
/// As `wedge read`; where the marks were not found the page is asked for the four corners.
pub(super) fn read_photo(
    desk: &Desk,
    name: &Name,
    photo: Vec<u8>,
    asked: &Photograph,
    progress: &dyn Progress,
) -> Result<Value, Says> {
    let home = &desk.home;
    let at = |file: &str| home.at(&["wedges", name.text(), file]);
    let (read, brought) = (at("read")?, at("brought")?);
    // What is asked again is asked of one state of the wedge.
    let held = home.writing();
    let known = known(home, name)?;
    let with = match &asked.with {
        Some(with) => with.as_str(),
        None => known["reading"]["with"].as_str().or(known["process"].as_str()).unwrap_or_default(),
    };
    let again =
        photo.is_empty() && asked.corners.is_none() && (asked.with.is_some() || asked.white.is_some());
    let points = asked.corners.as_deref().or(known["reading"]["corners"].as_str().filter(|_| again));
    let corners = corners(points)?;
    let paper = asked.white.as_deref().or(known["reading"]["white"].as_str().filter(|_| again));
    let white = rectangle(paper)?;
    let text = fs::read_to_string(at("drawn/wedge.toml")?).map_err(|_| gone(name))?;
    let wedge = Wedge::from_toml(&text).map_err(|e| Says::unusable(e.to_string()))?;
    let of_reading = || fs::read(read.join("photo"));
    let photo = if again {
        of_reading().map_err(|_| no_photo())?
    } else if photo.is_empty() {
        fs::read(brought.join("photo")).or_else(|_| of_reading()).map_err(|_| no_photo())?
    } else {
        photo
    };
    drop(held);
    // A file that is no picture is refused before anything is kept of it.
    let opened = art::open(&photo, &say("photo.name"))?;
    let (width, height) = opened.size();
    let small = art::likeness(&opened)?;
    let mut shown = Picture::filled(small.width, small.height, [255; 3]);
    for (to, from) in shown.rgb.chunks_exact_mut(3).zip(small.rgba.chunks_exact(4)) {
        to.copy_from_slice(&from[..3]);
    }
    let shown = shown.to_png(None)?;
    let pictures = [("photo", photo.as_slice()), ("photo.png", shown.as_slice())];
    put(home, &brought, &BROUGHT, pictures)?;
    let picture_of = |file: &str| {
        format!("/api/wedges/{}/file/{file}?at={}", name.in_path(), super::home::revision(&photo))
    };
    let date = jiff::ZonedDateTime::now().date().to_string();
    let ask = Ask { corners, white, white_luminance: PAPER, date, ..Ask::default() };
    let seen = photo::open(&photo, &say("photo.name"))?;
    let off = unread::off(&seen, &wedge, &ask);
    let ask = unread::begun_at(&ask, off);
    let found = together::read(&seen, &wedge, &ask, Earlier::of(home, with), progress);
    let Together { evidence, earlier, says, apart } = found.map_err(|e| {
        unread::says(home, name, &seen, &wedge, &ask, &e)
            .with("photo_picture", picture_of("brought.png"))
            .with("width", width)
            .with("height", height)
    })?;
    if let Some(why) = &evidence.missed {
        return Err(Says::unusable(why.clone()).with("photo_picture", picture_of("brought.png")));
    }
    let file = process::process(&evidence.reading, &wedge, earlier);
    file.check()
        .map_err(|w| Says::unusable(filled("says.wedge.unusable", &[("key", &w.key), ("why", &w.why)])))?;
    let mut files = Memory::default();
    put_reading(&evidence, &wedge, &file, &mut files)?;
    // Of one photo there are several readings, each with pictures of its own.
    let state = super::home::revision(&serde_json::to_vec(&evidence.reading)?);
    let picture_of = |file: &str| format!("{}{state}", picture_of(file));
    let mut told = told(&evidence, &file, &picture_of, (width, height))?;
    if off > 0
        && let Some(notes) = told["notes"].as_array_mut()
    {
        notes.push(filled("photo.point", &[("point", &(off + 1))]).into());
    }
    told["with"] = with.into();
    told["together"] = says.into();
    told["apart"] = apart.into();
    told["corners"] = points.into();
    // What is no white paper is not read with once more.
    let scaled = white.is_some() && evidence.reading.scale.absolute;
    told["white"] = paper.filter(|_| scaled).into();
    if scaled && let Some(notes) = told["notes"].as_array_mut() {
        let share = (100.0 * PAPER).round();
        notes.push(filled("photo.paper", &[("share", &share)]).into());
    }
    files.put("told.json", told.to_string().as_bytes())?;
    let files = files.files.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice()));
    put(home, &read, &KEPT, files.chain(pictures))?;
    forget(home, &brought, &photo);
    desk.events.tell("wedge", &json!({ "wedge": name.text() }));
    Ok(told)
}

/// Puts files that belong together in the place of those that were there: all of them or none.
fn put<'a>(
    home: &Home,
    place: &Path,
    names: &'static Files,
    files: impl IntoIterator<Item = (&'a str, &'a [u8])>,
) -> Result<(), Says> {
    let _held = home.writing();
    let mut output = Folder::begin(place, names, true, &[])?;
    for (name, bytes) in files {
        output.put(name, bytes)?;
    }
    Ok(output.commit()?)
}

/// Forgets a photo that was brought, once it is kept with its reading; another that was brought meanwhile stays.
fn forget(home: &Home, brought: &Path, photo: &[u8]) {
    let _held = home.writing();
    if fs::read(brought.join("photo")).is_ok_and(|last| last == photo) {
        // What cannot be removed is replaced by the next.
        let _ = fs::remove_dir_all(brought);
    }
}

fn no_photo() -> Says {
    Says::unusable(say("says.wedge.no-photo"))
}

/// What the page is told of a reading.
fn told(
    evidence: &Evidence,
    file: &ProcessFile,
    picture_of: &dyn Fn(&str) -> String,
    (width, height): (f64, f64),
) -> Result<Value, Says> {
    let reading = &evidence.reading;
    let pick = reading.pick.as_ref().map(serde_json::to_value).transpose()?;
    let line = reading.pick.as_ref().map(|p| {
        let short = crate::units::short;
        let (power, speed) = (short(p.power_percent, 1), short(p.speed_mm_s, 2));
        filled("photo.pick", &[("patch", &p.patch), ("power", &power), ("speed", &speed)])
    });
    let says = match reading.doubts.first() {
        Some(doubt) => filled("photo.doubt", &[("doubt", doubt)]),
        None => filled(
            "photo.read",
            &[("coating", &spoken(&reading.coating)), ("machine", &spoken(&reading.machine))],
        ),
    };
    // A doubt stands above all else already.
    let notes = reading.notes.iter().filter(|note| !matches!(note.about, NoteAbout::Doubt(_)));
    let notes: Vec<&str> = notes.map(|note| note.says.on_page()).collect();
    Ok(json!({
        "says": says,
        "doubts": reading.doubts,
        "pick": pick.map(|mut pick| { pick["line"] = line.into(); pick }),
        "why": reading.pick.as_ref().map(|p| p.why.on_page()),
        "values": values::told(file)?,
        "notes": notes,
        "photo_picture": picture_of("photo.png"),
        "reading_picture": picture_of("reading.png"),
        "curves": picture_of("curves.svg"),
        "width": width,
        "height": height,
        // Nothing where no look was read.
        "absolute": reading.response.is_some().then_some(reading.scale.absolute),
    }))
}

/// What is asked before a process takes the place of another: what would be lost.
fn replaced(name: &Name, there: &[u8], own: &[u8]) -> String {
    let read = |text: &[u8]| str::from_utf8(text).ok().and_then(|t| toml::from_str::<ProcessFile>(t).ok());
    let already = || filled("says.process.there", &[("name", name)]);
    let Some((there, own)) = read(there).zip(read(own)) else { return already() };
    let of = |file: &ProcessFile| values::of(&file.coating, &file.machine);
    if there.is_of_others(&own.machine, &own.coating) {
        let (before, now) = (of(&there), of(&own));
        return filled("says.process.other", &[("name", name), ("before", &before), ("now", &now)]);
    }
    let kept = values::measured(&own);
    let lost: Vec<String> =
        values::measured(&there).into_iter().filter(|value| !kept.contains(value)).collect();
    if lost.is_empty() {
        return already();
    }
    filled("says.process.more", &[("name", name), ("lost", &lost.join(", "))])
}

/// Keeps the process that was read under a name.
///
/// # Errors
/// Where nothing was read, or there is another process of that name.
pub(super) fn keep(home: &Home, wedge: &Name, name: &str, replace: bool) -> Result<Value, Says> {
    let name = Name::new(name.trim())?;
    let _held = home.writing();
    let content = fs::read(home.at(&["wedges", wedge.text(), "read", "process.toml"])?)
        .map_err(|_| Says::unusable(say("says.wedge.unread")))?;
    // On some systems two names that differ by capitals alone are one file.
    let folded = |name: &Name| name.text().to_lowercase();
    let like = kit::kept(home, "processes")?.into_iter().map(|(there, _)| there);
    let name = like
        .filter(|there| folded(there) == folded(&name))
        .max_by_key(|there| *there == name)
        .unwrap_or(name);
    let file: PathBuf = home.at(&["processes", &format!("{name}.toml")])?;
    if !replace && let Some(there) = fs::read(&file).ok().filter(|there| *there != content) {
        return Err(Says::overtaken(replaced(&name, &there, &content)));
    }
    home.write(&file, &content)?;
    Ok(json!({ "name": name.text(), "asked": format!("../../processes/{name}.toml") }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::home::tests::home;

    /// The text of a process.
    fn process(coating: &str, more: &str) -> Vec<u8> {
        format!("wedge = 'w-1'\nmachine = 'diode 5 W'\ncoating = '{coating}'\nx_half = {{ value = '2J/mm2' }}\n{more}")
            .into_bytes()
    }

    #[test]
    fn what_helps_is_asked_for_with_all_else_as_it_was() {
        let asked = Map::from_iter([("blank".to_string(), json!("round:44mm"))]);
        let slower =
            Remedy::new("speed", 3.7, "mm/s", "slower").set("marks-speed", "3.7mm/s").set("kind", "exposure");
        let asks = &remedy(&slower, Some("combined"), &asked)["asks"];
        let whole =
            json!({ "kind": "exposure", "asked": { "blank": "round:44mm", "marks-speed": "3.7mm/s" } });
        assert_eq!(*asks, whole);
        assert!(serde_json::from_value::<New>(asks.clone()).is_ok());
        assert!(
            remedy(&Remedy::new("link", 500.0, "bytes/s", "a faster link"), None, &asked)["asks"].is_null()
        );
    }

    #[test]
    fn what_is_replaced_is_said_first_whatever_the_capitals() {
        let (_dir, home) = home();
        let (wedge, usual) = (Name::new("w").unwrap(), home.at(&["processes", "shop.toml"]).unwrap());
        let read = |text: &[u8]| {
            home.write(&home.at(&["wedges", "w", "read", "process.toml"]).unwrap(), text).unwrap()
        };
        let says = |name: &str| keep(&home, &wedge, name, false).unwrap_err().sentence().to_string();
        read(&process("poster paint", "rise = { value = 4.0 }\n"));
        assert_eq!(keep(&home, &wedge, "shop", false).unwrap()["name"], "shop");
        read(&process("poster paint", ""));
        assert!(
            says("shop").contains("holds what this reading does not: steepness of the rise"),
            "{}",
            says("shop")
        );
        let other = process("blackboard paint", "");
        read(&other);
        let said = says("SHOP");
        assert!(
            said.contains("'shop' already, of poster paint on diode 5 W, and this reading is of blackboard"),
            "{said}"
        );
        assert!(said.contains("what was measured of poster paint on diode 5 W is lost"), "{said}");
        assert_ne!(fs::read(&usual).unwrap(), other);
        assert_eq!(keep(&home, &wedge, "SHOP", true).unwrap()["name"], "shop");
        assert_eq!(fs::read(&usual).unwrap(), other);
        assert_eq!(kit::kept(&home, "processes").unwrap().len(), 1);
    }
}
