//! Files that were given in the place of others: what a file is by its keys, and where it belongs.

use std::path::Path;

use super::error::FileError;
use crate::said::Said;
use crate::texts::{self, text};

/// What a file of art is here.
pub(super) const PICTURE: &str = "picture";

/// Keys that stand at the top of a kind of file and of no other.
const OWN: &[(&str, &[&str])] = &[
    ("order", &["piece", "table", "tray", "copies"]),
    ("job", &["art", "layer", "tone", "dots", "burn", "scan"]),
    ("machine", &["laser", "motion", "program"]),
    ("coating", &["look", "response", "start", "work", "used_on"]),
    ("blank", &["shape", "surface"]),
    ("process", &["wedge", "x_half", "rise", "beam_along", "beam_across", "best", "sheet"]),
];

/// The kind of file that a table is by its keys; `None` for one that has those of no kind, or of several.
fn kind(table: &toml::Table) -> Option<&'static str> {
    let mut all = OWN.iter().filter(|(_, keys)| keys.iter().any(|key| table.contains_key(*key)));
    let (first, others) = (all.next(), all.count());
    first.filter(|_| others == 0).map(|(kind, _)| *kind)
}

/// Refuses the file of `path` where it is of another kind than `what`; a job file does as an order, too.
///
/// # Errors
/// What it is, and where it belongs.
pub fn refuse(what: &'static str, path: &Path, table: &toml::Table) -> Result<(), FileError> {
    match kind(table) {
        Some(is) if is != what && (is, what) != ("job", "order") => Err(other(what, path, is)),
        _ => Ok(()),
    }
}

/// The refusal of a file that is a `is` and should be a `what`.
pub(super) fn other(what: &'static str, path: &Path, is: &'static str) -> FileError {
    let (file, found, wanted) = (path.display(), called(is), called(what));
    let next = match (is, what) {
        (PICTURE, "order") => text!("job.other.picture-tray.line", file),
        (PICTURE, "job") => text!("job.other.picture-job.line").into(),
        (PICTURE, _) => String::new(),
        ("order", _) => text!("job.other.order.line", file),
        ("job", _) => text!("job.other.job.line", file),
        ("blank", "order") => text!("job.other.blank-of-order.line").into(),
        (_, "order") => text!("job.other.of-order.line", is),
        _ => text!("job.other.of-job.line", is),
    };
    FileError::Other(Said::from(text!("job.other", file, found, wanted)).line(next))
}

/// What a kind of file is called, with its article: `a machine file`.
fn called(kind: &'static str) -> &'static str {
    texts::known(&format!("job.a.{}", kind.replace(' ', "-"))).unwrap_or(kind)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::{Coating, Job, Machine, ProcessFile, file, kit};

    fn said<T: serde::de::DeserializeOwned>(what: &'static str, text: &str) -> Said {
        match file::parse::<T>(what, "a.toml".as_ref(), text) {
            Ok(_) => Said::default(),
            Err(e) => Said::of_error(&e),
        }
    }

    #[test]
    fn a_file_that_is_another_is_told_by_its_keys() {
        let machine = kit::entry(kit::Sort::Machine, "diode-5w").unwrap().text;
        let order =
            "title = 'Tags'\nblank = 'metal-tag-60'\ntable = 'names.csv'\n[[piece.layer]]\ntext = 'a'\n";
        let as_process = said::<ProcessFile>("process", machine);
        assert_eq!(
            as_process,
            "a.toml is a machine file, not a process file; name it as the machine (--machine)"
        );
        assert_eq!(as_process.on_page(), "a.toml is a machine file, not a process file");
        let as_coating = said::<Coating>("coating", machine);
        assert!(as_coating.starts_with("a.toml is a machine file, not a coating file; "), "{as_coating}");
        let as_job = said::<Job>("job", order);
        assert_eq!(as_job, "a.toml is an order, not a job file; run it with dotwright tray a.toml");
        let as_machine = said::<Machine>("machine", order);
        assert!(as_machine.starts_with("a.toml is an order, not a machine file; "), "{as_machine}");
        for entry in kit::ENTRIES {
            let table: toml::Table = toml::from_str(entry.text).unwrap();
            let is = ["machine", "coating", "blank"][entry.sort as usize];
            assert_eq!(kind(&table), Some(is), "{}", entry.id);
        }
    }

    #[test]
    fn what_is_wrong_in_a_file_of_the_right_kind_is_told_as_before() {
        for text in ["", "colour = 'red'", "[art]\ncolour = 'red'", "[art]\n[laser]", "[laser]\n[look]"] {
            let table: toml::Table = toml::from_str(text).unwrap();
            assert!(refuse("job", "a.toml".as_ref(), &table).is_ok(), "{text}");
        }
        let table: toml::Table = toml::from_str("[art]").unwrap();
        assert!(refuse("order", "a.toml".as_ref(), &table).is_ok(), "a job is an order of copies");
    }

    #[test]
    fn a_picture_is_no_file_of_settings() {
        let folder = tempfile::tempdir().unwrap();
        for (name, bytes) in [
            ("ship.svg", &b"<svg xmlns='http://www.w3.org/2000/svg'/>"[..]),
            ("ship.png", b"\x89PNG\r\n\x1a\n"),
        ] {
            let path = folder.path().join(name);
            std::fs::write(&path, bytes).unwrap();
            let said = file::read_text("order", &path).unwrap_err().to_string();
            assert!(
                said.contains("is a picture, not an order; for copies of it run dotwright prepare "),
                "{said}"
            );
        }
        let path = folder.path().join("list.toml");
        std::fs::write(&path, b"title = '\xFF'").unwrap();
        assert!(
            file::read_text("order", &path).unwrap_err().to_string().starts_with("cannot read order file ")
        );
    }
}
