//! Texts: what the desk says on its page in words of its own, from the file that the page's own labels stand in, so that they
//! can be translated in one place. What the library says is its own.

use std::collections::BTreeMap;
use std::fmt::Display;
use std::sync::LazyLock;

/// The file, as it is in the program.
const FILE: &str = include_str!("page/texts.en.json");

/// A file that could not be read would have no texts, and each shows its key then.
static TEXTS: LazyLock<BTreeMap<String, String>> =
    LazyLock::new(|| serde_json::from_str(FILE).unwrap_or_default());

/// The text of a key. A key without a text shows itself, as on the page; a test finds it.
pub(super) fn say(key: &str) -> String {
    filled(key, &[])
}

/// The same with `{names}` filled in, by the rules of `words.js`.
pub(super) fn filled(key: &str, filling: &[(&str, &dyn Display)]) -> String {
    let mut rest = TEXTS.get(key).map_or(key, String::as_str);
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_in_braces_are_filled_in_and_nothing_else() {
        let filled = filled("heading.renamed", &[("asked", &"{column}"), ("column", &"Member"), ("new", &7)]);
        // What is filled in is not filled once more.
        assert_eq!(
            filled,
            "The table has no column “{column}”, so the text asks for its column “Member” now: 7."
        );
        assert_eq!(say("version.quicker"), "Quicker");
        // Braces that nothing is given for stay, as does a key without a text.
        assert_eq!(say("heading.column"), "column {n}");
        assert_eq!(super::filled("no.such.{key}", &[("n", &1)]), "no.such.{key}");
    }
}
