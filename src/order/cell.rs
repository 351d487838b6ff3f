//! Cells: what a table shows in them, or why that cannot be put on a piece.

/// A cell of a table.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Cell {
    /// What it shows, as far as that can be told.
    pub text: String,
    /// What keeps it from being marked.
    pub fault: Option<CellFault>,
}

/// Why what stands in a cell cannot be marked.
#[derive(Debug, Clone, PartialEq)]
pub enum CellFault {
    /// It is an error of the spreadsheet, by its sign.
    Error(String),
    /// How the spreadsheet shows it cannot be told; what it holds.
    Unshown(&'static str),
}

/// The errors that spreadsheets write into their cells, and into the CSV they save.
const ERRORS: [&str; 8] =
    ["#N/A", "#REF!", "#NAME?", "#VALUE!", "#DIV/0!", "#NUM!", "#NULL!", "#GETTING_DATA"];

impl Cell {
    /// A cell that shows a text.
    pub fn shows(text: &str) -> Cell {
        let text = text.trim();
        if ERRORS.contains(&text) {
            return Cell::error(text);
        }
        Cell { text: text.into(), fault: None }
    }

    /// A cell that holds an error.
    pub fn error(sign: &str) -> Cell {
        Cell { text: sign.into(), fault: Some(CellFault::Error(sign.into())) }
    }

    /// A cell of which only the value is known; `holds` says what it is: `a date`.
    pub fn unshown(value: String, holds: &'static str) -> Cell {
        Cell { text: value, fault: Some(CellFault::Unshown(holds)) }
    }
}
