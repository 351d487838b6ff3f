//! Cells: what a table shows in them, or why that cannot be put on a piece.

use crate::texts::text;

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
    Unshown(Holds),
}

/// What a cell holds whose look is not known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    /// A date.
    Date,
    /// A time.
    Time,
    /// One of the two.
    DateOrTime,
    /// A percentage.
    Percentage,
    /// An amount of money.
    Money,
    /// True or false.
    Truth,
    /// A number with a format of its own.
    Number,
}

impl Holds {
    const ALL: [Holds; 7] = [
        Holds::Date,
        Holds::Time,
        Holds::DateOrTime,
        Holds::Percentage,
        Holds::Money,
        Holds::Truth,
        Holds::Number,
    ];

    /// What stands ahead of the value where a table is written as text: such as spreadsheets put in place of what they cannot
    /// show. A table of text has no other place for it, and without it the bare value would be marked.
    pub fn sign(self) -> &'static str {
        match self {
            Holds::Date => "#DATE?",
            Holds::Time => "#TIME?",
            Holds::DateOrTime => "#DATE/TIME?",
            Holds::Percentage => "#PERCENT?",
            Holds::Money => "#MONEY?",
            Holds::Truth => "#TRUTH?",
            Holds::Number => "#NUMBER?",
        }
    }

    /// In words: `a date`.
    pub fn said(self) -> &'static str {
        match self {
            Holds::Date => text!("order.holds.date"),
            Holds::Time => text!("order.holds.time"),
            Holds::DateOrTime => text!("order.holds.date-or-time"),
            Holds::Percentage => text!("order.holds.percentage"),
            Holds::Money => text!("order.holds.money"),
            Holds::Truth => text!("order.holds.truth"),
            Holds::Number => text!("order.holds.own-format"),
        }
    }
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
        let of = |holds: Holds| Some((text.strip_prefix(holds.sign())?, holds));
        if let Some((value, holds)) = Holds::ALL.into_iter().find_map(of) {
            return Cell::unshown(value.trim().into(), holds);
        }
        Cell { text: text.into(), fault: None }
    }

    /// A cell that holds an error.
    pub fn error(sign: &str) -> Cell {
        Cell { text: sign.into(), fault: Some(CellFault::Error(sign.into())) }
    }

    /// A cell of which only the value is known.
    pub fn unshown(value: String, holds: Holds) -> Cell {
        Cell { text: value, fault: Some(CellFault::Unshown(holds)) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_whose_look_is_unknown_stays_so_as_text() {
        for holds in Holds::ALL {
            let unshown = Cell::unshown("1042.5".into(), holds);
            assert_eq!(Cell::shows(&format!("{} 1042.5", holds.sign())), unshown);
        }
        assert_eq!(Cell::shows("#DATE").fault, None);
    }
}
