//! More fonts than those that ship: a file, a folder, or what the system has.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use resvg::usvg::fontdb;

use super::fonts::shipped;
use crate::texts::text;

/// Deepest folder below the one named, most files, and most bytes that are read of them.
const MAX_DEPTH: usize = 8;
const MAX_FILES: usize = 20_000;
const MAX_BYTES: u64 = 1 << 30;

/// The fonts that lettering is set in: those that ship, and any that were named.
#[derive(Debug, Clone)]
pub struct Fonts(pub(super) Arc<fontdb::Database>);

impl Default for Fonts {
    /// Those that ship.
    fn default() -> Self {
        Fonts(shipped())
    }
}

/// Why no font can be had from a place.
#[derive(Debug, thiserror::Error)]
pub enum FontsError {
    /// Nothing of that name.
    #[error("{}", text!("art.fonts.nowhere", path = .0.display()))]
    Nowhere(PathBuf),
    /// No font in it.
    #[error("{}", text!("art.fonts.none", path = .0.display()))]
    NoFont(PathBuf),
    /// None where systems keep theirs.
    #[error("{}", text!("art.fonts.no-system"))]
    NoSystem,
}

impl Fonts {
    /// The fonts that ship and those of `place`: a file, a folder with all below it, or `system` for what the system
    /// has installed.
    ///
    /// # Errors
    /// Where there is no font.
    pub fn with(place: &str) -> Result<Fonts, FontsError> {
        if place == "system" {
            return loaded(&usual_places()).ok_or(FontsError::NoSystem);
        }
        let path = PathBuf::from(place);
        if !path.exists() {
            return Err(FontsError::Nowhere(path));
        }
        loaded(std::slice::from_ref(&path)).ok_or(FontsError::NoFont(path))
    }
}

/// The shipped fonts and those of some files and folders; `None` where these hold none.
fn loaded(places: &[PathBuf]) -> Option<Fonts> {
    let mut files = Vec::new();
    places.iter().for_each(|p| gather(p, 0, &mut files));
    let mut db = (*shipped()).clone();
    let (before, mut bytes) = (db.len(), 0);
    for file in files {
        bytes += file.metadata().map_or(0, |m| m.len());
        if bytes > MAX_BYTES {
            break;
        }
        if let Ok(data) = std::fs::read(&file) {
            db.load_font_data(data);
        }
    }
    (db.len() > before).then(|| Fonts(Arc::new(db)))
}

/// Font files at a place and below it, in the order of their names, so that the same fonts are found first each time.
fn gather(place: &Path, depth: usize, files: &mut Vec<PathBuf>) {
    if files.len() >= MAX_FILES {
        return;
    }
    if place.is_file() {
        let ending = place.extension().map(|e| e.to_string_lossy().to_lowercase());
        if ending.is_some_and(|e| matches!(e.as_str(), "ttf" | "otf" | "ttc" | "otc")) {
            files.push(place.to_path_buf());
        }
    } else if depth < MAX_DEPTH {
        let mut inside: Vec<_> =
            std::fs::read_dir(place).into_iter().flatten().flatten().map(|e| e.path()).collect();
        inside.sort();
        inside.iter().for_each(|p| gather(p, depth + 1, files));
    }
}

/// Where systems keep their fonts.
fn usual_places() -> Vec<PathBuf> {
    let mut places: Vec<PathBuf> = [
        "/usr/share/fonts",
        "/usr/local/share/fonts",
        "/System/Library/Fonts",
        "/Library/Fonts",
        "/Network/Library/Fonts",
    ]
    .iter()
    .map(PathBuf::from)
    .collect();
    let below = |variable: &str, folders: &[&str]| -> Vec<PathBuf> {
        std::env::var_os(variable)
            .map(|home| folders.iter().map(|f| Path::new(&home).join(f)).collect())
            .unwrap_or_default()
    };
    places.extend(below("HOME", &[".fonts", ".local/share/fonts", "Library/Fonts"]));
    places.extend(below("SYSTEMROOT", &["Fonts"]));
    places.extend(below("LOCALAPPDATA", &["Microsoft/Windows/Fonts"]));
    places
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fonts_are_found_below_a_folder_and_what_is_none_is_said() {
        let dir = tempfile::tempdir().unwrap();
        let place = dir.path().to_str().unwrap();
        assert!(Fonts::with(place).unwrap_err().to_string().contains("no font can be read"));
        std::fs::create_dir(dir.path().join("deeper")).unwrap();
        let own = concat!(env!("CARGO_MANIFEST_DIR"), "/src/art/fonts/DejaVuSerif.ttf");
        std::fs::copy(own, dir.path().join("deeper/Serif.TTF")).unwrap();
        std::fs::write(dir.path().join("broken.otf"), "no font").unwrap();
        assert_eq!(Fonts::with(place).unwrap().0.len(), shipped().len() + 1);
        assert_eq!(Fonts::with(own).unwrap().0.len(), shipped().len() + 1);
        assert!(Fonts::with("no/such/place").unwrap_err().to_string().contains("say system"));
    }
}
