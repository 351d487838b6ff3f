//! OpenDocument sheets: the first one's cells as they are shown, which the file holds beside their values.

use std::collections::BTreeSet;
use std::io::Read;

use resvg::usvg::roxmltree::{Document, Node, ParsingOptions};

use super::cell::{Cell, Holds};
use super::number_format::plain;
use super::spreadsheet::{Joined, MOST_BYTES, MOST_COLUMNS, Sheet, spread};
use super::table::MOST_ROWS;

/// Most elements and texts of a sheet.
pub(super) const MOST_NODES: u32 = 20_000_000;
/// Most spaces that one sign stands for.
const MOST_SPACES: usize = 100;

const TABLE: &str = "urn:oasis:names:tc:opendocument:xmlns:table:1.0";
const OFFICE: &str = "urn:oasis:names:tc:opendocument:xmlns:office:1.0";
const TEXT: &str = "urn:oasis:names:tc:opendocument:xmlns:text:1.0";
/// The office suite that most files are from says here what is an error.
const CALC: &str = "urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0";

/// The text of one file of an archive, unpacked; `None` where it cannot be.
pub fn unpacked(archive: &rawzip::ZipSliceArchive<&[u8]>, name: &str) -> Option<String> {
    let mut entries = archive.entries();
    while let Some(entry) = entries.next_entry().ok()? {
        if entry.file_path().as_ref() != name.as_bytes() {
            continue;
        }
        let packed = archive.get_entry(entry.wayfinder()).ok()?;
        let mut text = String::new();
        let read = match entry.compression_method() {
            rawzip::CompressionMethod::STORE => packed.data().take(MOST_BYTES).read_to_string(&mut text),
            rawzip::CompressionMethod::DEFLATE => {
                flate2::bufread::DeflateDecoder::new(packed.data()).take(MOST_BYTES).read_to_string(&mut text)
            }
            _ => return None,
        };
        return read.is_ok().then_some(text);
    }
    None
}

/// The lines of the first sheet that are not empty; `None` where there is no sheet.
pub fn sheet(text: &str) -> Option<Sheet> {
    let options = ParsingOptions { nodes_limit: MOST_NODES, ..Default::default() };
    let document = Document::parse_with_options(text, options).ok()?;
    let sheets = document.descendants().find(|n| n.has_tag_name((OFFICE, "spreadsheet")))?;
    let sheet = sheets.children().find(|n| n.has_tag_name((TABLE, "table")))?;
    let mut lines = Vec::new();
    let mut hidden = BTreeSet::new();
    let mut joined = Joined::new();
    let mut number = 1usize;
    // The columns that the first line names, the first and the one behind the last.
    let mut named = None;
    for row in sheet.descendants().filter(|n| n.has_tag_name((TABLE, "table-row"))) {
        let times = repeated(row, "number-rows-repeated");
        let (from, to) = named.unwrap_or((0, usize::MAX));
        let found = cells(row, from, to);
        if let (None, Some(first), Some(last)) = (named, found.first(), found.last()) {
            let end = last.at.saturating_add(1).min(first.at.saturating_add(MOST_COLUMNS + 1));
            named = Some((first.at, end));
        }
        if let Some((from, to)) = named.filter(|_| !found.is_empty()) {
            let mut line = vec![Cell::default(); to - from];
            for Placed { at, cell, rows } in found {
                let Some(column) = at.checked_sub(from).filter(|i| *i < line.len()) else { continue };
                line[column] = cell;
                if rows > 1 {
                    joined.insert((number, column), number.saturating_add(rows - 1));
                }
            }
            let room = (MOST_ROWS + 2).saturating_sub(lines.len());
            let numbers = (0..times.min(room)).map(|i| number + i);
            if matches!(row.attribute((TABLE, "visibility")), Some("collapse" | "filter")) {
                hidden.extend(numbers.clone());
            }
            lines.extend(numbers.map(|number| (number, line.clone())));
        }
        if lines.len() > MOST_ROWS + 1 {
            break;
        }
        number = number.saturating_add(times);
    }
    spread(&mut lines, &joined);
    Some(Sheet { lines, hidden })
}

/// How often a row or a cell stands there.
fn repeated(node: Node<'_, '_>, name: &str) -> usize {
    node.attribute((TABLE, name)).and_then(|n| n.parse().ok()).unwrap_or(1)
}

/// A cell that holds something.
struct Placed {
    /// Its column.
    at: usize,
    cell: Cell,
    /// How many rows it takes, where those below are joined with it.
    rows: usize,
}

/// The cells of a row in columns from `from` to before `to` that hold something.
fn cells(row: Node<'_, '_>, from: usize, to: usize) -> Vec<Placed> {
    let mut all = Vec::new();
    let mut at = 0usize;
    for node in row.children().filter(Node::is_element) {
        let times = repeated(node, "number-columns-repeated");
        // What a joined cell covers may hold something still, which is not shown.
        let covered = node.has_tag_name((TABLE, "covered-table-cell"));
        let cell = if covered { Cell::default() } else { cell(node) };
        let end = at.saturating_add(times);
        if !cell.text.is_empty() {
            let rows = repeated(node, "number-rows-spanned");
            let here = at.max(from)..end.min(to);
            all.extend(here.take(MOST_COLUMNS + 1).map(|at| Placed { at, cell: cell.clone(), rows }));
        }
        at = end;
    }
    all
}

/// A cell as it is shown.
fn cell(node: Node<'_, '_>) -> Cell {
    let office = |name: &str| node.attribute((OFFICE, name));
    // Only its own paragraphs: a remark on the cell has some too.
    let paragraphs: Vec<String> =
        node.children().filter(|n| n.has_tag_name((TEXT, "p"))).map(written).collect();
    let shown = paragraphs.join("\n");
    if node.attribute((CALC, "value-type")) == Some("error") {
        return Cell::error(if shown.trim().is_empty() { "#ERROR" } else { shown.trim() });
    }
    if !shown.trim().is_empty() {
        return Cell::shows(&shown);
    }
    let value = |name: &str| office(name).unwrap_or_default().to_string();
    match office("value-type") {
        Some("float") => office("value")
            .and_then(|v| v.parse().ok())
            .map_or_else(Cell::default, |v| Cell::shows(&plain(v))),
        Some("date") => Cell::unshown(value("date-value"), Holds::Date),
        Some("time") => Cell::unshown(value("time-value"), Holds::Time),
        Some("percentage") => Cell::unshown(value("value"), Holds::Percentage),
        Some("currency") => Cell::unshown(value("value"), Holds::Money),
        Some("boolean") => Cell::unshown(value("boolean-value"), Holds::Truth),
        _ => Cell::shows(&value("string-value")),
    }
}

/// The letters of a paragraph.
fn written(paragraph: Node<'_, '_>) -> String {
    let mut out = String::new();
    for node in paragraph.descendants() {
        if node.is_text() {
            out.push_str(node.text().unwrap_or_default());
        } else if node.has_tag_name((TEXT, "s")) {
            let count = node.attribute((TEXT, "c")).and_then(|n| n.parse().ok()).unwrap_or(1);
            out.extend(std::iter::repeat_n(' ', MOST_SPACES.min(count)));
        } else if node.has_tag_name((TEXT, "tab")) {
            out.push('\t');
        } else if node.has_tag_name((TEXT, "line-break")) {
            out.push('\n');
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::cell::CellFault;
    use super::*;

    fn read(rows: &str) -> Sheet {
        let spaces = format!(
            "xmlns:office='{OFFICE}' xmlns:table='{TABLE}' xmlns:text='{TEXT}' xmlns:calcext='{CALC}'"
        );
        super::sheet(&format!(
            "<r {spaces}><office:spreadsheet><table:table>{rows}</table:table></office:spreadsheet></r>"
        ))
        .unwrap()
    }

    fn sheet(rows: &str) -> Vec<(usize, Vec<Cell>)> {
        read(rows).lines
    }

    #[test]
    fn rows_that_a_filter_hides_are_known() {
        let filtered = row(&[("", "Bo")], "table:visibility='filter' table:number-rows-repeated='2'");
        let by_hand = row(&[("", "Mia")], "table:visibility='collapse'");
        let rows = [row(&[("", "name")], ""), filtered, row(&[("", "Ida")], ""), by_hand].concat();
        assert_eq!(read(&rows).hidden, BTreeSet::from([2, 3, 5]));
    }

    fn row(cells: &[(&str, &str)], more: &str) -> String {
        let cells: String = cells
            .iter()
            .map(|(about, text)| {
                format!("<table:table-cell {about}><text:p>{text}</text:p></table:table-cell>")
            })
            .collect();
        format!("<table:table-row {more}>{cells}</table:table-row>")
    }

    #[test]
    fn cells_are_as_they_are_shown() {
        let head = row(&[("", "name"), ("", "no"), ("", "date")], "");
        let first = row(
            &[
                ("office:value-type='string'", "Anna<text:s text:c='2'/>&amp; Bo"),
                ("office:value-type='float' office:value='7'", "007"),
                ("office:value-type='date' office:date-value='2025-03-04'", "04.03.2025"),
            ],
            "",
        );
        let empty = "<table:table-row table:number-rows-repeated='3'><table:table-cell table:number-columns-repeated='1024'/></table:table-row>";
        let last =
            row(&[("calcext:value-type='error'", "#N/A"), ("table:number-columns-repeated='2'", "x")], "");
        let read = sheet(&format!("{head}{first}{empty}{last}"));
        let texts: Vec<(usize, Vec<&str>)> =
            read.iter().map(|(n, l)| (*n, l.iter().map(|c| c.text.as_str()).collect())).collect();
        assert_eq!(texts[0], (1, vec!["name", "no", "date"]));
        assert_eq!(texts[1], (2, vec!["Anna  & Bo", "007", "04.03.2025"]));
        assert_eq!(texts[2], (6, vec!["#N/A", "x", "x"]));
        assert_eq!(read[2].1[0].fault, Some(CellFault::Error("#N/A".into())));
        assert_eq!(read[1].1[2].fault, None);
    }

    #[test]
    fn joined_cells_hold_for_all_their_rows() {
        let head = row(&[("", "name"), ("", "role")], "");
        let first = row(&[("", "Anna"), ("table:number-rows-spanned='3'", "Keeper")], "");
        let covered = "<table:covered-table-cell><text:p>not shown</text:p></table:covered-table-cell>";
        let below = |name: &str| {
            row(&[("", name)], "").replace("</table:table-row>", &format!("{covered}</table:table-row>"))
        };
        let last = row(&[("", "Mia"), ("", "")], "");
        let read = sheet(&format!("{head}{first}{}{}{last}", below("Bo"), below("Ida")));
        let roles: Vec<&str> = read.iter().map(|(_, l)| l[1].text.as_str()).collect();
        assert_eq!(roles, ["role", "Keeper", "Keeper", "Keeper", ""]);
    }

    #[test]
    fn a_value_without_what_it_shows_is_not_told() {
        let date = "<table:table-row><table:table-cell office:value-type='date' office:date-value='2025-03-04'/></table:table-row>";
        let read = sheet(&format!("{}{date}", row(&[("", "date")], "")));
        assert_eq!(read[1].1[0], Cell::unshown("2025-03-04".into(), Holds::Date));
    }

    #[test]
    fn a_sheet_of_nothing_but_repeats_stays_small() {
        let wide = sheet(&row(&[("table:number-columns-repeated='1000000000'", "x")], ""));
        assert_eq!((wide.len(), wide[0].1.len()), (1, MOST_COLUMNS + 1));
        let high = sheet(&row(&[("", "x")], "table:number-rows-repeated='1000000000'"));
        assert_eq!((high.len(), high[0].1.len()), (MOST_ROWS + 2, 1));
    }
}
