//! The page's files: embedded in the program, or for whoever works on them from a folder.

use std::path::PathBuf;

use axum::http::StatusCode;

use super::says::{Answer, Says, bytes};
use super::texts::filled;

/// A file of the page: its name, its kind, its content.
type File = (&'static str, &'static str, &'static [u8]);

const HTML: &str = "text/html; charset=utf-8";
const CSS: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";
const JSON: &str = "application/json; charset=utf-8";
/// The page's texts, from those of the whole program.
const TEXTS: &str = "texts.json";
const SVG: &str = "image/svg+xml";

macro_rules! files {
    ($($kind:ident: $($name:literal),+;)+) => {
        /// All files of the page.
        const FILES: &[File] = &[$($(($name, $kind, include_bytes!($name)),)+)+];
    };
}

include!("page/files.rs");

/// Where the page's files come from.
pub(super) struct Page {
    folder: Option<PathBuf>,
}

impl Page {
    /// Those of the program, or of `folder`, read anew each time.
    pub fn new(folder: Option<PathBuf>) -> Page {
        Page { folder }
    }

    /// A file by its name.
    pub fn file(&self, name: &str) -> Answer {
        if name == TEXTS {
            return bytes(JSON, crate::texts::of_page().into_bytes());
        }
        let missing = || Says::strange(StatusCode::NOT_FOUND, filled("says.page", &[("name", &name)]));
        let (_, kind, content) = FILES.iter().find(|f| f.0 == name).ok_or_else(missing)?;
        match &self.folder {
            Some(folder) => bytes(kind, std::fs::read(folder.join(name)).map_err(|_| missing())?),
            None => bytes(kind, content.to_vec()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_file_of_the_folder_is_in_the_program() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/desk/page");
        for entry in std::fs::read_dir(folder).unwrap() {
            let name = entry.unwrap().file_name().into_string().unwrap();
            assert!(
                name == "files.rs" || FILES.iter().any(|f| f.0 == name),
                "{name} is not in page/files.rs"
            );
        }
        assert!(FILES.iter().all(|f| !f.2.is_empty()));
        assert!(Page::new(None).file("../mod.rs").is_err());
    }
}
