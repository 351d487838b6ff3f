//! Kit: what there is to choose from: blanks, coatings, machines, processes, screens, fonts.

use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;

use serde_json::{Value, json};

use super::home::{Home, Name};
use super::says::Says;
use super::texts::{filled, say};
use super::values;
use crate::blank::Shape;
use crate::cli;
use crate::job::Machine;
use crate::job::kit::{self, ENTRIES, Entry, Sort};
use crate::job::named::read_process;
use crate::screen::SCREENS;
use crate::texts::{KIT, translated};

/// The families that ship.
const FONTS: &[&str] = &["DejaVu Sans"];

/// All of it.
///
/// # Errors
/// Where an entry of the kit is broken.
pub(super) fn kit(home: &Home) -> Result<Value, Says> {
    let of = |sort: Sort| ENTRIES.iter().filter(move |e| e.sort == sort);
    let told = |e: &Entry| -> Result<Value, Says> {
        let (called, turns) = match e.sort {
            Sort::Machine => called(&kit::machine(e.id)?),
            _ => (kit::coating(e.id)?.name, None),
        };
        let line = cli::kit::about(e)?;
        Ok(json!({ "name": e.id, "line": line, "asked": e.id, "called": called, "turns": turns }))
    };
    let screens = SCREENS.iter().map(|s| json!({ "name": s.name, "line": s.about(), "asked": s.name }));
    // What they are called in another language than English, in which the page makes words of their names.
    let spoken: BTreeMap<&str, &str> =
        ENTRIES.iter().filter_map(|e| Some((e.id, translated(KIT, &format!("{}.name", e.id))?))).collect();
    Ok(json!({
        "blanks": of(Sort::Blank).map(blank).collect::<Result<Vec<_>, Says>>()?,
        "coatings": all(home, Own::Coatings, of(Sort::Coating).map(told).collect::<Result<_, Says>>()?)?,
        "machines": all(home, Own::Machines, of(Sort::Machine).map(told).collect::<Result<_, Says>>()?)?,
        "processes": processes(home)?,
        "screens": screens.collect::<Vec<_>>(),
        "fonts": FONTS,
        "spoken": spoken,
        "usual": { "blank": kit::DEFAULT_BLANK, "machine": kit::DEFAULT_MACHINE, "coating": kit::DEFAULT_COATING },
    }))
}

/// The longest file of a person's own that is taken, bytes.
const LONGEST: usize = 1 << 20;

/// Things of which a person may have files of their own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Own {
    /// Machines.
    Machines,
    /// Coatings.
    Coatings,
}

impl Own {
    /// Those of a folder's name.
    ///
    /// # Errors
    /// For any other.
    pub fn of(name: &str) -> Result<Own, Says> {
        [Own::Machines, Own::Coatings]
            .into_iter()
            .find(|own| own.folder() == name)
            .ok_or_else(|| Says::missing(say("says.kit.sort")))
    }

    /// The folder of the home that keeps them.
    fn folder(self) -> &'static str {
        match self {
            Own::Machines => "machines",
            Own::Coatings => "coatings",
        }
    }

    fn sort(self) -> Sort {
        match self {
            Own::Machines => Sort::Machine,
            Own::Coatings => Sort::Coating,
        }
    }

    /// One line about what a text says.
    ///
    /// # Errors
    /// A text that is no file of its kind, or says what cannot be.
    fn about(self, text: &str, name: &str) -> Result<String, Says> {
        self.told(text, name).map(|(line, ..)| line)
    }

    /// The same, what it calls itself, as a process names its machine and coating, and of a machine whether it turns round pieces.
    fn told(self, text: &str, name: &str) -> Result<(String, (String, Option<bool>)), Says> {
        Ok(match self {
            Own::Machines => {
                let machine = kit::machine_in(text, name)?;
                (cli::kit::about_machine(&machine), called(&machine))
            }
            Own::Coatings => {
                let coating = kit::coating_in(text, name)?;
                (cli::kit::about_coating(&coating), (coating.name, None))
            }
        })
    }

    /// How a job names a file of them.
    fn asked(self, name: &Name) -> String {
        format!("../../{}/{name}.toml", self.folder())
    }
}

/// What a machine calls itself, and whether it has a rotary.
fn called(machine: &Machine) -> (String, Option<bool>) {
    (machine.name.clone(), Some(machine.rotary.is_some()))
}

/// Those of the person's own, by their names, and those of the kit.
fn all(home: &Home, own: Own, kits: Vec<Value>) -> Result<Vec<Value>, Says> {
    let mut all = Vec::new();
    for (name, path) in kept(home, own.folder())? {
        let Ok(text) = fs::read_to_string(path) else { continue };
        let told = own.told(&text, name.text());
        let usable = told.is_ok();
        let (line, (called, turns)) =
            told.unwrap_or_else(|says| (says.sentence().to_string(), Default::default()));
        all.push(json!({
            "name": name.text(), "usable": usable, "mine": true, "asked": own.asked(&name),
            "line": line, "called": called, "turns": turns,
        }));
    }
    all.extend(kits);
    Ok(all)
}

/// Keeps a file of the person's own under its name, once it is sure what it says.
///
/// # Errors
/// What is no such file; another of that name, unless it is to be replaced.
pub(super) fn keep(home: &Home, own: Own, file: &str, bytes: &[u8], replace: bool) -> Result<Value, Says> {
    if bytes.len() > LONGEST {
        let folder = own.folder();
        return Err(Says::unusable(filled(
            &format!("says.kit.long.{folder}"),
            &[("file", &file), ("most", &(LONGEST >> 20))],
        )));
    }
    let text =
        str::from_utf8(bytes).map_err(|_| Says::unusable(filled("says.kit.no-text", &[("file", &file)])))?;
    let line = own.about(text, file)?;
    let name = Name::near(file.strip_suffix(".toml").unwrap_or(file), "own");
    let _held = home.writing();
    let path = home.at(&[own.folder(), &format!("{name}.toml")])?;
    if !replace && fs::read(&path).is_ok_and(|there| there != bytes) {
        let says = filled("says.kit.there", &[("name", &name)]);
        return Err(Says::overtaken(says).with("there", name.text()));
    }
    home.write(&path, bytes)?;
    Ok(json!({ "name": name.text(), "line": line, "asked": own.asked(&name) }))
}

/// The text of one of the person's own or of the kit, to be changed.
///
/// # Errors
/// Where there is none of that name.
pub(super) fn text(home: &Home, own: Own, name: &Name) -> Result<Vec<u8>, Says> {
    let mine = home.at(&[own.folder(), &format!("{name}.toml")])?;
    if let Ok(text) = fs::read(mine) {
        return Ok(text);
    }
    let folder = own.folder();
    let entry = kit::entry(own.sort(), name.text())
        .ok_or_else(|| Says::missing(filled(&format!("says.kit.missing.{folder}"), &[("name", name)])))?;
    Ok(entry.shown().into_bytes())
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
        "line": kit::spoken(&b.about),
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
    for (name, path) in kept(home, "processes")? {
        let asked = format!("../../processes/{name}.toml");
        all.push(match read_process(&path) {
            Ok(p) => json!({
                "name": name.text(), "line": values::of(&p.coating, &p.machine), "usable": true, "mine": true,
                "measured": p.measures_all(), "partly": !p.wedge.is_empty() && !p.measures_all(), "asked": asked,
                "machine": p.machine, "coating": p.coating,
            }),
            Err(e) => json!({
                "name": name.text(), "line": e.to_string(), "usable": false, "mine": true,
                "measured": false, "partly": false, "asked": asked,
            }),
        });
    }
    Ok(all)
}

/// The files that a folder of the home keeps, by the names that they have there.
pub(super) fn kept(home: &Home, folder: &str) -> Result<Vec<(Name, PathBuf)>, Says> {
    let mut all = Vec::new();
    for entry in fs::read_dir(home.at(&[folder])?)?.flatten() {
        let file = entry.file_name().to_string_lossy().into_owned();
        let Some(name) = file.strip_suffix(".toml").and_then(|n| Name::new(n).ok()) else { continue };
        if let Ok(path) = home.at(&[folder, &file]) {
            all.push((name, path));
        }
    }
    all.sort_by(|a, b| a.0.text().cmp(b.0.text()));
    Ok(all)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::home::tests::home;
    use crate::job::ProcessFile;

    #[test]
    fn a_refusal_tells_what_was_brought() {
        let (_dir, home) = home();
        for (own, all) in [(Own::Machines, "machines"), (Own::Coatings, "coatings")] {
            let long = keep(&home, own, "shed.toml", &[b'#'; LONGEST + 1], false).unwrap_err();
            let says = format!(
                "'shed.toml' is longer than 1 MB, which none of the {all} is; choose the file that you changed."
            );
            assert_eq!(long.sentence(), says);
            let none = text(&home, own, &Name::new("shed").unwrap()).unwrap_err();
            assert_eq!(none.sentence(), format!("There is no 'shed' among the {all}."));
        }
    }

    #[test]
    fn an_exposure_wedge_measures_a_part() {
        let read = |more: &str| -> ProcessFile {
            let exposure = "wedge = 'w-1'\nx_half = { value = '0.5J/mm2' }\nrise = { value = 4.0 }\n";
            toml::from_str(&format!("{exposure}{more}")).unwrap()
        };
        let rest = "x_char = { value = '2J/mm2' }\nschwarzschild = { value = 0.9 }\nbeam_along = { value = '0.1mm' }\n\
            beam_across = { value = '0.1mm' }\nunmarked = { value = 0.1 }\nmarked = { value = 0.6 }\n";
        assert!(!read("").measures_all());
        assert!(read(rest).measures_all());
        assert!(!ProcessFile { wedge: String::new(), ..read(rest) }.measures_all());
    }
}
