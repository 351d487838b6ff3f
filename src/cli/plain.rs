//! Text as a terminal may have it: what would steer the terminal is spelled out.

use std::borrow::Cow;
use std::fmt::Write;
use std::path::Path;

/// Whether a character steers a terminal or turns the order of what follows, so that text reads as what it
/// is not: control characters (Unicode category Cc) and the bidirectional controls of Unicode Standard
/// Annex 9, with the separators of lines and paragraphs.
fn steers(c: char) -> bool {
    c.is_control() || matches!(c, '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// Spells out what steers, as `\u001b`, which is how JSON writes it too; `keep` stays as it is.
fn spelled<'a>(text: &'a str, keep: impl Fn(char) -> bool) -> Cow<'a, str> {
    let bad = |c: char| steers(c) && !keep(c);
    if !text.contains(bad) {
        return Cow::Borrowed(text);
    }
    let mut plain = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        if bad(c) {
            // Nothing can fail: the text grows in memory.
            let _ = write!(plain, "\\u{:04x}", u32::from(c));
        } else {
            plain.push(c);
        }
    }
    Cow::Owned(plain)
}

/// Text of any number of lines.
pub fn lines(text: &str) -> Cow<'_, str> {
    spelled(text, |c| matches!(c, '\n' | '\t'))
}

/// Text that stays on one line: a sentence, a name.
pub fn line(text: &str) -> Cow<'_, str> {
    spelled(text, |_| false)
}

/// A file's name, on one line.
pub fn path(path: &Path) -> String {
    line(&path.to_string_lossy()).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_steers_a_terminal_is_spelled_out_and_all_else_stays() {
        assert_eq!(line("Leuchtturm für Ägir 灯台.jpg"), "Leuchtturm für Ägir 灯台.jpg");
        assert_eq!(line("a\u{1b}[31mred\u{7}\u{9b}x\u{7f}\n"), r"a\u001b[31mred\u0007\u009bx\u007f\u000a");
        assert_eq!(line("\u{202e}gpj.exe"), r"\u202egpj.exe");
        assert_eq!(lines("one\n\ttwo\r\n"), "one\n\ttwo\\u000d\n");
    }

    #[test]
    fn json_stays_json() {
        let text = serde_json::to_string("a\u{1b}\u{9b}\u{7f}\u{2028}").unwrap();
        let back: String = serde_json::from_str(&lines(&text)).unwrap();
        assert_eq!(back, "a\u{1b}\u{9b}\u{7f}\u{2028}");
    }
}
