//! Pasted: the text of a selection of cells, of a list or of a CSV file as the table that it is.
//!
//! What is copied from a spreadsheet has tabs between its cells and nothing else: a comma within a line belongs to a name, as
//! in "Bright, Anna". A table is told by the signs of its first line once it lies in a file, so every cell gets quotes here.

use serde_json::Value;

use super::heading::{Heads, columns_of, is_heading, names};
use crate::order::Table;

/// The same table with every cell in quotes, for a tray that asks for `asked`; `None`: it can be read as it stands.
pub(super) fn in_quotes(text: &str, asked: &Value) -> Option<String> {
    let is_csv = || [',', ';'].into_iter().any(|sign| is_csv(text, sign, asked));
    if !text.contains([',', ';']) || (!text.contains('\t') && is_csv()) {
        return None;
    }
    let mut writer =
        csv::WriterBuilder::new().quote_style(csv::QuoteStyle::Always).flexible(true).from_writer(Vec::new());
    for line in lines(text, '\t')? {
        writer.write_record(&line).ok()?;
    }
    String::from_utf8(writer.into_inner().ok()?).ok()
}

fn lines(text: &str, sign: char) -> Option<Vec<csv::StringRecord>> {
    let mut reader = csv::ReaderBuilder::new();
    reader.delimiter(sign as u8).flexible(true).has_headers(false).trim(csv::Trim::All);
    reader.from_reader(text.as_bytes()).records().collect::<Result<_, _>>().ok()
}

/// Whether `sign` stands between cells: the first line has a heading among them, or all lines have as many cells as each other
/// and look as those of a file do.
fn is_csv(text: &str, sign: char, asked: &Value) -> bool {
    let lines = lines(text, sign).unwrap_or_default();
    let Some(heads) = lines.first().filter(|heads| heads.len() > 1) else { return false };
    let known = Heads::known();
    let heading = |head: &str| known.have(head) || names(asked, head);
    if heads.iter().any(|head| !head.is_empty() && heading(head)) {
        return true;
    }
    let quoted = || text.lines().any(|line| line.starts_with('"'));
    // Names have a space behind their comma, and files have none.
    let tight = || !text.contains(&format!("{sign} "));
    let headed = || Table::parse(text).is_ok_and(|table| is_heading(&table, &known));
    lines.iter().all(|line| line.len() == heads.len())
        && (heads.len() == columns_of(&asked["piece"]).len() || quoted() || (tight() && headed()))
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    /// The cells of what is pasted on a tray with that text, line by line.
    fn cells(pasted: &str, text: &str) -> Vec<Vec<String>> {
        let asked = json!({ "piece": { "layer": [{ "text": text }] } });
        let read = in_quotes(pasted, &asked).unwrap_or_else(|| pasted.to_string());
        let table = Table::parse(&read).unwrap();
        let row = |row: &crate::order::TableRow| table.columns.iter().map(|c| row.cells[c].clone()).collect();
        [table.columns.clone()].into_iter().chain(table.rows.iter().map(row)).collect()
    }

    #[test]
    fn a_comma_within_a_line_belongs_to_a_name() {
        for text in [
            "Bright, Anna\nLind, Bo\nHill, Tom\n",
            "name\nAnna Bright\nLind, Bo\n",
            "Anna; Bo\nTom\n",
            "Bright,Anna\nLind,Bo\n",
            "Bright, Anna \"Nan\"\nLind, Bo\n",
        ] {
            let wanted: Vec<Vec<String>> = text.lines().map(|line| vec![line.to_string()]).collect();
            assert_eq!(cells(text, "{name}"), wanted, "{text}");
        }
        let wide = cells("Bright, Anna, the first\tKeeper\r\nLind, Bo\tCook\r\n", "PIER");
        assert_eq!(wide, [["Bright, Anna, the first", "Keeper"], ["Lind, Bo", "Cook"]]);
        // Quotes are a spreadsheet's round a cell of two lines.
        assert_eq!(cells("\"Anna,\nthe first\"\nLind, Bo\n", "{name}"), [["Anna,\nthe first"], ["Lind, Bo"]]);
    }

    #[test]
    fn the_text_of_a_file_keeps_its_columns() {
        for (text, asks, first) in [
            ("name,seat\nAnna,4\nBo,\n", "{name}", ["name", "seat"]),
            ("guest;boat\nAnna;Gull\n", "PIER", ["guest", "boat"]),
            ("who, seat\nAnna, 4\n", "{who} at {seat}", ["who", "seat"]),
            ("Ada,1987\nBo,1990\n", "{who} since {since}", ["Ada", "1987"]),
            ("Wharf,Pier\nGull,4\nTern,7\n", "PIER", ["Wharf", "Pier"]),
            ("\"Bright, Anna\",Keeper\n\"Lind, Bo\",Cook\n", "PIER", ["Bright, Anna", "Keeper"]),
        ] {
            assert_eq!(cells(text, asks)[0], first, "{text}");
        }
        // One that is broken is refused, and not marked line by line.
        assert!(in_quotes("name,seat\nLind, Bo,4\n", &Value::Null).is_none());
    }
}
