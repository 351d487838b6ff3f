//! Said: a sentence for people, as the command line says it and as the page does, which has fields and buttons in the place of
//! options.

use std::error::Error;
use std::fmt;
use std::iter::successors;
use std::ops::Deref;

use serde::{Deserialize, Serialize, Serializer};

/// A sentence for people, or a part of one. It reads, is shown and is written as the command line says it.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(from = "String")]
pub struct Said {
    line: String,
    page: String,
}

impl Said {
    /// One sentence for the command line and another for the page.
    pub fn two(line: impl Into<String>, page: impl Into<String>) -> Said {
        Said { line: line.into(), page: page.into() }
    }

    /// What an error says; where a sentence within it is another one on the page, so is the whole.
    pub fn of_error(e: &(dyn Error + 'static)) -> Said {
        let said = Said::from(e.to_string());
        match successors(Some(e), |&e| e.source()).find_map(|e| e.downcast_ref::<Said>()) {
            Some(own) => Said { page: said.page.replace(&own.line, &own.page), ..said },
            None => said,
        }
    }

    /// The same with more words on both.
    #[must_use]
    pub fn and(mut self, more: impl Into<Said>) -> Said {
        self.push(more);
        self
    }

    /// The same with more words on the command line alone.
    #[must_use]
    pub fn line(self, words: impl Into<String>) -> Said {
        self.and(Said::two(words, ""))
    }

    /// The same with more words on the page alone.
    #[must_use]
    pub fn page(self, words: impl Into<String>) -> Said {
        self.and(Said::two("", words))
    }

    /// Adds words on both.
    pub fn push(&mut self, more: impl Into<Said>) {
        let more = more.into();
        self.line.push_str(&more.line);
        self.page.push_str(&more.page);
    }

    /// As the command line says it.
    pub fn on_line(&self) -> &str {
        &self.line
    }

    /// As the page says it.
    pub fn on_page(&self) -> &str {
        &self.page
    }

    /// The same with each `made` another way, as where sentences are joined or get their full stop.
    #[must_use]
    pub fn each(&self, made: impl Fn(&str) -> String) -> Said {
        Said { line: made(&self.line), page: made(&self.page) }
    }
}

impl From<String> for Said {
    fn from(both: String) -> Said {
        Said { page: both.clone(), line: both }
    }
}

impl From<&str> for Said {
    fn from(both: &str) -> Said {
        Said::two(both, both)
    }
}

impl Deref for Said {
    type Target = str;

    fn deref(&self) -> &str {
        self.on_line()
    }
}

impl fmt::Display for Said {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.line)
    }
}

/// The source of an error that says it.
impl Error for Said {}

impl Serialize for Said {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.serialize_str(&self.line)
    }
}

impl PartialEq<&str> for Said {
    fn eq(&self, line: &&str) -> bool {
        self.line == *line
    }
}

impl PartialEq<String> for Said {
    fn eq(&self, line: &String) -> bool {
        self.line == *line
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_error_says_on_the_page_what_is_said_there() {
        #[derive(Debug, thiserror::Error)]
        #[error("{0}")]
        struct Slow(#[source] Said);
        #[derive(Debug, thiserror::Error)]
        #[error("'rose.svg' {0}; that is all")]
        struct File(#[source] Slow);
        let said = Said::two("takes long, say --time", "takes long, simplify it");
        let of_file = Said::of_error(&File(Slow(said)));
        assert_eq!(of_file, "'rose.svg' takes long, say --time; that is all");
        assert_eq!(of_file.on_page(), "'rose.svg' takes long, simplify it; that is all");
        let plain = Said::of_error(&std::fmt::Error);
        assert_eq!(plain.on_page(), plain.on_line());
    }

    #[test]
    fn options_are_for_the_command_line_and_all_else_for_both() {
        let said = Said::from("lines along y").line(" (--axis y)").and(", less time").page(" (the easel)");
        assert_eq!(said, "lines along y (--axis y), less time");
        assert_eq!(said.on_page(), "lines along y, less time (the easel)");
        assert_eq!(said.each(|s| format!("or {s}.")).on_page(), "or lines along y, less time (the easel).");
        // What is written and read again is the command line's.
        let written = serde_json::to_string(&said).unwrap();
        assert_eq!(written, "\"lines along y (--axis y), less time\"");
        let read: Said = serde_json::from_str(&written).unwrap();
        assert_eq!((read.to_string(), read.on_page()), (said.to_string(), &*said));
    }
}
