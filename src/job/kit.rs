//! The kit: starter machines, coatings and blanks. All their numbers are common practice, none is
//! measured, and each entry says so.

use serde::{Deserialize, Serialize};

use super::error::KitError;
use super::file::{self, Absurd};
use super::file_name;
use super::near::did_you_mean;
use super::{Coating, Machine};
use crate::blank::Shape;
pub use crate::blank::Surface;
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
    let near = did_you_mean(name, &ids);
    KitError::Unknown { sort: what, name: name.to_string(), near, known: ids.join(", ") }
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
