//! Spreadsheets: the cells of the first sheet of an XLSX or ODS file.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Cursor;

use calamine::{Data, Reader, Style, Xlsx};
use resvg::usvg::roxmltree::{Document, ParsingOptions};

use super::cell::{Cell, Holds};
use super::number_format::{GENERAL, iso, moment, number, plain};
use super::open_document;
use super::table::MOST_ROWS;
use crate::texts::text;

/// What the files within a spreadsheet may come to, bytes.
pub(super) const MOST_BYTES: u64 = 128 << 20;
/// The most columns that are read.
pub(super) const MOST_COLUMNS: usize = 200;

/// What is read of a sheet.
#[derive(Debug, Default)]
pub struct Sheet {
    /// Its lines, each with its number.
    pub lines: Vec<(usize, Vec<Cell>)>,
    /// The numbers of those that are hidden, by a filter or by hand.
    pub hidden: BTreeSet<usize>,
}

/// The lines of the first sheet; all as wide as the first, which names the columns.
///
/// # Errors
/// Where it is no spreadsheet, or a larger one than an order has.
pub fn cells(bytes: &[u8]) -> Result<Sheet, String> {
    let no_sheet = || text!("order.spreadsheet.none").to_string();
    let archive = rawzip::ZipArchive::from_slice(bytes).map_err(|_| no_sheet())?;
    let mut all = 0u64;
    let mut open_document = false;
    let mut entries = archive.entries();
    while let Some(entry) = entries.next_entry().map_err(|_| no_sheet())? {
        all = all.saturating_add(entry.uncompressed_size_hint());
        open_document |= entry.file_path().as_ref() == b"content.xml";
    }
    if all > MOST_BYTES {
        return Err(text!("order.spreadsheet.large").into());
    }
    let sheet = if open_document {
        open_document::unpacked(&archive, "content.xml").and_then(|text| open_document::sheet(&text))
    } else {
        xlsx(bytes).map(|lines| Sheet { lines, hidden: hidden(&archive).unwrap_or_default() })
    };
    let mut sheet = sheet.ok_or_else(no_sheet)?;
    let Some((_, names)) = sheet.lines.first() else { return Ok(sheet) };
    // Cells without a name at the right are remarks beside the table.
    let width = names.iter().rposition(|n| !n.text.is_empty()).map_or(0, |last| last + 1);
    if width > MOST_COLUMNS {
        return Err(text!("order.spreadsheet.wide", most = MOST_COLUMNS));
    }
    for (_, line) in &mut sheet.lines {
        line.truncate(width);
    }
    Ok(sheet)
}

/// Cells that are joined with those below them: the number of the first line and the place in it, and the number of the last
/// line.
pub(super) type Joined = BTreeMap<(usize, usize), usize>;

/// What stands in joined cells stands in each of their lines, as a person reads them: but not in lines that hold nothing of
/// their own, nor do names of columns stand below themselves.
pub(super) fn spread(lines: &mut [(usize, Vec<Cell>)], joined: &Joined) {
    let mut above: BTreeMap<usize, (usize, Cell)> = BTreeMap::new();
    for (number, line) in lines.iter_mut().skip(1).filter(|_| !joined.is_empty()) {
        let holds = line.iter().any(|cell| !cell.text.is_empty());
        for (column, cell) in line.iter_mut().enumerate() {
            if let Some(last) = joined.get(&(*number, column)) {
                above.insert(column, (*last, cell.clone()));
            } else if let Some((_, joint)) = above.get(&column).filter(|(last, _)| holds && *number <= *last)
            {
                *cell = joint.clone();
            }
        }
    }
}

/// The lines of the first sheet of an XLSX file; `None` where there is none.
fn xlsx(bytes: &[u8]) -> Option<Vec<(usize, Vec<Cell>)>> {
    let mut book = Xlsx::new(Cursor::new(bytes)).ok()?;
    let sheet = book.worksheet_range_at(0)?.ok()?;
    let name = book.sheet_names().into_iter().next()?;
    let styles = book.worksheet_style(&name).ok()?;
    let merged = book.merge_cells_by_sheet_name(&name).ok()?;
    let Some((first, left)) = sheet.start() else { return Some(Vec::new()) };
    // What is read of a line where the first names no more columns than are allowed.
    let width = sheet.width().min(MOST_COLUMNS + 1);
    let lines = sheet.rows().take(MOST_ROWS + 2).zip(first..).map(|(row, at)| {
        let cells = row.iter().take(width).zip(left..);
        (at as usize + 1, cells.map(|(cell, column)| shown(cell, styles.get((at, column)))).collect())
    });
    let mut lines: Vec<(usize, Vec<Cell>)> = lines.collect();
    let joined = merged.iter().filter_map(|m| {
        let column = m.start.1.checked_sub(left)? as usize;
        Some(((m.start.0 as usize + 1, column), m.end.0 as usize + 1))
    });
    spread(&mut lines, &joined.collect());
    Some(lines)
}

const RELATIONS: &str = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
/// The same in files that keep to the standard's letter.
const STRICT_RELATIONS: &str = "http://purl.oclc.org/ooxml/officeDocument/relationships";

/// The numbers of the hidden rows of the first sheet of an XLSX file, which the library does not tell; `None` where the sheet
/// cannot be found.
fn hidden(archive: &rawzip::ZipSliceArchive<&[u8]>) -> Option<BTreeSet<usize>> {
    let book = open_document::unpacked(archive, "xl/workbook.xml")?;
    let book = Document::parse(&book).ok()?;
    let first = book.descendants().find(|n| n.tag_name().name() == "sheet")?;
    let id = first.attribute((RELATIONS, "id")).or_else(|| first.attribute((STRICT_RELATIONS, "id")))?;
    let relations = open_document::unpacked(archive, "xl/_rels/workbook.xml.rels")?;
    let relations = Document::parse(&relations).ok()?;
    let of_first = relations.descendants().find(|n| n.attribute("Id") == Some(id))?;
    let target = of_first.attribute("Target")?;
    let path = target.strip_prefix('/').map_or_else(|| format!("xl/{target}"), str::to_string);
    hidden_of(&open_document::unpacked(archive, &path)?)
}

/// The numbers of the hidden rows of an XLSX sheet's text.
fn hidden_of(sheet: &str) -> Option<BTreeSet<usize>> {
    // Most sheets have none, and need not be taken apart once more.
    if !sheet.contains("hidden=") {
        return Some(BTreeSet::new());
    }
    let options = ParsingOptions { nodes_limit: open_document::MOST_NODES, ..Default::default() };
    let document = Document::parse_with_options(sheet, options).ok()?;
    let mut all = BTreeSet::new();
    let mut number = 0usize;
    for row in document.descendants().filter(|n| n.tag_name().name() == "row") {
        // A row without a number is the one below the row before.
        number = row.attribute("r").and_then(|r| r.parse().ok()).unwrap_or(number.saturating_add(1));
        if matches!(row.attribute("hidden"), Some("1" | "true")) {
            all.insert(number);
        }
    }
    Some(all)
}

/// A cell as a person sees it.
fn shown(cell: &Data, style: Option<&Style>) -> Cell {
    let format = style.and_then(|s| s.number_format.as_ref());
    let code = match format {
        // The library calls formats general whose signs stand in no table; the true one has the number 0, own ones begin
        // at 164.
        Some(f) if f.format_code == GENERAL && f.format_id.is_some_and(|id| (1..164).contains(&id)) => "",
        Some(f) => f.format_code.as_str(),
        None => GENERAL,
    };
    let of_number = |value: f64| match number(value, code) {
        Some(text) => Cell::shows(&text),
        None => Cell::unshown(plain(value), Holds::Number),
    };
    match cell {
        Data::Float(value) => of_number(*value),
        Data::Int(value) => of_number(*value as f64),
        Data::DateTime(at) => match moment(at, code) {
            Some(text) => Cell::shows(&text),
            None => Cell::unshown(iso(at), Holds::DateOrTime),
        },
        Data::DateTimeIso(text) => Cell::unshown(text.clone(), Holds::DateOrTime),
        Data::DurationIso(text) => Cell::unshown(text.clone(), Holds::Time),
        Data::Error(sign) => Cell::error(&sign.to_string()),
        other => Cell::shows(&other.to_string()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_that_a_filter_hides_are_known() {
        let sheet = "<worksheet><cols><col min='1' max='1' hidden='1'/></cols><sheetData><row r='1'/><row r='2'/>\
                     <row r='3' hidden='1'/><row hidden='true'/><row r='7' hidden='0'/></sheetData></worksheet>";
        assert_eq!(hidden_of(sheet).unwrap(), BTreeSet::from([3, 4]));
        assert!(hidden_of("<worksheet><sheetData><row r='1'/></sheetData></worksheet>").unwrap().is_empty());
    }

    #[test]
    fn what_stands_in_joined_cells_stands_in_each_of_their_lines() {
        let line = |texts: &[&str]| texts.iter().map(|text| Cell::shows(text)).collect::<Vec<_>>();
        let mut lines = vec![
            (2, line(&["name", "role"])),
            (3, line(&["Anna", "Keeper"])),
            (4, line(&["Bo", ""])),
            (5, line(&["", ""])),
            (7, line(&["Ida", ""])),
            (8, line(&["Mia", ""])),
        ];
        let as_read = lines.clone();
        spread(&mut lines, &Joined::new());
        assert_eq!(lines, as_read);
        // The first line names the columns: it is no value, however far it reaches.
        spread(&mut lines, &Joined::from([((2, 0), 8), ((3, 1), 7)]));
        let roles: Vec<&str> = lines.iter().map(|(_, l)| l[1].text.as_str()).collect();
        assert_eq!(roles, ["role", "Keeper", "Keeper", "", "Keeper", ""]);
        assert_eq!(lines[2].1[0].text, "Bo");
    }
}
