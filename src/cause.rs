//! Cause: what the system says of a file it refuses, in words for a person.

use std::borrow::Cow;
use std::io::{Error, ErrorKind};

use crate::texts::text;

/// Why the system refused: `there is no such file`, without its number.
pub fn of(e: &Error) -> String {
    let words = match e.kind() {
        ErrorKind::NotFound => text!("cause.not-found"),
        ErrorKind::PermissionDenied => text!("cause.not-allowed"),
        ErrorKind::IsADirectory => text!("cause.folder"),
        ErrorKind::NotADirectory => text!("cause.within-file"),
        ErrorKind::StorageFull => text!("cause.disk-full"),
        ErrorKind::ReadOnlyFilesystem => text!("cause.disk-read-only"),
        _ => return numberless(&e.to_string()).into_owned(),
    };
    words.to_string()
}

/// A text without the numbers of system errors, which only programmers can look up: ` (os error 2)`.
pub fn numberless(text: &str) -> Cow<'_, str> {
    const BEGINS: &str = " (os error ";
    let mut rest = text;
    let mut kept = String::new();
    while let Some(at) = rest.find(BEGINS) {
        let after = &rest[at + BEGINS.len()..];
        let digits = after.trim_start_matches(|c: char| c.is_ascii_digit());
        kept.push_str(&rest[..at]);
        rest = digits.strip_prefix(')').unwrap_or(digits);
    }
    if kept.is_empty() && rest.len() == text.len() { Cow::Borrowed(text) } else { Cow::Owned(kept + rest) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_person_reads_words_and_no_numbers() {
        assert_eq!(of(&Error::from_raw_os_error(2)), "there is no such file");
        assert!(!of(&Error::from_raw_os_error(40)).contains("os error"));
        assert_eq!(numberless("a (os error 2): b (os error 17); c"), "a: b; c");
        assert_eq!(numberless("as it was (os 2)"), "as it was (os 2)");
    }
}
