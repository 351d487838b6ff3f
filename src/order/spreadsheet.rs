//! Spreadsheets: the cells of the first sheet of an XLSX or ODS file.

use std::io::Cursor;

use calamine::{Data, Reader, Sheets, open_workbook_auto_from_rs};

use super::table::MOST_ROWS;

/// What the files within a spreadsheet may come to, bytes.
const MOST_BYTES: u64 = 128 << 20;
/// The most columns that are read.
const MOST_COLUMNS: usize = 200;

/// The lines of the first sheet, each with its number; all as wide as the first, which names the columns.
///
/// # Errors
/// Where it is no spreadsheet, or a larger one than an order has.
pub fn cells(bytes: &[u8]) -> Result<Vec<(usize, Vec<String>)>, String> {
    let no_sheet = || "it is no spreadsheet that can be read; save it as XLSX, ODS or CSV".to_string();
    let archive = rawzip::ZipArchive::from_slice(bytes).map_err(|_| no_sheet())?;
    let mut all = 0u64;
    let mut entries = archive.entries();
    while let Some(entry) = entries.next_entry().map_err(|_| no_sheet())? {
        all = all.saturating_add(entry.uncompressed_size_hint());
    }
    if all > MOST_BYTES {
        return Err("it comes to more than 128 MB; save the sheet alone as CSV".into());
    }
    let mut book: Sheets<_> = open_workbook_auto_from_rs(Cursor::new(bytes)).map_err(|_| no_sheet())?;
    let sheet = book.worksheet_range_at(0).and_then(Result::ok).ok_or_else(no_sheet)?;
    let Some((first, _)) = sheet.start() else { return Ok(Vec::new()) };
    let names: Vec<String> = sheet.rows().next().into_iter().flatten().map(text).collect();
    // Cells without a name at the right are remarks beside the table.
    let width = names.iter().rposition(|n| !n.is_empty()).map_or(0, |last| last + 1);
    if width > MOST_COLUMNS {
        return Err(format!("it has more than {MOST_COLUMNS} columns; is it the right sheet?"));
    }
    let lines = sheet.rows().take(MOST_ROWS + 2).enumerate();
    Ok(lines.map(|(i, row)| (first as usize + i + 1, row.iter().take(width).map(text).collect())).collect())
}

/// A cell as a person sees it, with no decimals where there are none.
fn text(cell: &Data) -> String {
    match cell {
        Data::Float(v) if v.fract() == 0.0 && v.abs() < 1e15 => format!("{v:.0}"),
        Data::Error(_) => String::new(),
        other => other.to_string().trim().to_string(),
    }
}
