//! Kit: what there is to choose from: blanks, coatings, machines, processes, screens, fonts.

use std::fs;

use serde_json::{Value, json};

use super::home::{Home, Name};
use super::says::Says;
use crate::blank::Shape;
use crate::cli;
use crate::job::kit::{self, ENTRIES, Entry, Sort};
use crate::job::named::read_process;
use crate::screen::SCREENS;

/// The families that ship.
const FONTS: &[&str] = &["DejaVu Sans"];

/// All of it.
///
/// # Errors
/// Where an entry of the kit is broken.
pub(super) fn kit(home: &Home) -> Result<Value, Says> {
    let of = |sort: Sort| ENTRIES.iter().filter(move |e| e.sort == sort);
    let told = |e: &Entry| -> Result<Value, Says> {
        Ok(json!({ "name": e.id, "line": cli::kit::about(e)?, "asked": e.id }))
    };
    let screens = SCREENS.iter().map(|s| json!({ "name": s.name, "line": s.about, "asked": s.name }));
    Ok(json!({
        "blanks": of(Sort::Blank).map(blank).collect::<Result<Vec<_>, Says>>()?,
        "coatings": of(Sort::Coating).map(told).collect::<Result<Vec<_>, Says>>()?,
        "machines": of(Sort::Machine).map(told).collect::<Result<Vec<_>, Says>>()?,
        "processes": processes(home)?,
        "screens": screens.collect::<Vec<_>>(),
        "fonts": FONTS,
        "usual": { "blank": kit::DEFAULT_BLANK, "machine": kit::DEFAULT_MACHINE, "coating": kit::DEFAULT_COATING },
    }))
}

fn blank(e: &Entry) -> Result<Value, Says> {
    let b = kit::blank(e.id)?;
    let (shape, corner) = match b.shape {
        Shape::Round { .. } => ("round", 0.0),
        Shape::Rect { radius, .. } => ("rect", radius.0),
        Shape::Cylinder { .. } => ("cylinder", 0.0),
        Shape::Cone { .. } => ("cone", 0.0),
    };
    Ok(json!({
        "name": e.id,
        "line": b.about,
        "shape": shape,
        "width_mm": b.shape.width(),
        "height_mm": b.shape.height(),
        "margin_mm": b.margin.0,
        "corner_mm": corner,
        "coating": b.coatings.first(),
        "coatings": b.coatings,
        // What a job asks for that asks for this blank.
        "asked": { "shape": b.shape.to_string(), "margin": b.margin.to_string(), "surface": b.surface,
            "coatings": b.coatings },
    }))
}

/// The processes that the person measured and kept.
fn processes(home: &Home) -> Result<Vec<Value>, Says> {
    let mut all = Vec::new();
    for entry in fs::read_dir(home.at(&["processes"])?)?.flatten() {
        let file = entry.file_name().to_string_lossy().into_owned();
        let Some(name) = file.strip_suffix(".toml").and_then(|n| Name::new(n).ok()) else { continue };
        let Ok(path) = home.at(&["processes", &file]) else { continue };
        let (line, usable, measured) = match read_process(&path) {
            Ok(p) => (format!("{} on {}", p.coating, p.machine), true, !p.sheet.is_empty()),
            Err(e) => (e.to_string(), false, false),
        };
        all.push(json!({
            "name": name.text(), "line": line, "usable": usable, "measured": measured, "mine": true,
            "asked": format!("../../processes/{file}"),
        }));
    }
    all.sort_by(|a, b| a["name"].as_str().cmp(&b["name"].as_str()));
    Ok(all)
}
