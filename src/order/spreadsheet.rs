//! Spreadsheets: the cells of the first sheet of an XLSX or ODS file.

use std::io::Cursor;

use calamine::{Data, Reader, Style, Xlsx};

use super::cell::Cell;
use super::number_format::{GENERAL, iso, moment, number, plain};
use super::open_document;
use super::table::MOST_ROWS;

/// What the files within a spreadsheet may come to, bytes.
pub(super) const MOST_BYTES: u64 = 128 << 20;
/// The most columns that are read.
pub(super) const MOST_COLUMNS: usize = 200;

/// The lines of the first sheet, each with its number; all as wide as the first, which names the columns.
///
/// # Errors
/// Where it is no spreadsheet, or a larger one than an order has.
pub fn cells(bytes: &[u8]) -> Result<Vec<(usize, Vec<Cell>)>, String> {
    let no_sheet = || "it is no spreadsheet that can be read; save it as XLSX, ODS or CSV".to_string();
    let archive = rawzip::ZipArchive::from_slice(bytes).map_err(|_| no_sheet())?;
    let mut all = 0u64;
    let mut open_document = false;
    let mut entries = archive.entries();
    while let Some(entry) = entries.next_entry().map_err(|_| no_sheet())? {
        all = all.saturating_add(entry.uncompressed_size_hint());
        open_document |= entry.file_path().as_ref() == b"content.xml";
    }
    if all > MOST_BYTES {
        return Err("it comes to more than 128 MB; save the sheet alone as CSV".into());
    }
    let lines = if open_document {
        open_document::unpacked(&archive).and_then(|text| open_document::lines(&text))
    } else {
        xlsx(bytes)
    };
    let mut lines = lines.ok_or_else(no_sheet)?;
    let Some((_, names)) = lines.first() else { return Ok(lines) };
    // Cells without a name at the right are remarks beside the table.
    let width = names.iter().rposition(|n| !n.text.is_empty()).map_or(0, |last| last + 1);
    if width > MOST_COLUMNS {
        return Err(format!("it has more than {MOST_COLUMNS} columns; is it the right sheet?"));
    }
    for (_, line) in &mut lines {
        line.truncate(width);
    }
    Ok(lines)
}

/// The lines of the first sheet of an XLSX file; `None` where there is none.
fn xlsx(bytes: &[u8]) -> Option<Vec<(usize, Vec<Cell>)>> {
    let mut book = Xlsx::new(Cursor::new(bytes)).ok()?;
    let sheet = book.worksheet_range_at(0)?.ok()?;
    let name = book.sheet_names().into_iter().next()?;
    let styles = book.worksheet_style(&name).ok()?;
    let Some((first, left)) = sheet.start() else { return Some(Vec::new()) };
    // What is read of a line where the first names no more columns than are allowed.
    let width = sheet.width().min(MOST_COLUMNS + 1);
    let lines = sheet.rows().take(MOST_ROWS + 2).zip(first..).map(|(row, at)| {
        let cells = row.iter().take(width).zip(left..);
        (at as usize + 1, cells.map(|(cell, column)| shown(cell, styles.get((at, column)))).collect())
    });
    Some(lines.collect())
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
        None => Cell::unshown(plain(value), "a number with a format of its own"),
    };
    match cell {
        Data::Float(value) => of_number(*value),
        Data::Int(value) => of_number(*value as f64),
        Data::DateTime(at) => match moment(at, code) {
            Some(text) => Cell::shows(&text),
            None => Cell::unshown(iso(at), "a date or a time"),
        },
        Data::DateTimeIso(text) => Cell::unshown(text.clone(), "a date or a time"),
        Data::DurationIso(text) => Cell::unshown(text.clone(), "a time"),
        Data::Error(sign) => Cell::error(&sign.to_string()),
        other => Cell::shows(&other.to_string()),
    }
}
