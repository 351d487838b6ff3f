//! Texts: what the desk says in words of its own, from the same texts as the page's own labels.

use std::fmt::Display;

use crate::texts;

/// The text of a key of the page. A key without a text shows itself, as on the page; a test finds it.
pub(super) fn say(key: &str) -> String {
    filled(key, &[])
}

/// The same with `{names}` filled in, by the rules of `words.js`.
pub(super) fn filled(key: &str, filling: &[(&str, &dyn Display)]) -> String {
    let whole = format!("{}.{key}", texts::PAGE);
    // A key without a text shows itself without its room.
    if texts::known(&whole).is_some() { texts::filled(&whole, filling) } else { key.to_string() }
}
