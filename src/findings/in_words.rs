//! Findings in a few words each, as what follows from a change: "but then lines show".

use crate::texts;

/// What a finding of that name comes to; its name where it never follows from a change.
pub fn in_words(name: &str) -> &str {
    texts::known(&format!("findings.in-words.{name}")).unwrap_or(name)
}
