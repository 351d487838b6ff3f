//! The kit: starter machines, coatings and blanks. All their numbers are common practice, none is
//! measured, and each entry says so.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::LazyLock;

use serde::{Deserialize, Serialize};

use super::error::{FileError, KitError};
use super::file::{self, Absurd};
use super::file_name;
use super::machine_keys;
use super::near::did_you_mean;
use super::{Coating, Machine};
use crate::blank::Shape;
pub use crate::blank::Surface;
use crate::texts::{self, Room, text};
use crate::units::Mm;

/// A starter blank.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KitBlank {
    /// What it is called.
    pub name: String,
    /// Its outline.
    pub shape: Shape,
    /// The margin that is kept free.
    pub margin: Mm,
    /// What its surface looks like.
    pub surface: Surface,
    /// The coatings it takes, as `--coating` names them, the usual one first. Empty: those of its surface.
    #[serde(default)]
    pub coatings: Vec<String>,
    /// In a few words.
    pub about: String,
}

/// What an entry is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Sort {
    /// A machine.
    Machine,
    /// A coating.
    Coating,
    /// A blank.
    Blank,
}

/// One entry: its sort, the name to call it by, and its file's text.
#[derive(Debug, Clone, Copy)]
pub struct Entry {
    /// What it is.
    pub sort: Sort,
    /// The name to call it by.
    pub id: &'static str,
    /// Its TOML text.
    pub text: &'static str,
}

impl Entry {
    /// Its text as it is shown to be made one's own: of a machine with a line about each key, also those it leaves out.
    pub fn shown(&self) -> String {
        match self.sort {
            Sort::Machine => machine_keys::described(self.text),
            _ => self.text.to_string(),
        }
    }
}

macro_rules! entries {
    ($($sort:ident $prefix:literal: $($id:literal),+;)+) => {
        /// All entries.
        pub const ENTRIES: &[Entry] = &[
            $($(Entry {
                sort: Sort::$sort,
                id: $id,
                text: include_str!(concat!("kit/", $prefix, "-", $id, ".toml")),
            },)+)+
        ];
    };
}

entries! {
    Machine "machine": "diode-5w", "diode-10w", "diode-20w";
    Coating "coating": "poster-paint", "dry-film-moly", "blackboard-paint", "zinc-spray", "bare-slate", "black-anodised-aluminium";
    Blank "blank": "glass-tile-100", "glass-coaster-90", "glass-coaster-square-100", "ceramic-tile-108", "slate-coaster-100", "metal-tag-60", "steel-tag-60";
}

/// Keys of an entry's file that are words for people.
const WORDS: &[&str] =
    &["name", "about", "source", "used_on", "clean", "mix", "apply", "dry", "wash_off", "finish", "cautions"];

/// The kit's words for people, by the key that a translation has them under: `poster-paint.dry`, and
/// `zinc-spray.cautions.1` of several.
pub fn words() -> Room {
    fn collect(id: &str, table: &toml::Table, all: &mut Room) {
        for (key, value) in table {
            match value {
                toml::Value::Table(inner) => collect(id, inner, all),
                toml::Value::String(words) if WORDS.contains(&key.as_str()) => {
                    all.insert(format!("{id}.{key}"), words.clone());
                }
                toml::Value::Array(each) if WORDS.contains(&key.as_str()) => {
                    let words = each.iter().filter_map(toml::Value::as_str);
                    all.extend((1..).zip(words).map(|(n, w)| (format!("{id}.{key}.{n}"), w.to_string())));
                }
                _ => {}
            }
        }
    }
    let mut all = Room::new();
    for entry in ENTRIES {
        // A test reads each entry.
        collect(entry.id, &toml::from_str(entry.text).unwrap_or_default(), &mut all);
    }
    all
}

/// Words of the kit in the language of the page. Others, of a file of a maker's own, stay as they are.
pub fn spoken(words: &str) -> &str {
    // Several entries may say the same: a translation of one of them serves all.
    static KEYS: LazyLock<BTreeMap<String, Vec<String>>> = LazyLock::new(|| {
        let mut keys: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for (key, words) in self::words() {
            keys.entry(words).or_default().push(key);
        }
        keys
    });
    if !texts::is_translated() {
        return words;
    }
    let keys = KEYS.get(words).into_iter().flatten();
    keys.into_iter().find_map(|key| texts::translated(texts::KIT, key)).unwrap_or(words)
}

/// The machine, coating and blank that are used when none is named.
pub const DEFAULT_MACHINE: &str = "diode-5w";
/// See [`DEFAULT_MACHINE`].
pub const DEFAULT_COATING: &str = "poster-paint";
/// See [`DEFAULT_MACHINE`].
pub const DEFAULT_BLANK: &str = "glass-tile-100";

/// The entry of that sort and name.
pub fn entry(sort: Sort, id: &str) -> Option<&'static Entry> {
    ENTRIES.iter().find(|e| e.sort == sort && e.id == id)
}

/// A machine by its kit name or from a file of the maker's own.
///
/// # Errors
/// A name that stands for no entry and no file; a file that is no machine, or one of a machine that cannot be.
pub fn machine(name: &str) -> Result<Machine, KitError> {
    load(Sort::Machine, "machine", name, Machine::check)
}

/// A coating by its kit name or from a file of the maker's own.
///
/// # Errors
/// A name that stands for no entry and no file; a file that is no coating, or one of a coating that cannot be.
pub fn coating(name: &str) -> Result<Coating, KitError> {
    load(Sort::Coating, "coating", name, Coating::check)
}

/// A machine as the text of a file has it, of a name that is only said.
///
/// # Errors
/// A text that is no machine file, or one of a machine that cannot be.
pub fn machine_in(text: &str, name: &str) -> Result<Machine, FileError> {
    checked("machine", Path::new(name), text, Machine::check)
}

/// A coating as the text of a file has it, of a name that is only said.
///
/// # Errors
/// A text that is no coating file, or one of a coating that cannot be.
pub fn coating_in(text: &str, name: &str) -> Result<Coating, FileError> {
    checked("coating", Path::new(name), text, Coating::check)
}

/// A blank by its kit name or from a file of the maker's own.
///
/// # Errors
/// A name that stands for no entry and no file; a file that is no blank, or one whose margin leaves nothing of it.
pub fn blank(name: &str) -> Result<KitBlank, KitError> {
    load(Sort::Blank, "blank", name, |b: &KitBlank| {
        let why = text!("job.no-blank-left");
        file::unless(b.margin.0 >= 0.0 && b.shape.inset(b.margin.0).is_some(), "margin", why)
    })
}

/// The kit's coatings for a surface, the usual one first: those that its blanks of that surface take.
///
/// # Errors
/// A blank of the kit that cannot be read.
pub fn coatings_on(surface: Surface) -> Result<Vec<String>, KitError> {
    let mut all: Vec<String> = Vec::new();
    for e in of(Sort::Blank) {
        let b = blank(e.id)?;
        if b.surface == surface {
            all.extend(b.coatings.into_iter().filter(|c| !all.contains(c)).collect::<Vec<_>>());
        }
    }
    Ok(all)
}

/// The kit's coating that is called `called` in its file (`poster paint`), with the name it goes by.
///
/// # Errors
/// A coating of the kit that cannot be read.
pub fn coating_called(called: &str) -> Result<Option<(&'static str, Coating)>, KitError> {
    for e in of(Sort::Coating) {
        let c = coating(e.id)?;
        if c.name == called {
            return Ok(Some((e.id, c)));
        }
    }
    Ok(None)
}

/// The surface that a coating is for: that of the first of the kit's blanks that takes it. `None` for one that
/// the kit does not know.
///
/// # Errors
/// A coating or a blank of the kit that cannot be read.
pub fn surface_for(coating: &Coating) -> Result<Option<Surface>, KitError> {
    let Some((id, _)) = coating_called(&coating.name)? else { return Ok(None) };
    for e in of(Sort::Blank) {
        let b = blank(e.id)?;
        if b.coatings.iter().any(|c| c == id) {
            return Ok(Some(b.surface));
        }
    }
    Ok(None)
}

fn of(sort: Sort) -> impl Iterator<Item = &'static Entry> {
    ENTRIES.iter().filter(move |e| e.sort == sort)
}

fn load<T: serde::de::DeserializeOwned>(
    sort: Sort,
    what: &'static str,
    name: &str,
    check: impl Fn(&T) -> Result<(), Absurd>,
) -> Result<T, KitError> {
    let path = &file_name::path(name);
    let text = match entry(sort, name) {
        Some(e) => e.text.to_string(),
        None if path.is_file() || name.ends_with(".toml") => file::read_text(what, path)?,
        None => return Err(unknown(sort, what, name)),
    };
    Ok(checked(what, path, &text, check)?)
}

fn checked<T: serde::de::DeserializeOwned>(
    what: &'static str,
    path: &Path,
    text: &str,
    check: impl Fn(&T) -> Result<(), Absurd>,
) -> Result<T, FileError> {
    let value: T = file::parse(what, path, text)?;
    check(&value).map_err(|wrong| file::absurd(what, path, text, wrong))?;
    Ok(value)
}

fn unknown(sort: Sort, what: &'static str, name: &str) -> KitError {
    let ids: Vec<&'static str> = of(sort).map(|e| e.id).collect();
    let near = did_you_mean(name, &ids);
    KitError::Unknown { sort: what, name: name.to_string(), near, known: ids.join(", ") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::Standing;

    #[test]
    fn what_the_kit_says_to_people_is_there_to_be_translated() {
        let words = words();
        assert_eq!(words["poster-paint.name"], "poster paint");
        assert!(words["zinc-spray.cautions.1"].starts_with("Zinc fume"));
        // No sentence of an entry is left out: each has a space and begins a value of its file.
        let sentences = |text: &str| {
            text.lines().filter(|l| l.contains(" = \"") && l.split('"').nth(1).unwrap().contains(' ')).count()
        };
        for e in ENTRIES {
            let said = words.iter().filter(|(k, w)| {
                k.starts_with(&format!("{}.", e.id)) && !k.contains(".cautions.") && w.contains(' ')
            });
            assert_eq!(said.count(), sentences(e.text), "{}", e.id);
        }
        // In English, and a maker's own words in any language, they stay as they are.
        assert_eq!(spoken("poster paint"), "poster paint");
    }

    #[test]
    fn every_entry_can_be_used_and_says_that_it_is_assumed() {
        for e in ENTRIES {
            match e.sort {
                Sort::Machine => {
                    let m = machine(e.id).unwrap();
                    assert_eq!(m.standing, Standing::Assumed, "{}", e.id);
                    assert!(m.source.contains("common practice"), "{}", e.id);
                }
                Sort::Coating => {
                    let c = coating(e.id).unwrap();
                    assert_eq!(c.standing, Standing::Assumed, "{}", e.id);
                    assert!(c.source.contains("common practice"), "{}", e.id);
                }
                Sort::Blank => {
                    let b = blank(e.id).unwrap();
                    assert!(!b.coatings.is_empty(), "{} names what it takes", e.id);
                    for c in &b.coatings {
                        assert!(entry(Sort::Coating, c).is_some(), "{} of {}", c, e.id);
                    }
                }
            }
        }
    }

    #[test]
    fn every_coating_marks_fully_without_char_at_its_start() {
        for e in ENTRIES.iter().filter(|e| e.sort == Sort::Coating) {
            let c = coating(e.id).unwrap();
            let (r, x) = (c.response(), c.start.exposure.0);
            assert!(r.rise_at(x) > 0.95, "{}: a full mark at its start, {}", e.id, r.rise_at(x));
            assert!(r.char_at(x) < 0.01, "{}: no char at its start, {}", e.id, r.char_at(x));
            assert!(
                r.char_at(2.0 * x) >= 0.05 || e.id == "bare-slate",
                "{}: doubled exposure chars, {}",
                e.id,
                r.char_at(2.0 * x)
            );
        }
    }

    #[test]
    fn every_surface_has_its_coatings_and_every_coating_its_surface() {
        assert_eq!(coatings_on(Surface::Glass).unwrap(), ["poster-paint", "blackboard-paint", "zinc-spray"]);
        assert_eq!(coatings_on(Surface::Tile).unwrap(), ["dry-film-moly"]);
        assert_eq!(coatings_on(Surface::Slate).unwrap(), ["bare-slate"]);
        assert_eq!(coatings_on(Surface::Metal).unwrap(), ["black-anodised-aluminium", "dry-film-moly"]);
        for e in of(Sort::Coating) {
            let surface = surface_for(&coating(e.id).unwrap()).unwrap();
            assert!(surface.is_some(), "no blank of the kit takes {}", e.id);
        }
        let own = Coating { name: "chalk".into(), ..coating("poster-paint").unwrap() };
        assert_eq!(surface_for(&own).unwrap(), None);
    }

    #[test]
    fn an_unknown_name_is_answered_with_the_nearest() {
        let e = coating("posterpaint").unwrap_err().to_string();
        assert!(e.contains("did you mean poster-paint?") && e.contains("zinc-spray"), "{e}");
        let e = machine("nowhere.toml").unwrap_err().to_string();
        assert!(e.contains("nowhere.toml"), "{e}");
    }
}
