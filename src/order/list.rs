//! Lists: names as they come from a phone or a letter, each behind a number, a dash or a bullet that belongs to the list.

use super::table::Table;

/// A sign in front of a cell that belongs to the list that it came from.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct ListMark {
    /// The cell's column.
    pub column: String,
    /// The sign: `1.`, `-`.
    pub sign: String,
}

/// Signs that stand in front of the entries of lists whether or not a space is behind them.
const BULLETS: &[char] = &['•', '‣', '▪', '◦', '●', '○', '■', '□', '☐', '☑', '✓', '✔'];
/// Signs that do with a space behind them.
const DASHES: &[char] = &['-', '–', '—', '*', '·', '+', '>'];

/// The sign in front of a cell, where it is one of a list's, and its number, where it has one.
fn sign(cell: &str) -> Option<(&str, Option<u32>)> {
    let cell = cell.trim();
    let first = cell.chars().next()?;
    let after = &cell[first.len_utf8()..];
    let spaced = |rest: &str| rest.starts_with(char::is_whitespace);
    if BULLETS.contains(&first) || DASHES.contains(&first) && spaced(after) {
        return (!after.trim().is_empty()).then_some((&cell[..first.len_utf8()], None));
    }
    let digits = cell.strip_prefix('(').unwrap_or(cell);
    let rest = digits.trim_start_matches(|c: char| c.is_ascii_digit());
    let number: u32 = digits[..digits.len() - rest.len()].parse().ok()?;
    let text = rest.strip_prefix(['.', ')'])?;
    // 3.5 is a figure and 3.May a day; what is behind a list's number has a space before it.
    if !spaced(text) || text.trim().is_empty() {
        return None;
    }
    Some((&cell[..cell.len() - text.len()], Some(number)))
}

/// The columns of which most cells begin as those of a list do: with numbers that count up, dashes or bullets.
pub(super) fn listed(table: &Table) -> Vec<String> {
    let is_listed = |column: &&String| {
        let cells = table.rows.iter().filter_map(|row| row.cells.get(*column));
        let cells: Vec<&str> = cells.map(|cell| cell.trim()).filter(|cell| !cell.is_empty()).collect();
        let signs: Vec<Option<u32>> =
            cells.iter().filter_map(|cell| sign(cell)).map(|(_, number)| number).collect();
        let numbers: Vec<u32> = signs.iter().copied().flatten().collect();
        signs.len() >= 2 && 2 * signs.len() > cells.len() && numbers.is_sorted_by(|a, b| a < b)
    };
    table.columns.iter().filter(is_listed).cloned().collect()
}

/// The sign of a list in front of what stands in `column`.
pub(super) fn mark(column: &str, cell: &str) -> Option<ListMark> {
    sign(cell).map(|(sign, _)| ListMark { column: column.to_string(), sign: sign.to_string() })
}

/// Whether the text of a file is a list of names or a table and no settings, of which each has its `=`.
pub(super) fn is_list(text: &str) -> bool {
    let mut lines = text.lines().filter(|line| !line.trim().is_empty()).peekable();
    lines.peek().is_some() && lines.all(|line| !line.contains('=') && !line.trim_start().starts_with('['))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn signs_of_lists_are_told_from_names() {
        for (cell, found) in [
            ("1. Anna & Piotr  ", Some("1.")),
            ("2) O'Neill", Some("2)")),
            ("(12) Zoë", Some("(12)")),
            ("- Zoë", Some("-")),
            ("•TABLE 4", Some("•")),
            ("* Márta", Some("*")),
            ("3.5 mm", None),
            ("1998", None),
            ("4th of May", None),
            ("1.May", None),
            ("-40 °C", None),
            ("•", None),
            ("Lin", None),
            ("", None),
        ] {
            assert_eq!(sign(cell).map(|(sign, _)| sign), found, "{cell}");
        }
    }

    #[test]
    fn a_column_is_a_list_where_most_of_its_cells_are() {
        let of = |cells: &str| listed(&Table::parse(&format!("name\n{cells}\n")).unwrap());
        assert_eq!(of("1. Anna\n2) O'Neill\n- Zoë\n• TABLE 4\n3. Finn\nLin"), ["name"]);
        assert!(of("1. Anna\nBo\nLin").is_empty(), "a single one is a name");
        assert!(of("1. Prize\n1. Prize\n2. Prize").is_empty(), "they do not count");
        assert!(of("- Anna\n- Bo\nIda\nLin").is_empty(), "half of them");
    }

    #[test]
    fn a_list_is_no_settings() {
        assert!(is_list("1. Anna & Piotr\n\n- Zoë\n"));
        assert!(is_list("name,seat\nAnna,4\n"));
        for settings in ["", "\n", "table = 'a.csv'\nnonsense\n", "[tray\n"] {
            assert!(!is_list(settings), "{settings}");
        }
    }
}
