//! The kit: starter machines, coatings and blanks. All their numbers are common practice, none is
//! measured, and each entry says so.

use serde::{Deserialize, Serialize};

use super::file::{self, Absurd, FileError};
use super::file_name;
use super::{Coating, Machine};
use crate::blank::Shape;
use crate::units::Mm;

/// What a blank's surface looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Surface {
    /// Clear glass before a dark backdrop.
    Glass,
    /// Glazed tile.
    Tile,
    /// Slate.
    Slate,
    /// Metal.
    Metal,
}

impl std::fmt::Display for Surface {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Surface::Glass => "glass",
            Surface::Tile => "tile",
            Surface::Slate => "slate",
            Surface::Metal => "metal",
        })
    }
}

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
    Blank "blank": "glass-tile-100", "glass-coaster-90", "glass-coaster-square-100", "ceramic-tile-108", "slate-coaster-100", "metal-tag-60";
}

/// The machine, coating and blank that are used when none is named.
pub const DEFAULT_MACHINE: &str = "diode-5w";
/// See [`DEFAULT_MACHINE`].
pub const DEFAULT_COATING: &str = "poster-paint";
/// See [`DEFAULT_MACHINE`].
pub const DEFAULT_BLANK: &str = "glass-tile-100";

/// Why an entry or file cannot be had.
#[derive(Debug, thiserror::Error)]
pub enum KitError {
    /// No entry and no file of that name.
    #[error("there is no {sort} '{name}', neither in the kit nor as a file{}; the kit has {known}", near.as_ref().map(|n| format!(" (did you mean {n}?)")).unwrap_or_default())]
    Unknown {
        /// What was looked for.
        sort: &'static str,
        /// The name as given.
        name: String,
        /// An entry of nearly that name.
        near: Option<&'static str>,
        /// All names of that sort.
        known: String,
    },
    /// The file is there but cannot be used.
    #[error(transparent)]
    File(#[from] FileError),
    /// A blank's shape cannot be read.
    #[error(transparent)]
    Shape(crate::blank::ShapeError),
}

/// The entry of that sort and name.
pub fn entry(sort: Sort, id: &str) -> Option<&'static Entry> {
    ENTRIES.iter().find(|e| e.sort == sort && e.id == id)
}

/// A machine by its kit name or from a file of the maker's own.
pub fn machine(name: &str) -> Result<Machine, KitError> {
    load(Sort::Machine, "machine", name, Machine::check)
}

/// A coating by its kit name or from a file of the maker's own.
pub fn coating(name: &str) -> Result<Coating, KitError> {
    load(Sort::Coating, "coating", name, Coating::check)
}

/// A blank by its kit name or from a file of the maker's own.
pub fn blank(name: &str) -> Result<KitBlank, KitError> {
    load(Sort::Blank, "blank", name, |b: &KitBlank| {
        let why = "leaves nothing of the blank";
        file::unless(b.margin.0 >= 0.0 && b.shape.inset(b.margin.0).is_some(), "margin", why)
    })
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
    let value: T = file::parse(what, path, &text)?;
    check(&value).map_err(|wrong| file::absurd(what, path, &text, wrong))?;
    Ok(value)
}

fn unknown(sort: Sort, what: &'static str, name: &str) -> KitError {
    let ids: Vec<&'static str> = ENTRIES.iter().filter(|e| e.sort == sort).map(|e| e.id).collect();
    KitError::Unknown { sort: what, name: name.to_string(), near: nearest(name, &ids), known: ids.join(", ") }
}

/// The candidate that shares most of its letter pairs with `name`, where any is near.
pub fn nearest(name: &str, candidates: &[&'static str]) -> Option<&'static str> {
    let pairs = |s: &str| -> Vec<(char, char)> {
        let l: Vec<char> = s.to_lowercase().chars().filter(|c| c.is_alphanumeric()).collect();
        l.windows(2).map(|w| (w[0], w[1])).collect()
    };
    let wanted = pairs(name);
    let score = |c: &str| {
        let have = pairs(c);
        let shared = wanted.iter().filter(|p| have.contains(p)).count();
        2.0 * shared as f64 / (wanted.len() + have.len()).max(1) as f64
    };
    candidates
        .iter()
        .map(|&c| (score(c), c))
        .filter(|(s, _)| *s > 0.35)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, c)| c)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::Standing;

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
                Sort::Blank => drop(blank(e.id).unwrap()),
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
    fn an_unknown_name_is_answered_with_the_nearest() {
        let e = coating("posterpaint").unwrap_err().to_string();
        assert!(e.contains("did you mean poster-paint?") && e.contains("zinc-spray"), "{e}");
        let e = machine("nowhere.toml").unwrap_err().to_string();
        assert!(e.contains("nowhere.toml"), "{e}");
    }
}
