//! The table: CSV in UTF-8 with commas, semicolons or tabs between, or the first sheet of a spreadsheet; columns by name.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::cell::{Cell, CellFault, Holds};
use super::spreadsheet::{self, Sheet};
use crate::texts::text;

/// The most rows of an order.
pub const MOST_ROWS: usize = 10_000;
/// The longest table that is read, bytes.
const MOST_BYTES: u64 = 16 << 20;

/// A table with a head line.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// The names of its columns.
    pub columns: Vec<String>,
    /// Its rows.
    pub rows: Vec<TableRow>,
    /// The numbers of the rows that hold something but are hidden in the spreadsheet: they are none of `rows`.
    pub hidden: Vec<usize>,
}

/// A row of a table.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TableRow {
    /// Its number as a spreadsheet counts it, from 1: the head line and empty lines have numbers too.
    pub number: usize,
    /// What stands in each column.
    pub cells: BTreeMap<String, String>,
    /// The columns of which nothing can be marked here.
    pub faults: BTreeMap<String, CellFault>,
}

/// A text with what a row has filled in.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Filled {
    /// The text.
    pub text: String,
    /// The columns that it asks for, in their order.
    pub columns: Vec<String>,
}

/// Why a text cannot be filled from a row.
#[derive(Debug, Clone, PartialEq)]
pub enum Unfilled {
    /// This row cannot be used, in a sentence.
    Row(String),
    /// The table has to be brought otherwise: what is wrong here would be wrong in other rows too, and cost blanks.
    Table(String),
}

/// Why a table cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum TableError {
    /// The file cannot be read.
    #[error("{}", text!(
        "order.table.unreadable",
        file = path.display(),
        why = crate::cause::of(cause),
        next = crate::job::near::or_check(path, cause),
    ))]
    Unreadable {
        /// Where.
        path: PathBuf,
        /// The system's reason.
        cause: std::io::Error,
    },
    /// The text is no table.
    #[error("{}", text!("order.table.wrong", file = path.display(), why = .why))]
    Wrong {
        /// Where.
        path: PathBuf,
        /// What is wrong, in a sentence.
        why: String,
    },
}

impl Table {
    /// Reads a table.
    ///
    /// # Errors
    /// A file that cannot be read; text that is not UTF-8; a head line with empty or doubled names; no row, or too many; a
    /// row with other than the head line's cells.
    pub fn read(path: &Path) -> Result<Table, TableError> {
        let unreadable = |cause| TableError::Unreadable { path: path.to_path_buf(), cause };
        let wrong = |why: &str| TableError::Wrong { path: path.to_path_buf(), why: why.to_string() };
        let size = std::fs::metadata(path).map_err(unreadable)?.len();
        if size > MOST_BYTES {
            return Err(wrong(text!("order.table.long")));
        }
        let bytes = std::fs::read(path).map_err(unreadable)?;
        if bytes.starts_with(b"PK\x03\x04") {
            return spreadsheet::cells(&bytes).and_then(Table::of).map_err(|why| wrong(&why));
        }
        // Compound files (MS-CFB 2.2): spreadsheets before XLSX, and locked ones of today.
        if bytes.starts_with(b"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1") {
            let locked: Vec<u8> = "EncryptedPackage".encode_utf16().flat_map(u16::to_le_bytes).collect();
            let is_locked = bytes.windows(locked.len()).any(|w| w == locked);
            return Err(wrong(if is_locked {
                text!("order.table.locked")
            } else {
                text!("order.table.old")
            }));
        }
        let text = String::from_utf8(bytes).map_err(|_| wrong(text!("order.table.no-utf-8")))?;
        Table::parse(&text).map_err(|why| wrong(&why))
    }

    /// Parses the text of a table.
    ///
    /// # Errors
    /// As [`Table::read`], in a sentence.
    pub fn parse(text: &str) -> Result<Table, String> {
        let text = text.trim_start_matches('\u{FEFF}');
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(separator(text))
            .flexible(true)
            .has_headers(false)
            .trim(csv::Trim::All)
            .from_reader(text.as_bytes());
        let mut lines = Vec::new();
        let mut row = 1;
        // The head line is a line like the others here.
        for record in reader.records() {
            let record = record.map_err(|e| match e.position() {
                Some(p) => text!("order.table.line", line = p.line()),
                None => text!("order.table.senseless").to_string(),
            })?;
            row += record.position().map_or(0, |p| line_ends(text.as_bytes(), p.byte() as usize));
            lines.push((row, record.iter().map(Cell::shows).collect()));
            if lines.len() > MOST_ROWS + 1 {
                break;
            }
        }
        Table::of(Sheet { lines, ..Sheet::default() })
    }

    /// The table of a sheet whose first line names the columns, hidden or not.
    fn of(sheet: Sheet) -> Result<Table, String> {
        let Sheet { mut lines, hidden } = sheet;
        drop_empty_columns(&mut lines);
        let mut lines = lines.into_iter();
        let (_, columns) = lines.next().unwrap_or_default();
        let columns: Vec<String> = columns.into_iter().map(|cell| cell.text).collect();
        if columns.iter().all(String::is_empty) {
            return Err(text!("order.table.empty").into());
        }
        if let Some(i) = columns.iter().position(String::is_empty) {
            return Err(text!("order.table.no-name", number = i + 1));
        }
        if let Some(name) =
            columns.iter().enumerate().find_map(|(i, n)| columns[..i].contains(n).then_some(n))
        {
            return Err(text!("order.table.two-names", name));
        }
        let (mut rows, mut left_out) = (Vec::new(), Vec::new());
        for (number, cells) in lines.filter(|(_, cells)| cells.iter().any(|c| !c.text.is_empty())) {
            if cells.len() != columns.len() {
                return Err(text!("order.table.cells", number, cells = cells.len(), first = columns.len()));
            }
            if rows.len() + left_out.len() >= MOST_ROWS {
                return Err(text!("order.table.most", most = MOST_ROWS));
            }
            if hidden.contains(&number) {
                left_out.push(number);
                continue;
            }
            let mut row = TableRow { number, ..TableRow::default() };
            for (column, cell) in columns.iter().zip(cells) {
                row.faults.extend(cell.fault.map(|fault| (column.clone(), fault)));
                row.cells.insert(column.clone(), cell.text);
            }
            rows.push(row);
        }
        if rows.is_empty() {
            return Err(if left_out.is_empty() {
                text!("order.table.headings-only").into()
            } else {
                text!("order.table.hidden-only").into()
            });
        }
        Ok(Table { columns, rows, hidden: left_out })
    }
}

/// Takes out the columns in which nothing stands, not even a name: what was copied or saved was wider than what is filled.
fn drop_empty_columns(lines: &mut [(usize, Vec<Cell>)]) {
    let widest = lines.iter().map(|(_, cells)| cells.len()).max().unwrap_or(0);
    let mut filled = vec![false; widest];
    for (_, cells) in lines.iter() {
        filled.iter_mut().zip(cells).for_each(|(filled, cell)| *filled |= !cell.text.is_empty());
    }
    for (_, cells) in lines {
        let mut filled = filled.iter();
        cells.retain(|_| filled.next().is_some_and(|&filled| filled));
    }
}

/// How many lines end at `at`, where the reader places a row: behind the row before, or within the end of its line, and ahead
/// of empty ones. Line ends within a row's quotes lie elsewhere: a spreadsheet shows them within a cell.
fn line_ends(text: &[u8], at: usize) -> usize {
    let is_end = |b: &&u8| matches!(**b, b'\r' | b'\n');
    let (before, behind) = text.split_at_checked(at).unwrap_or((text, &[]));
    let ends = || before.iter().rev().take_while(is_end).chain(behind.iter().take_while(is_end));
    let count = |sign: u8| ends().filter(|b| **b == sign).count();
    count(b'\n').max(count(b'\r'))
}

/// What stands between the cells: the sign that the first line has most of, outside quotes.
fn separator(text: &str) -> u8 {
    let first = text.lines().find(|line| !line.trim().is_empty()).unwrap_or_default();
    let count = |sign: char| {
        let mut quoted = false;
        first
            .chars()
            .filter(|&c| {
                quoted ^= c == '"';
                c == sign && !quoted
            })
            .count()
    };
    let signs = [',', ';', '\t'];
    let best = signs.into_iter().max_by_key(|&s| (count(s), s == ',')).unwrap_or(',');
    best as u8
}

impl TableRow {
    /// `text` with each `{column}` replaced by what stands there; `{{` and `}}` are braces.
    ///
    /// # Errors
    /// A column that is not there or whose cell cannot be marked, or a brace without its partner.
    pub fn fill(&self, text: &str) -> Result<String, Unfilled> {
        self.filled(text).map(|filled| filled.text)
    }

    /// The same with the columns that `text` asks for.
    ///
    /// # Errors
    /// As [`TableRow::fill`].
    pub fn filled(&self, text: &str) -> Result<Filled, Unfilled> {
        let mut out = String::with_capacity(text.len());
        let mut columns: Vec<String> = Vec::new();
        let mut rest = text;
        while let Some(at) = rest.find(['{', '}']) {
            out.push_str(&rest[..at]);
            let brace = &rest[at..at + 1];
            rest = &rest[at + 1..];
            if let Some(after) = rest.strip_prefix(brace) {
                out.push_str(brace);
                rest = after;
                continue;
            }
            let end = rest.find('}').filter(|_| brace == "{");
            let Some(end) = end else {
                return Err(Unfilled::Row(text!("order.table.brace", text)));
            };
            let name = rest[..end].trim();
            let Some(cell) = self.cells.get(name) else {
                let known: Vec<&str> = self.cells.keys().map(String::as_str).collect();
                return Err(Unfilled::Row(match known.as_slice() {
                    [] => text!("order.table.none", name),
                    [only] => text!("order.table.no-column.one", name, only),
                    _ => text!("order.table.no-column.many", name, columns = known.join(", ")),
                }));
            };
            if let Some(fault) = self.faults.get(name) {
                return Err(self.unfilled(name, fault));
            }
            out.push_str(cell);
            if columns.iter().all(|known| known != name) {
                columns.push(name.to_string());
            }
            rest = &rest[end + 1..];
        }
        out.push_str(rest);
        Ok(Filled { text: out, columns })
    }

    /// What a cell holds whose look is not known.
    pub fn unshown(&self, column: &str) -> Option<Holds> {
        match self.faults.get(column) {
            Some(CellFault::Unshown(holds)) => Some(*holds),
            _ => None,
        }
    }

    /// A cell as it stands in a table that is written as text.
    pub fn written(&self, column: &str) -> String {
        let text = self.cells.get(column).map_or("", String::as_str);
        match self.unshown(column) {
            Some(holds) => format!("{} {text}", holds.sign()),
            None => text.into(),
        }
    }

    /// Whether nothing stands in a column.
    pub fn is_empty(&self, column: &str) -> bool {
        self.cells.get(column).is_none_or(|cell| cell.trim().is_empty())
    }

    fn unfilled(&self, column: &str, fault: &CellFault) -> Unfilled {
        match fault {
            CellFault::Error(sign) => Unfilled::Row(text!("order.cell.error", column, sign)),
            // Not "format it as text": a date would turn into its number.
            CellFault::Unshown(holds) => {
                Unfilled::Table(text!("order.cell.unshown", row = self.number, column, holds = holds.said()))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_told_by_whatever_stands_between_them() {
        // Rows are counted as a spreadsheet counts them, an empty one too.
        for (text, second) in [
            ("name,role\n\"Anna, the first\",keeper\nBo,cook\n", 3),
            ("\u{FEFF}name;role\r\nAnna, the first;keeper\r\n;\r\n\r\nBo;cook\r\n", 5),
            ("\n\nname\trole\nAnna, the first\tkeeper\n\n\nBo\tcook", 7),
            ("name;role\rAnna, the first;keeper\rBo;cook", 3),
        ] {
            let table = Table::parse(text).unwrap();
            assert_eq!(table.columns, ["name", "role"]);
            assert_eq!(table.rows.len(), 2, "{text:?}");
            assert_eq!(table.rows[0].cells["name"], "Anna, the first");
            assert_eq!((table.rows[1].number, table.rows[1].cells["role"].as_str()), (second, "cook"));
        }
    }

    #[test]
    fn line_ends_within_a_cell_are_no_rows() {
        for end in ["\n", "\r\n"] {
            let text =
                ["name,role", "\"Anna", "", "of the light\",keeper", "\"Bo", "\",cook", "", "Ida,cook"]
                    .join(end);
            let table = Table::parse(&text).unwrap();
            let numbers: Vec<usize> = table.rows.iter().map(|row| row.number).collect();
            assert_eq!(numbers, [2, 3, 5], "{text:?}");
        }
    }

    #[test]
    fn columns_in_which_nothing_stands_are_none() {
        for text in ["name\t\trole\nAnna\t\tkeeper\nBo\t\t\n", "name,role,,\nAnna,keeper,,\nBo,,\n"] {
            let table = Table::parse(text).unwrap();
            assert_eq!(
                (table.columns, table.rows.len()),
                (vec!["name".into(), "role".into()], 2),
                "{text:?}"
            );
            assert_eq!(table.rows[0].cells["role"], "keeper");
        }
        // What has a name stays, empty or not.
        assert_eq!(Table::parse("name,role\nAnna,\n").unwrap().columns, ["name", "role"]);
    }

    #[test]
    fn rows_that_a_spreadsheet_hides_are_none_of_the_tables() {
        let lines =
            || ["name", "Anna", "Bo", "", "Ida"].iter().zip(1..).map(|(c, n)| (n, vec![Cell::shows(c)]));
        let of = |hidden: &[usize]| {
            Table::of(Sheet { lines: lines().collect(), hidden: hidden.iter().copied().collect() })
        };
        let table = of(&[1, 3, 4]).unwrap();
        assert_eq!(table.rows.iter().map(|row| row.number).collect::<Vec<_>>(), [2, 5]);
        assert_eq!(table.hidden, [3], "an empty row is none, and headings are read hidden or not");
        assert!(of(&[2, 3, 5]).unwrap_err().starts_with("all its rows are hidden"));
    }

    #[test]
    fn what_is_no_table_is_said_in_a_sentence() {
        for (text, said) in [
            ("", "is empty"),
            ("name\n", "no rows"),
            ("name,name\na,b\n", "two columns are called 'name'"),
            ("name,\na,b\n", "column 2 has no name"),
            ("name,role\na,b,c\n", "row 2 has 3 cells"),
        ] {
            let e = Table::parse(text).unwrap_err();
            assert!(e.contains(said), "{text:?}: {e}");
        }
        let long = format!("name\n{}", "x\n".repeat(MOST_ROWS + 1));
        assert!(Table::parse(&long).unwrap_err().contains("more than 10000 rows"));
    }

    #[test]
    fn an_old_or_locked_spreadsheet_is_told_from_letters() {
        let file = tempfile::NamedTempFile::new().unwrap();
        let mut bytes = b"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1 and so on".to_vec();
        let mut said = |more: &[u8]| {
            bytes.extend_from_slice(more);
            std::fs::write(file.path(), &bytes).unwrap();
            Table::read(file.path()).unwrap_err().to_string()
        };
        assert!(said(b"").ends_with("it is an old spreadsheet (.xls); save it as XLSX"));
        let locked: Vec<u8> = "EncryptedPackage".encode_utf16().flat_map(u16::to_le_bytes).collect();
        assert!(said(&locked).ends_with("it is locked with a password; save it without one"));
    }

    #[test]
    fn columns_fill_a_text() {
        let row = Table::parse("name,role\nAnna,keeper").unwrap().rows.remove(0);
        assert_eq!(row.fill("{name} · {{{role}}}").unwrap(), "Anna · {keeper}");
        for (text, said) in [
            ("{nmae}", "no column 'nmae'; it has name, role"),
            ("{name", "brace without its partner"),
            ("name}", "brace without its partner"),
        ] {
            let Unfilled::Row(why) = row.fill(text).unwrap_err() else { panic!("{text}") };
            assert!(why.contains(said), "{text}: {why}");
        }
    }

    #[test]
    fn a_cell_that_cannot_be_marked_is_refused_where_it_is_used() {
        let mut row = Table::parse("name,no,since\n#N/A,7,2025").unwrap().rows.remove(0);
        row.faults.insert("since".into(), CellFault::Unshown(Holds::Date));
        assert_eq!(row.fill("No. {no}").unwrap(), "No. 7");
        let Unfilled::Row(why) = row.fill("{name}").unwrap_err() else { panic!("an error is the row's") };
        assert_eq!(why, "its cell 'name' holds #N/A, an error of the spreadsheet");
        let Unfilled::Table(why) = row.fill("{since}").unwrap_err() else { panic!("a date is the table's") };
        assert!(why.starts_with("row 2 of the table: its cell 'since' holds a date"), "{why}");
    }
}
