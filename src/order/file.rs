//! The order file: what all pieces have in common, the table that tells them apart, and the tray they lie on.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::list::is_list;
use super::outlines;
use super::spots::{Outlined, SpotsError};
use super::table::TableError;
use crate::job::{FileError, Job, KitError, file, file_name, swapped};
use crate::texts::text;
use crate::units::Mm;

/// An order, as it was asked.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Order {
    /// What the order is called. Default: the file's name.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub title: Option<String>,
    /// The blank of the pieces: an entry of the kit, a file or a shape; may hold `{columns}`. Default: that of `piece`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub blank: Option<String>,
    /// The table's file, CSV, XLSX or ODS, as seen from the order's folder: a row is a piece. Default: one piece.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub table: Option<String>,
    /// What a piece is called, with `{columns}`. Default: its first text, else its art.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// The column that says how many of a piece are wanted, or their number. Default 1; without a table as many as there
    /// are spots.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub copies: Option<String>,
    /// How the pictures of a piece are read, photo, drawing, paper or auto; may hold `{columns}`, and an empty cell leaves
    /// it to the program. It holds for the pictures that the table names; where it names none, for all. Default: as `piece`
    /// has it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub read_as: Option<String>,
    /// The tray.
    pub tray: TrayJob,
    /// The piece, as in a job file; its texts, files, coating and process may hold `{columns}`.
    pub piece: Job,
    /// Whether its file is that of a job, which has no table `piece`.
    #[serde(skip)]
    pub is_job: bool,
}

/// The tray, as it was asked.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct TrayJob {
    /// Spots in columns and rows: `4x5`. Default: one row of as many as there are pieces.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub grid: Option<String>,
    /// Between blanks and around them. Default 5mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gap: Option<Mm>,
    /// Instead of a grid, a jig that is drawn already: an SVG file, as seen from the order's folder. Each closed outline is
    /// a spot, an upright rectangle, a circle or an ellipse; one around all others, else the page, is the tray.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outlines: Option<String>,
    /// Instead of a grid, the lower left corner of each spot from that of the tray, mm.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub spots: Vec<[f64; 2]>,
}

/// Why an order cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum OrderError {
    /// The file.
    #[error(transparent)]
    File(#[from] FileError),
    /// A blank.
    #[error(transparent)]
    Kit(#[from] KitError),
    /// The table.
    #[error(transparent)]
    Table(#[from] TableError),
    /// The tray.
    #[error(transparent)]
    Spots(#[from] SpotsError),
    /// A row of the table.
    #[error("{}", text!("order.row", row = .0, why = .1))]
    Row(usize, String),
    /// Something else of the order.
    #[error("{0}")]
    Absurd(String),
}

impl Order {
    /// Reads an order file, or a job file as an order of copies of one piece.
    ///
    /// # Errors
    /// Where it cannot be read or is neither; the sentence names the line.
    pub fn read(path: &Path) -> Result<Order, OrderError> {
        if let Some(table) = named_as_table(path) {
            return Err(OrderError::Absurd(text!("order.file.is-table", file = path.display(), table)));
        }
        let text = file::read_text("order", path)?;
        let table = file::parse::<toml::Table>("order", path, &text);
        if table.is_err() && is_list(&text) {
            let named = path.file_name().unwrap_or_default().to_string_lossy();
            return Err(OrderError::Absurd(text!("order.file.is-list", file = path.display(), named)));
        }
        let table = table?;
        let keys = ["piece", "table", "tray", "copies", "title", "read_as"];
        let mut order = if keys.iter().any(|k| table.contains_key(*k)) {
            file::parse::<Order>("order", path, &text)?
        } else {
            swapped::refuse("order", path, &table)?;
            let piece = file::parse::<Job>("job", path, &text)?.with_edits(&table);
            Order { piece, is_job: true, ..Order::default() }
        };
        let stem = path.file_stem().map(|s| s.to_string_lossy().into_owned());
        order.title = order.title.or(stem);
        Ok(order)
    }

    /// The spots of the drawing that the order at `path` names; `None` where it names none.
    ///
    /// # Errors
    /// See [`SpotsError`].
    pub fn outlined(&self, path: &Path) -> Result<Option<Outlined>, OrderError> {
        let drawing =
            self.tray.outlines.as_deref().map(|drawing| outlines::read(&Order::beside(path, drawing)));
        Ok(drawing.transpose()?)
    }

    /// A file that the order names, as seen from where it lies.
    pub fn beside(order: &Path, named: &str) -> PathBuf {
        let named = file_name::path(named);
        match order.parent() {
            Some(folder) if named.is_relative() => folder.join(named),
            _ => named,
        }
    }
}

/// The file's name where it is there and is called as tables are.
fn named_as_table(path: &Path) -> Option<String> {
    let ending = path.extension()?.to_string_lossy().to_lowercase();
    let is_table = ["xlsx", "xlsm", "xls", "ods", "csv", "tsv"].contains(&ending.as_str());
    (is_table && path.is_file()).then(|| path.file_name().map(|n| n.to_string_lossy().into_owned()))?
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_given_as_the_order_is_told_from_one() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("names.CSV");
        assert!(matches!(Order::read(&path), Err(OrderError::File(_))), "there is no such file");
        std::fs::write(&path, "name\nAnna\n").unwrap();
        let said = Order::read(&path).unwrap_err().to_string();
        assert!(said.contains("is a table, not an order"), "{said}");
        assert!(said.contains("says table = \"names.CSV\", and give that"), "{said}");
        let machine = folder.path().join("laser.toml");
        std::fs::write(&machine, "[laser]\npower = '5W'\n").unwrap();
        let said = Order::read(&machine).unwrap_err().to_string();
        assert!(
            said.ends_with(
                "is a machine file, not an order; an order names it below [piece], as machine = and the file"
            ),
            "{said}"
        );
        let list = folder.path().join("note.txt");
        std::fs::write(&list, "1. Anna & Piotr\n2) O'Neill\n").unwrap();
        let said = Order::read(&list).unwrap_err().to_string();
        assert!(
            said.contains("looks like a list of names") && said.contains("table = \"note.txt\""),
            "{said}"
        );
    }
}
