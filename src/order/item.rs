//! Items: the rows of an order as jobs.

use std::path::Path;

use super::file::{Order, OrderError};
use super::list::{self, ListMark};
use super::table::{Table, TableRow, Unfilled};
use crate::job::asked::Reference;
use crate::job::words::{FilledIn, ReadAs};
use crate::job::{Job, file_name};
use crate::texts::text;

/// The most pieces of an order.
pub const MOST_PIECES: usize = 2000;

/// A row of an order as a job.
#[derive(Debug, Clone, PartialEq)]
pub struct Item {
    /// The row of the table, as a spreadsheet counts it; 1 where there is no table.
    pub row: usize,
    /// What the piece is called.
    pub name: String,
    /// Its blank, as asked; `None`: that of the job.
    pub blank: Option<String>,
    /// Its job; its files are named as seen from here.
    pub job: Job,
    /// How many of it; `None`: as many as there are spots.
    pub copies: Option<usize>,
    /// Whether all texts of the piece are empty in its row, so that its pictures alone are left.
    pub unlettered: bool,
    /// Texts that are marked in part or left out, for cells of theirs are empty in this row, where other rows fill them.
    pub half_filled: Vec<HalfFilled>,
    /// Signs that most cells of a column of its texts begin with, and that belong to a list.
    pub list_marks: Vec<ListMark>,
}

/// A text of which some cells are empty.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct HalfFilled {
    /// What is left of it; nothing where it is left out.
    pub text: String,
    /// The columns of those cells.
    pub columns: Vec<String>,
}

/// What is known of the columns of a table.
#[derive(Debug, Default)]
struct Columns {
    /// Those that some row fills.
    filled: Vec<String>,
    /// Those that no fewer rows fill than leave empty.
    usual: Vec<String>,
    /// Those whose cells are the entries of a list.
    listed: Vec<String>,
}

impl Columns {
    fn of(table: &Table) -> Columns {
        let filled = |least: usize| {
            let rows = |column: &&String| table.rows.iter().filter(|row| !row.is_empty(column)).count();
            table.columns.iter().filter(|column| rows(column) >= least).cloned().collect()
        };
        Columns {
            filled: filled(1),
            usual: filled(table.rows.len().div_ceil(2)),
            listed: list::listed(table),
        }
    }
}

/// The items of an order that lies at `path`, row by row; a row that cannot be used is an error of its own.
///
/// # Errors
/// Where the table cannot be read, or asks for too much.
pub fn items(order: &Order, path: &Path) -> Result<Vec<Result<Item, OrderError>>, OrderError> {
    let table = order.table.as_deref().map(|t| Table::read(&Order::beside(path, t))).transpose()?;
    let Some(table) = table else {
        let alone = TableRow { number: 1, ..TableRow::default() };
        let mut item = item(order, path, &alone, &Columns::default())?;
        item.copies = match order.copies.as_deref() {
            Some(n) => Some(copies(n).map_err(OrderError::Absurd)?),
            None => None,
        };
        return Ok(vec![Ok(item)]);
    };
    if let Some(column) = order.copies.as_deref()
        && column.parse::<usize>().is_err()
        && !table.columns.iter().any(|c| c == column)
    {
        let known = table.columns.join(", ");
        return Err(OrderError::Absurd(text!("order.copies.no-column", column, columns = known)));
    }
    let columns = Columns::of(&table);
    let mut all: Vec<_> = table.rows.iter().map(|row| item(order, path, row, &columns)).collect();
    // A filter that was left on hides rows that are wanted as well as rows that are not: whoever knows is asked.
    let hidden = |number: &usize| Err(OrderError::Row(*number, text!("order.item.hidden").into()));
    all.extend(table.hidden.iter().map(hidden));
    let count: usize = all.iter().flatten().filter_map(|i| i.copies).sum();
    if count > MOST_PIECES {
        return Err(OrderError::Absurd(text!("order.copies.most-pieces", count, most = MOST_PIECES)));
    }
    Ok(all)
}

fn item(order: &Order, path: &Path, row: &TableRow, columns: &Columns) -> Result<Item, OrderError> {
    let wrong = |why: String| OrderError::Row(row.number, why);
    let unfilled = |why: Unfilled| match why {
        Unfilled::Row(why) => wrong(why),
        Unfilled::Table(why) => OrderError::Absurd(why),
    };
    let mut job = order.piece.clone();
    let read_as = order.read_as.as_deref().map(|r| read_as(r, row)).transpose().map_err(unfilled)?;
    let names_picture = |file: &Option<String>| file.as_ref().is_some_and(|file| file.contains('{'));
    let by_table = names_picture(&job.art.file) || job.layers.iter().any(|layer| names_picture(&layer.file));
    let of_layers = job.layers.iter_mut().map(|l| (&mut l.file, &mut l.crc32, &mut l.read_as));
    let art = (&mut job.art.file, &mut job.art.crc32, &mut job.art.read_as);
    for (file, crc32, read) in of_layers.chain([art]) {
        let of_row = names_picture(file) || !by_table;
        let Some(file) = file else { continue };
        if let Some(read_as) = read_as.filter(|_| of_row) {
            *read = read_as;
        }
        let named = row.fill(file).map_err(unfilled)?;
        if named.trim().is_empty() {
            return Err(wrong(text!("order.item.file-empty", file)));
        }
        // A file that the table names is another in each row: it was not there when the job was first prepared.
        if named != *file {
            *crc32 = None;
        }
        *file = file_name::text(&Order::beside(path, &named));
    }
    fill_named(&mut job, row).map_err(unfilled)?;
    job.names_beside(path.parent().unwrap_or(Path::new("")));
    let (mut half_filled, mut list_marks) = (Vec::new(), Vec::new());
    let mut told_apart: Option<String> = None;
    for text in job.layers.iter_mut().filter_map(|layer| layer.text.as_mut()) {
        let filled = row.filled(text).map_err(unfilled)?;
        *text = filled.text.replace("\\n", "\n");
        let (empty, marked): (Vec<String>, Vec<String>) =
            filled.columns.into_iter().partition(|column| row.is_empty(column));
        let left = if text.trim().is_empty() { String::new() } else { text.clone() };
        // What few pieces have, such as a title, is not missed on the others.
        let wanted = if left.is_empty() { &columns.usual } else { &columns.filled };
        let empty: Vec<String> = empty.into_iter().filter(|column| wanted.contains(column)).collect();
        if !marked.is_empty() {
            told_apart.get_or_insert_with(|| left.clone());
        }
        let half = HalfFilled { text: left, columns: empty };
        if !half.columns.is_empty() && !half_filled.contains(&half) {
            half_filled.push(half);
        }
        for column in marked.iter().filter(|column| columns.listed.contains(column)) {
            list_marks.extend(row.cells.get(column).and_then(|cell| list::mark(column, cell)));
        }
    }
    list_marks.dedup();
    // A text that is empty in this row is left out: a tag without a title.
    let texts = |job: &Job| job.layers.iter().filter(|l| l.text.is_some()).count();
    let wanted = texts(&job);
    job.layers.retain(|l| l.text.as_ref().is_none_or(|t| !t.trim().is_empty()));
    let unlettered = wanted > 0 && texts(&job) == 0;
    if unlettered {
        half_filled.clear();
    }
    let blank = order.blank.as_deref().map(|b| row.fill(b)).transpose().map_err(unfilled)?;
    // Names of the kit and shapes are no files.
    let blank = blank.map(|b| match b.ends_with(".toml") {
        true => file_name::text(&Order::beside(path, &b)),
        false => b,
    });
    let name = match &order.name {
        Some(name) => row.fill(name).map_err(unfilled)?,
        None => String::new(),
    };
    let name = if name.trim().is_empty() {
        usual_name(&job, told_apart, order.table.is_some().then_some(row.number))
    } else {
        name
    };
    let copies = match order.copies.as_deref() {
        None => 1,
        Some(column) => copies(row.cells.get(column).map_or(column, String::as_str)).map_err(wrong)?,
    };
    let pictured = job.art.file.is_some() || job.layers.iter().any(|l| l.file.is_some());
    if unlettered && !pictured && copies > 0 {
        return Err(wrong(text!("order.item.texts-empty").into()));
    }
    let copies = Some(copies);
    Ok(Item { row: row.number, name, blank, job, copies, unlettered, half_filled, list_marks })
}

/// Fills in the coating and the process file that the row names; where its cell is empty, none is asked for. All pieces of a
/// tray are marked by one machine.
fn fill_named(job: &mut Job, row: &TableRow) -> Result<(), Unfilled> {
    if let Some(Reference::Name(machine)) = &job.machine
        && machine.contains('{')
    {
        return Err(Unfilled::Table(text!("order.item.machine", machine)));
    }
    let of_row = |name: &str| row.fill(name).map(|named| Some(named).filter(|n| !n.trim().is_empty()));
    if let Some(Reference::Name(name)) = &job.coating
        && name.contains(['{', '}'])
    {
        job.coating = of_row(name)?.map(Reference::Name);
        job.unsaid.ask(FilledIn::Coating);
    }
    if let Some(Reference::Name(name)) = &job.process
        && name.contains(['{', '}'])
    {
        job.process = of_row(name)?.map(Reference::Name);
    }
    Ok(())
}

/// How the row says its pictures are read; `None` where its cell is empty.
fn read_as(asked: &str, row: &TableRow) -> Result<Option<ReadAs>, Unfilled> {
    let told = row.fill(asked)?;
    match told.trim().to_lowercase().as_str() {
        "" => Ok(None),
        word => word.parse().map(Some).map_err(Unfilled::Row),
    }
}

/// A number of copies.
fn copies(text: &str) -> Result<usize, String> {
    let text = text.trim();
    // A sheet that shows decimals has `2.00` or `2,00`.
    let whole = text.split_once(['.', ',']).filter(|(_, zeros)| matches!(*zeros, "0" | "00"));
    match whole.map_or(text, |(whole, _)| whole).parse() {
        Ok(n) if n <= MOST_PIECES => Ok(n),
        _ => Err(text!("order.copies.no-number", text, most = MOST_PIECES)),
    }
}

/// What a piece is called where nothing was said: by the text that tells it from others, or by its first one.
fn usual_name(job: &Job, told_apart: Option<String>, row: Option<usize>) -> String {
    let text = told_apart.or_else(|| job.layers.iter().find_map(|l| l.text.clone()));
    let text = text.map(|t| t.replace('\n', " "));
    let file = || {
        let file = job.art.file.as_ref().or_else(|| job.layers.iter().find_map(|l| l.file.as_ref()))?;
        file_name::path(file).file_name().map(|n| n.to_string_lossy().into_owned())
    };
    text.or_else(file).unwrap_or_else(|| {
        row.map_or(text!("order.item.alone").into(), |row| text!("order.item.of-row", row))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The items of an order whose table is `table`.
    fn of(order: &str, table: &str) -> Vec<Result<Item, OrderError>> {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("names.csv"), table).unwrap();
        items(&toml::from_str(order).unwrap(), &folder.path().join("order.toml")).unwrap()
    }

    const TAG: &str = "table = 'names.csv'\nname = '{name}'\n[[piece.layer]]\nborder = '0.5mm'\n\
                       [[piece.layer]]\ntext = '{name}'\n[[piece.layer]]\ntext = '{title}'\n";

    #[test]
    fn a_row_that_would_mark_an_error_or_nothing_cannot_be_used() {
        let all = of(TAG, "name,title\nAnna,Keeper\nBo,\n,Cook\n#N/A,Cook\n,\n");
        let row = |i: usize| all[i].as_ref().map_err(ToString::to_string);
        assert_eq!(row(0).unwrap().job.layers.len(), 3);
        assert_eq!(row(1).unwrap().job.layers.len(), 2);
        // What has no name is called by its first text.
        assert_eq!(row(2).unwrap().name, "Cook");
        let why = row(3).unwrap_err();
        assert_eq!(why, "row 5 of the table: its cell 'name' holds #N/A, an error of the spreadsheet");
        assert_eq!(all.len(), 4, "a row of empty cells is none");
    }

    #[test]
    fn the_file_of_a_blank_lies_beside_the_order() {
        let table = "name,title,blank\nAnna,Keeper,mine.toml\nBo,Cook,round:40mm\n";
        let all = of(&format!("blank = '{{blank}}'\n{TAG}"), table);
        let blank = |i: usize| all[i].as_ref().unwrap().blank.clone().unwrap();
        assert!(Path::new(&blank(0)).is_absolute() && blank(0).ends_with("mine.toml"), "{}", blank(0));
        assert_eq!(blank(1), "round:40mm");
    }

    #[test]
    fn a_piece_without_any_text_is_refused_or_told() {
        let table = "name,title,no\nAnna,Keeper,1\n,,2\n";
        let all = of(TAG, table);
        let why = all[1].as_ref().unwrap_err().to_string();
        assert_eq!(why, "row 3 of the table: every text of the piece is empty there");
        let pictured = of(&format!("{TAG}[[piece.layer]]\nfile = 'ship.svg'\n"), table);
        let told: Vec<bool> = pictured.iter().map(|i| i.as_ref().unwrap().unlettered).collect();
        assert_eq!(told, [false, true]);
        assert_eq!(pictured[1].as_ref().unwrap().name, "ship.svg");
        // Nobody asks for such a piece.
        assert!(of(&format!("copies = 'no'\n{TAG}"), "name,title,no\n,,0\n")[0].is_ok());
    }

    #[test]
    fn a_row_tells_its_coating_and_its_process_file_but_not_its_machine() {
        let piece =
            "[piece]\ncoating = '{paint}'\nprocess = '{paint}.toml'\n[[piece.layer]]\ntext = '{name}'\n";
        let all = of(&format!("table = 'names.csv'\n{piece}"), "name,paint\nAnna,poster-paint\nBo,\n");
        let job = |i: usize| &all[i].as_ref().unwrap().job;
        assert_eq!(job(0).coating, Some(Reference::Name("poster-paint".into())));
        let Some(Reference::Name(process)) = &job(0).process else { panic!("{:?}", job(0).process) };
        assert!(process.ends_with("poster-paint.toml"), "{process}");
        assert_eq!(job(1).coating, None, "then it is the usual one, and is told to be assumed");
        let own = of("table = 'names.csv'\n[piece]\nmachine = '{paint}'\n", "paint\nred\n");
        assert!(own[0].as_ref().unwrap_err().to_string().contains("one machine marks all pieces"));
    }

    #[test]
    fn a_row_tells_how_its_picture_is_read() {
        let piece = "table = 'names.csv'\nread_as = '{reading}'\n[piece.art]\nread_as = 'drawing'\n\
                     [[piece.layer]]\nfile = '{photo}'\n[[piece.layer]]\nfile = 'ship.svg'\n";
        let all = of(piece, "photo,reading\na.jpg,Paper\nb.jpg,\nc.jpg,etching\n");
        let read =
            |i: usize| all[i].as_ref().unwrap().job.layers.iter().map(|l| l.read_as).collect::<Vec<_>>();
        assert_eq!(read(0), [Some(ReadAs::Paper), None], "what the table does not name is left as it is");
        assert_eq!(read(1), [None, None]);
        let why = all[2].as_ref().unwrap_err().to_string();
        assert!(why.starts_with("row 4 of the table: 'etching' is no way to read art"), "{why}");
        let fixed = piece.replace("{photo}", "photo.jpg").replace("{reading}", "photo");
        let all = of(&fixed, "photo,reading\na.jpg,\n");
        let layers = &all[0].as_ref().unwrap().job.layers;
        assert!(layers.iter().all(|l| l.read_as == Some(ReadAs::Photo)));
    }

    #[test]
    fn a_half_filled_text_and_the_signs_of_a_list_are_told() {
        let seats = "table = 'names.csv'\n[[piece.layer]]\ntext = '{name}\\nat {seat}'\n";
        let all = of(seats, "name,seat\nAnna,4\nFinn,\n");
        let half = |i: usize| all[i].as_ref().unwrap().half_filled.clone();
        assert_eq!(half(0), []);
        let left = HalfFilled { text: "Finn\nat ".into(), columns: vec!["seat".into()] };
        assert_eq!(half(1), [left]);
        // A column that nobody fills is not wanted.
        assert_eq!(of(seats, "name,seat\nAnna,\nFinn,\n")[1].as_ref().unwrap().half_filled, []);
        let all = of(TAG, "name,title\n1. Anna,Keeper\n2) Bo,Cook\nLin,Mate\n");
        let marks = |i: usize| all[i].as_ref().unwrap().list_marks.clone();
        assert_eq!(marks(1), [ListMark { column: "name".into(), sign: "2)".into() }]);
        assert_eq!(marks(2), []);
    }

    #[test]
    fn a_text_that_is_left_out_is_told_unless_few_pieces_have_it() {
        let pier = "table = 'names.csv'\n[[piece.layer]]\ntext = 'PIER FOUR'\n[[piece.layer]]\ntext = '{name}'\n\
             [[piece.layer]]\ntext = '{title}'\n[[piece.layer]]\ntext = '{name}'\n";
        let all = of(pier, "name,title\nAnna,\n,Keeper\nBo,\n");
        let half = |i: usize| all[i].as_ref().unwrap().half_filled.clone();
        let left_out = HalfFilled { text: String::new(), columns: vec!["name".into()] };
        assert_eq!((half(0), half(1), half(2)), (vec![], vec![left_out], vec![]));
        // Pieces are called by what tells them apart.
        let names: Vec<&str> = all.iter().map(|i| i.as_ref().unwrap().name.as_str()).collect();
        assert_eq!(names, ["Anna", "Keeper", "Bo"]);
        // Where no text is left that is said already.
        let pictured = format!("{TAG}[[piece.layer]]\nfile = 'ship.svg'\n");
        let bare = of(&pictured, "name,title,no\nAnna,Keeper,1\n,,2\n").remove(1).unwrap();
        assert!(bare.unlettered && bare.half_filled.is_empty());
    }

    #[test]
    fn copies_are_whole_however_they_are_shown() {
        for (text, found) in [("2", Some(2)), (" 2.00 ", Some(2)), ("2,0", Some(2)), ("0", Some(0))] {
            assert_eq!(copies(text).ok(), found, "{text}");
        }
        for text in ["", "2.5", "1.000", "-1", "two", "100000"] {
            assert!(copies(text).is_err(), "{text}");
        }
    }
}
