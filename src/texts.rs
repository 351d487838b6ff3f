//! Texts: every sentence that a maker may read on the page, from one file, so that all of it can be translated in one place.
//! Code names a text by its key and gives the values that stand in it; the English file is built in.

use std::cell::Cell;
use std::collections::BTreeMap;
use std::fmt::Display;
use std::sync::{LazyLock, OnceLock};

/// The English file: rooms, each with its texts by key. Part of the program, so whoever adds a key adds its text.
const ENGLISH: &str = include_str!("texts.en.json");

/// The room whose texts the page's own scripts ask for; they get this room alone.
pub(crate) const PAGE: &str = "page";

/// The room of the kit's words, which stand in the kit's files: a translation has them under `ENTRY.KEY`.
pub(crate) const KIT: &str = "kit";

/// Texts by key.
pub(crate) type Room = BTreeMap<String, String>;

/// Texts by room and key.
type Rooms = BTreeMap<String, Room>;

/// A file that could not be read would have no texts, and each shows its key then; a test reads it.
static BUILT_IN: LazyLock<Rooms> = LazyLock::new(|| serde_json::from_str(ENGLISH).unwrap_or_default());
static TRANSLATED: OnceLock<Rooms> = OnceLock::new();

/// Why a file of texts is not taken.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
pub(crate) enum TextsError {
    /// It is not such a file.
    #[error("is no file of texts ({0}); begin with what 'dotwright texts' prints")]
    NoTexts(String),
    /// It has a text that nothing asks for.
    #[error("has a text \"{0}\", which the English file has not; keys stay as they are there")]
    Unknown(String),
    /// Its language is named in a way that no browser knows.
    #[error(
        "has \"{0}\" as its page.lang, which names no language; write it as in \"de\", \"pt-BR\" or \"zh-Hant\""
    )]
    Language(String),
    /// A text names a value that is not given to it.
    #[error(
        "has {{{name}}} in its text \"{key}\", to which no such value is given; {{names}} stay as in the English text"
    )]
    Unfilled {
        /// The text.
        key: String,
        /// The value.
        name: String,
    },
}

/// All texts in English, with the kit's words: what a translation begins with.
pub(crate) fn english(kit: Room) -> impl serde::Serialize {
    let mut all = BUILT_IN.clone();
    all.insert(KIT.to_string(), kit);
    all
}

/// Says everything by another file from now on; a text that it lacks stays English. Once in a program's life, before anything
/// is said: what was said before stays as it is. `kit` are the kit's words in English.
pub(crate) fn translate(file: &str, kit: &Room) -> Result<(), TextsError> {
    let other = checked(file, kit)?;
    // Asked for twice, the first file holds.
    let _ = TRANSLATED.set(other);
    Ok(())
}

/// The texts of a file, if each of them is known and names known values.
fn checked(file: &str, kit: &Room) -> Result<Rooms, TextsError> {
    // Some editors begin a file with a mark of its encoding.
    let file = file.trim_start_matches('\u{feff}');
    let other: Rooms = serde_json::from_str(file).map_err(|e| TextsError::NoTexts(e.to_string()))?;
    if let Some(lang) = other.get(PAGE).and_then(|page| page.get("lang")).filter(|lang| !is_language(lang)) {
        return Err(TextsError::Language(lang.clone()));
    }
    for (room, texts) in &other {
        for (key, text) in texts {
            let whole = format!("{room}.{key}");
            let of = if room == KIT { Some(kit) } else { BUILT_IN.get(room) };
            let english = of.and_then(|r| r.get(key));
            let english = english.ok_or_else(|| TextsError::Unknown(whole.clone()))?;
            let given: Vec<&str> = names(english).collect();
            if let Some(name) = names(text).find(|name| !given.contains(name)) {
                return Err(TextsError::Unfilled { key: whole, name: name.to_string() });
            }
        }
    }
    Ok(other)
}

/// Whether it is a language as BCP 47 writes it and a browser takes it: a language, then a script, a region and variants
/// where it has them.
fn is_language(tag: &str) -> bool {
    let letters = |part: &str| part.chars().all(|c| c.is_ascii_alphabetic());
    let plain = |part: &str| part.chars().all(|c| c.is_ascii_alphanumeric());
    let mut parts = tag.split('-').peekable();
    let language = parts.next().is_some_and(|p| letters(p) && matches!(p.len(), 2 | 3 | 5..=8));
    parts.next_if(|p| p.len() == 4 && letters(p));
    parts
        .next_if(|p| (p.len() == 2 && letters(p)) || (p.len() == 3 && p.bytes().all(|c| c.is_ascii_digit())));
    let mut variants: Vec<String> = parts.map(str::to_lowercase).collect();
    let known = |p: &String| {
        plain(p)
            && (matches!(p.len(), 5..=8) || (p.len() == 4 && p.starts_with(|c: char| c.is_ascii_digit())))
    };
    let all = variants.iter().all(known);
    let many = variants.len();
    variants.sort();
    variants.dedup();
    language && all && variants.len() == many
}

/// Languages that are written from the right to the left.
const FROM_RIGHT: &[&str] =
    &["ar", "arc", "ckb", "dv", "fa", "he", "iw", "ji", "ks", "nqo", "ps", "sd", "syr", "ug", "ur", "yi"];

/// Whether what is said is written from the right to the left.
pub(crate) fn is_from_right() -> bool {
    let lang = say("page.lang");
    FROM_RIGHT.contains(&lang.split('-').next().unwrap_or(lang).to_lowercase().as_str())
}

/// The names in braces of a text.
fn names(text: &str) -> impl Iterator<Item = &str> {
    let word = |name: &&str| !name.is_empty() && name.chars().all(|c| c.is_alphanumeric() || c == '_');
    text.split('{').skip(1).filter_map(|after| Some(after.split_once('}')?.0)).filter(word)
}

/// Whether another file than the English one is used.
pub(crate) fn is_translated() -> bool {
    TRANSLATED.get().is_some()
}

thread_local! {
    static IN_ENGLISH: Cell<bool> = const { Cell::new(false) };
}

/// What `say` says in English, whatever the language of the page.
pub(crate) fn in_english<T>(say: impl FnOnce() -> T) -> T {
    let before = IN_ENGLISH.replace(true);
    let said = say();
    IN_ENGLISH.set(before);
    said
}

/// What another file than the English one says.
pub(crate) fn translated(room: &str, key: &str) -> Option<&'static str> {
    if IN_ENGLISH.get() {
        return None;
    }
    TRANSLATED.get()?.get(room)?.get(key).map(String::as_str)
}

/// The text of a key, which is its room's name, a point, and its name there, if there is one.
pub(crate) fn known(key: &str) -> Option<&'static str> {
    let (room, name) = key.split_once('.')?;
    translated(room, name).or_else(|| BUILT_IN.get(room)?.get(name).map(String::as_str))
}

/// The same. A key without a text shows itself; a test finds it.
pub(crate) fn say(key: &str) -> &str {
    known(key).unwrap_or(key)
}

/// The same with `{names}` filled in. What is filled in is not filled once more; a name that nothing is given for stays.
pub(crate) fn filled(key: &str, filling: &[(&str, &dyn Display)]) -> String {
    fill(say(key), filling)
}

/// A text that is at hand, with `{names}` filled in by the same rules.
pub(crate) fn fill(text: &str, filling: &[(&str, &dyn Display)]) -> String {
    let mut rest = text;
    let mut done = String::new();
    while let Some((before, after)) = rest.split_once('{') {
        done.push_str(before);
        let named = after.split_once('}').and_then(|(name, behind)| {
            let (_, with) = filling.iter().find(|(known, _)| *known == name)?;
            Some((with.to_string(), behind))
        });
        let (with, behind) = named.unwrap_or_else(|| ("{".to_string(), after));
        done.push_str(&with);
        rest = behind;
    }
    done + rest
}

/// All texts of the page's own scripts, as JSON.
pub(crate) fn of_page() -> String {
    let mut all = BUILT_IN.get(PAGE).cloned().unwrap_or_default();
    all.extend(TRANSLATED.get().and_then(|t| t.get(PAGE)).cloned().unwrap_or_default());
    serde_json::to_string(&all).unwrap_or_default()
}

/// `text!("room.key")` is a text as it stands, a `&'static str`; `text!("room.key", name, other = value)` is a `String` with its
/// values filled in.
macro_rules! text {
    ($key:literal $(,)?) => {
        $crate::texts::say($key)
    };
    ($key:literal, $($name:ident $(= $value:expr)?),+ $(,)?) => {
        $crate::texts::filled($key, &[$((stringify!($name), $crate::texts::text!(@value $name $(= $value)?))),+])
    };
    (@value $name:ident) => {
        &$name
    };
    (@value $name:ident = $value:expr) => {
        &$value
    };
}
pub(crate) use text;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_in_braces_are_filled_in_and_nothing_else() {
        let (asked, new) = ("{column}", 7);
        let filled = text!("page.heading.renamed", asked, column = "Member", new);
        // What is filled in is not filled once more.
        assert_eq!(
            filled,
            "The table has no column “{column}”, so the text asks for its column “Member” now: 7."
        );
        assert_eq!(text!("page.version.quicker"), "Quicker");
        // Braces that nothing is given for stay, as does a key without a text.
        assert_eq!(text!("page.heading.column"), "column {n}");
        assert_eq!(super::filled("no.such.{key}", &[("n", &1)]), "no.such.{key}");
    }

    #[test]
    fn a_file_of_texts_has_known_keys_and_known_values() {
        let kit: Room = [("zinc-spray.work.dry".to_string(), "Let it dry.".to_string())].into();
        let checked = |file| checked(file, &kit);
        assert_eq!(checked(ENGLISH).as_ref(), Ok(&*BUILT_IN));
        let words = checked(r#"{"kit": {"zinc-spray.work.dry": "Trocknen lassen."}}"#).unwrap();
        assert_eq!(words["kit"]["zinc-spray.work.dry"], "Trocknen lassen.");
        let some =
            checked(r#"{"page": {"close": "Schließen", "title.piece": "Dotwright: {name}"}}"#).unwrap();
        assert_eq!(some["page"]["close"], "Schließen");
        assert!(matches!(checked("[]"), Err(TextsError::NoTexts(_))));
        let unknown = checked(r#"{"page": {"cloze": "Zu"}}"#);
        assert_eq!(unknown, Err(TextsError::Unknown("page.cloze".into())));
        let unfilled = checked(r#"{"page": {"title.piece": "{Name}"}}"#);
        let wanted = TextsError::Unfilled { key: "page.title.piece".into(), name: "Name".into() };
        assert_eq!(unfilled, Err(wanted));
        // A mark of the encoding at its beginning is no part of it.
        assert!(checked("\u{feff}{}").is_ok());
    }

    #[test]
    fn the_language_of_a_file_is_one_that_a_browser_knows() {
        let lang = |tag: &str| checked(&format!(r#"{{"page": {{"lang": "{tag}"}}}}"#), &Room::new());
        for tag in ["de", "pt-BR", "zh-Hant-TW", "es-419", "gsw", "de-DE-1996", "sl-rozaj-biske"] {
            assert!(lang(tag).is_ok(), "{tag}");
        }
        for tag in
            ["", "de_DE", "German!", "d", "de-", "1de", "Arab", "de-DE-DE", "de-x-y", "de-1996-1996", "dé"]
        {
            assert_eq!(lang(tag), Err(TextsError::Language(tag.into())), "{tag}");
        }
    }

    #[test]
    fn the_page_knows_the_same_languages_that_are_written_from_the_right() {
        let words = include_str!("desk/page/words.js");
        let list = FROM_RIGHT.iter().map(|lang| format!("\"{lang}\"")).collect::<Vec<_>>().join(", ");
        assert!(words.contains(&format!("const FROM_RIGHT = [{list}];")), "{list}");
        assert!(!is_from_right());
    }
}
