//! Names that were nearly right.

use std::io;
use std::path::{Path, PathBuf};

use crate::texts::text;

/// ` (did you mean poster-paint?)`, or nothing where no candidate is near `name`.
pub fn did_you_mean(name: &str, candidates: &[&'static str]) -> String {
    nearest(name, candidates, NEAR)
        .map(|n| format!(" {}", text!("job.near.name", name = n)))
        .unwrap_or_default()
}

/// The least share of letter pairs in common, of both names' pairs together, at which a name counts as near.
const NEAR: f64 = 0.35;

/// As much for files, whose endings are alike anyway.
const NEAR_FILE: f64 = 0.6;
/// Files and folders that are looked at for one of nearly the right name.
const LOOKED_AT: usize = 2000;

/// What to do about a file that is not to be had: `did you mean 'samples/harbour.jpg'?`, or `check its name`.
pub fn or_check(path: &Path, why: &io::Error) -> String {
    match why.kind() {
        io::ErrorKind::NotFound => near_file(path).map_or(text!("job.near.check-name").into(), |near| {
            text!("job.near.file", file = near.display())
        }),
        io::ErrorKind::PermissionDenied => text!("job.near.permission").into(),
        _ => text!("job.near.check-name").into(),
    }
}

/// A file of nearly the same name in the same folder or in one right below it; where there is no such folder, in the
/// one that the shell stands in.
fn near_file(path: &Path) -> Option<PathBuf> {
    let name = path.file_name()?.to_str()?;
    let folder = path.parent().filter(|p| p.is_dir()).unwrap_or(Path::new(""));
    let list = |folder: &Path| -> Vec<PathBuf> {
        let here = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
        let entries = std::fs::read_dir(here).into_iter().flatten().flatten().take(LOOKED_AT);
        let mut names: Vec<_> = entries.map(|e| folder.join(e.file_name())).collect();
        names.sort();
        names
    };
    let here = list(folder);
    let below = here.iter().filter(|p| p.is_dir()).flat_map(|p| list(p)).take(LOOKED_AT);
    let all: Vec<PathBuf> = here.iter().cloned().chain(below).filter(|p| p.is_file()).collect();
    let names: Vec<&str> = all.iter().filter_map(|p| p.file_name()?.to_str()).collect();
    let found = nearest(name, &names, NEAR_FILE)?;
    all.iter().find(|p| p.file_name().is_some_and(|n| n == found)).cloned()
}

/// The candidate that shares most of its letter pairs with `name`, and more than `least` of them; the first of equals.
fn nearest<'a>(name: &str, candidates: &[&'a str], least: f64) -> Option<&'a str> {
    let pairs = |s: &str| -> Vec<(char, char)> {
        let l: Vec<char> = s.to_lowercase().chars().filter(|c| c.is_alphanumeric()).collect();
        l.windows(2).map(|w| (w[0], w[1])).collect()
    };
    let wanted = pairs(name);
    let score = |c: &str| {
        let have = pairs(c);
        let shared = wanted.iter().filter(|p| have.contains(p)).count();
        2.0 * shared as f64 / (wanted.len() + have.len()).max(1) as f64
    };
    candidates
        .iter()
        .map(|&c| (score(c), c))
        .filter(|(s, _)| *s > least)
        .rev()
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, c)| c)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_fingers_is_seen_through_and_another_word_is_not() {
        let names = ["poster-paint", "zinc-spray", "bare-slate"];
        assert_eq!(did_you_mean("Posterpant", &names), " (did you mean poster-paint?)");
        assert_eq!(did_you_mean("zink-spray", &names), " (did you mean zinc-spray?)");
        assert_eq!(did_you_mean("lacquer", &names), "");
    }

    #[test]
    fn a_file_of_nearly_that_name_is_found_here_and_in_the_folders_below() {
        let dir = tempfile::tempdir().unwrap();
        std::fs::create_dir(dir.path().join("samples")).unwrap();
        for name in ["samples/harbour.jpg", "emblem.svg"] {
            std::fs::write(dir.path().join(name), "x").unwrap();
        }
        let gone = io::Error::from(io::ErrorKind::NotFound);
        let said = |name: &str| or_check(&dir.path().join(name), &gone);
        let harbour = format!("did you mean '{}'?", dir.path().join("samples/harbour.jpg").display());
        assert_eq!(said("harbor.jpg"), harbour);
        assert_eq!(said("samples/harbour.jpeg"), harbour);
        assert!(said("emblm.svg").contains("emblem.svg"));
        assert_eq!(said("lighthouse.png"), "check its name");
    }
}
