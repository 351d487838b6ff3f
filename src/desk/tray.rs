//! Tray: an order carried through as `dotwright tray` does it: its table, its pieces, where they lie.

use std::fs;
use std::path::Path;

use serde_json::{Map, Value, json};

use super::Desk;
use super::heading::{Headed, columns_of, headed, lettered, names};
use super::home::Name;
use super::says::Says;
use super::shelf::{self, Kept, Kind};
use super::texts::{filled, say};
use super::ticket::{level, remedy, ways};
use super::{jig, pasted, written};
use crate::cli::order::{Carried, Request, Rows};
use crate::encode::sink::{Folder, Zip};
use crate::findings::{Finding, Remedy, Severity};
use crate::order::{Order, OrderError, Table, TableError, TableRow, items};
use crate::outputs::{self, OfPieces, each_remedy, is_of_one_picture};
use crate::pipeline::tray::program;
use crate::progress::{Progress, Silent};
use crate::proof::kinds::numbered;
use crate::proof::tray::listed;
use crate::texts::text;

/// The largest table.
const MOST_BYTES: usize = 16 << 20;

/// An order carried through.
pub(super) struct Run {
    name: Name,
    revision: String,
    carried: Carried,
    /// How many layers are asked of each piece; one whose text is empty in a row has fewer.
    layers: usize,
    /// The columns of the table that nothing asks for.
    unasked: Vec<String>,
}

impl Run {
    /// Carries the order that is kept through; rows that cannot be used are left out.
    ///
    /// # Errors
    /// As `dotwright tray`; an order that names a file outside the home.
    pub fn of(desk: &Desk, kept: &Kept, progress: &dyn Progress) -> Result<Run, Says> {
        let folder = desk.home.at(&["out", kept.name.text()])?;
        let order = kept.path.clone();
        let rows = Rows::read(Request { order, folder, skip_bad_rows: true, ..Request::default() })?;
        for item in &rows.items {
            written::inside(&desk.home, &item.job)?;
            written::blank_inside(&desk.home, Path::new(""), item.blank.as_deref())?;
        }
        if rows.items.is_empty() {
            return Err(match rows.bad.first() {
                Some(bad) => {
                    let says = filled("says.tray.rows", &[("row", &bad.row), ("why", &bad.why.on_page())]);
                    Says::unusable(says).with("row", bad.row)
                }
                None => Says::unusable(say("says.tray.empty")),
            });
        }
        let carried = rows.ready()?.carried(progress)?;
        let order: Order = toml::from_str(&kept.text)?;
        let layers = order.piece.layers.len();
        let unasked = unasked(&order, &kept.path)?;
        Ok(Run { name: kept.name.clone(), revision: kept.revision.clone(), carried, layers, unasked })
    }

    /// As the page has it.
    ///
    /// # Errors
    /// Where the pieces fit on no tray.
    pub fn told(&self) -> Result<Value, Says> {
        let title = self.carried.title();
        let laid = self.carried.trays()?;
        let mut trays = Vec::new();
        let mut findings = Vec::new();
        // One piece that a stop stands against keeps all trays from being burnt.
        let burns = laid.iter().flat_map(|tray| &tray.laid).all(|l| l.piece.burns);
        for (i, tray) in laid.iter().enumerate() {
            let whole = if burns { program(&title, tray.sides, &tray.laid)? } else { None };
            let seconds = whole.and_then(|p| p.measure(&Silent).ok()).map(|cost| cost.estimate.times.total());
            let mut pieces = Vec::new();
            for (one, of) in tray.laid.iter().zip(&tray.of) {
                let (width, height) = one.piece.sides();
                let warns = one.piece.report.findings.iter().filter(|f| f.severity > Severity::Note);
                let says: Vec<&str> = warns.map(|f| f.in_order()).collect();
                pieces.push(json!({
                    "number": one.number, "spot": of.spot, "row": of.row, "name": one.name,
                    // From the upper left corner of the tray.
                    "x_mm": one.corner.0, "y_mm": tray.sides.1 - one.corner.1 - height,
                    "width_mm": width, "height_mm": height,
                    "shape": one.piece.plan.blank.shape.to_string(),
                    "picture": format!("/api/jobs/{}/tray/{}?revision={}", self.name.in_path(), of.kind, self.revision),
                    "seconds": one.piece.report.times.as_ref().map(|t| t.total_s),
                    "says": says,
                }));
                let whole = one.piece.plan.job.layers.len() == self.layers;
                let plan = &one.piece.plan;
                let accepted = |f: &Finding| f.severity == Severity::Stop && plan.accepts(f).passes();
                let of_it = one.piece.report.findings.iter();
                findings.extend(of_it.map(|f| Found { number: one.number, f, whole, accepted: accepted(f) }));
            }
            trays.push(json!({
                "number": i + 1, "width_mm": tray.sides.0, "height_mm": tray.sides.1, "seconds": seconds, "pieces": pieces,
            }));
        }
        let count = laid.iter().map(|tray| tray.laid.len()).sum();
        let mut found = found(&findings, count);
        found.extend(unmarked(&self.unasked));
        let rows: Vec<Value> =
            self.carried.bad.iter().map(|b| json!({ "row": b.row, "says": b.why.on_page() })).collect();
        Ok(json!({
            "revision": self.revision, "title": title, "trays": trays, "burns": burns,
            "findings": found, "bad_rows": rows,
        }))
    }

    /// The picture of a kind of piece as PNG.
    ///
    /// # Errors
    /// Where there is none.
    pub fn picture(&self, kind: usize) -> Result<Vec<u8>, Says> {
        let gone = || Says::missing(say("says.tray.gone"));
        let piece = self.carried.pieces.get(kind).ok_or_else(gone)?;
        Ok(piece.picture.to_png(None)?)
    }

    /// Writes the files of `dotwright tray` into a folder of `out`.
    ///
    /// # Errors
    /// As `dotwright tray`.
    pub fn save(&self, desk: &Desk, folder: Option<&str>) -> Result<Value, Says> {
        let name = folder.map(Name::new).transpose()?.unwrap_or_else(|| self.name.clone());
        let place = desk.home.at(&["out", name.text()])?;
        let _held = desk.home.saving();
        let mut output = Folder::begin(&place, &outputs::TRAY, true, &[])?;
        self.carried.write(&mut output, &Silent)?;
        output.commit()?;
        let mut files = Vec::new();
        for entry in fs::read_dir(&place)?.flatten() {
            let name = entry.file_name().to_string_lossy().into_owned();
            if outputs::TRAY.names.contains(&name.as_str()) {
                files.push(json!({ "name": name, "bytes": entry.metadata().map(|m| m.len()).ok() }));
            }
        }
        files.sort_by(|a, b| a["name"].as_str().cmp(&b["name"].as_str()));
        desk.events.tell("saved", &json!({ "job": self.name.text(), "folder": place }));
        Ok(json!({ "folder": place, "files": files }))
    }

    /// The same files as an archive.
    ///
    /// # Errors
    /// As `dotwright tray`.
    pub fn zip(&self) -> Result<Vec<u8>, Says> {
        let mut zip = Zip::new(Vec::new());
        self.carried.write(&mut zip, &Silent)?;
        Ok(zip.finish()?)
    }
}

/// What was found at a piece.
#[derive(Clone, Copy)]
struct Found<'a> {
    number: usize,
    f: &'a Finding,
    /// Whether it has all layers that are asked for.
    whole: bool,
    /// Whether it is a stop that was accepted.
    accepted: bool,
}

/// What was found at the pieces: each sort of finding once, as the first of them says it and with what helps at any of them, with
/// those that say the same where these are not `all`, and with those of which it is said with other figures. One that was accepted
/// of some pieces only is told apart.
fn found(findings: &[Found], all: usize) -> Vec<Value> {
    let mut sorts: Vec<Vec<Found>> = Vec::new();
    let sort = |one: &Found| (one.f.name, one.f.severity, one.accepted);
    for one in findings {
        match sorts.iter_mut().find(|known| sort(&known[0]) == sort(one)) {
            Some(known) => known.push(*one),
            None => sorts.push(vec![*one]),
        }
    }
    let told = sorts.into_iter().map(|sort| {
        let Found { f, accepted, .. } = sort[0];
        let of = |same: bool| {
            let of_it = sort.iter().filter(|one| (one.f.message == f.message) == same);
            let mut numbers: Vec<usize> = of_it.map(|one| one.number).collect();
            // Two layers of a piece may say the same.
            numbers.dedup();
            numbers
        };
        let (same, others) = (of(true), of(false));
        json!({
            "id": f.name, "level": level(f.severity), "says": f.in_order(),
            "pieces": (same.len() < all).then(|| numbered(&same)),
            "accepted": accepted,
            "others": (!others.is_empty()).then(|| numbered(&others)),
            "remedies": remedies(&sort, all),
        })
    });
    told.collect()
}

/// What helps at the pieces of one sort of finding, each with the pieces where these are not all that have it.
fn remedies(sort: &[Found], all: usize) -> Vec<Value> {
    let found: Vec<(usize, Vec<&Remedy>)> =
        sort.iter().map(|one| (one.number, one.f.remedies.iter().flat_map(ways).collect())).collect();
    let mut numbers: Vec<usize> = sort.iter().map(|one| one.number).collect();
    numbers.dedup();
    let (each, rest) = each_remedy(&found, |r| (r.text.on_page(), r.sets.as_slice()));
    let mut told: Vec<Value> = each.iter().map(|of| of_all(of, sort, (numbers.len(), all))).collect();
    if !rest.is_empty() {
        let line = text!("outputs.found.like", pieces = numbered(&rest));
        told.push(json!({ "line": line, "checked": false, "change": null }));
    }
    told
}

/// The columns of an order's table that hold something and that nothing of the order asks for.
fn unasked(order: &Order, path: &Path) -> Result<Vec<String>, Says> {
    let Some(table) = order.table.as_deref() else { return Ok(Vec::new()) };
    let table = Table::read(&Order::beside(path, table)).map_err(|e| no_table(e, None))?;
    let asked = written::asked(order)?;
    let texts = columns_of(&asked["piece"]);
    let holds = |column: &str| table.rows.iter().any(|row| !row.is_empty(column));
    let is_asked = |column: &String| texts.contains(column) || names(&asked, column);
    Ok(table.columns.iter().filter(|c| holds(c) && !is_asked(c)).cloned().collect())
}

/// The most columns that are named in a sentence.
const NAMED: usize = 6;

/// What is said of columns that nothing asks for.
fn unmarked(columns: &[String]) -> Option<Value> {
    let named: Vec<String> = columns.iter().take(NAMED).map(|c| format!("{{{c}}}")).collect();
    let more = if columns.len() > NAMED { ", …" } else { "" };
    let columns = named.join(", ") + more;
    (!named.is_empty()).then(|| {
        json!({ "id": "unmarked", "level": "note", "says": filled("tray.unmarked", &[("columns", &columns)]) })
    })
}

/// What is said of rows that are hidden in the spreadsheet.
fn left_hidden(rows: &[usize]) -> Option<String> {
    match rows {
        [] => None,
        [row] => Some(filled("tray.hidden.one", &[("row", row)])),
        rows => Some(filled("tray.hidden.many", &[("rows", &listed(rows))])),
    }
}

/// A remedy of pieces for all of the tray, whose keys lie below `piece` there.
///
/// Where a layer is left out of a piece those above it are counted otherwise, so it sets nothing of them; nor does it set for all
/// what was found for the pictures of some of those that are found fault with. It is checked only where it was tried of every
/// piece: what was tried of some is not known to do good to the others.
fn of_all(of: &OfPieces<'_>, sort: &[Found], (having, all): (usize, usize)) -> Value {
    let Some(&r) = of.all.first() else { return Value::Null };
    let mut told = remedy(r);
    if of.pieces.len() < having {
        let pieces = numbered(&of.pieces);
        told["line"] = text!("outputs.found.remedy.piece", remedy = r.text.on_page(), pieces).into();
    }
    told["checked"] = (of.pieces.len() == all && of.all.iter().all(|r| r.verified)).into();
    let whole = sort.iter().all(|one| one.whole || !of.pieces.contains(&one.number));
    let own = is_of_one_picture(r) && of.pieces.len() < having;
    let change = told["change"]
        .as_object()
        .filter(|all| !own && (whole || !all.keys().any(|k| k.starts_with("layer."))));
    told["change"] = change
        .map_or(Value::Null, |all| all.iter().map(|(k, v)| (format!("piece.{k}"), v.clone())).collect());
    told
}

/// Takes a table for a tray: pasted text, or the bytes of a CSV, XLSX or ODS file; `brought` is what that was called. One that
/// is `typed` is the table of the page itself, in which cells were changed: its first line names the columns for sure.
///
/// # Errors
/// What is no table; a job that is no tray, or, where a page says which state of it it knows, one that is not at that any more.
pub(super) fn put_table(
    desk: &Desk,
    (name, at): (&Name, Option<&str>),
    (brought, typed): (Option<&str>, bool),
    content: &[u8],
) -> Result<Value, Says> {
    let home = &desk.home;
    let _held = home.writing();
    let kept = tray_of(desk, name)?;
    if at.is_some_and(|at| at != kept.revision) {
        return Err(kept.newer()?);
    }
    if content.len() > MOST_BYTES {
        return Err(Says::unusable(filled("says.table.long", &[("most", &(MOST_BYTES >> 20))])));
    }
    let order: Order = toml::from_str(&kept.text)?;
    let old = order.table.as_deref().and_then(|t| home.within(&Order::beside(&kept.path, t)).ok());
    let old = old.and_then(|t| Table::read(&t).ok());
    let mut asked = written::asked(&order)?;
    let parted = str::from_utf8(content).ok().filter(|_| brought == Some(PASTED));
    let parted = parted.and_then(|text| pasted::in_quotes(text, &asked));
    let content = parted.as_ref().map_or(content, String::as_bytes);
    // It is understood before it takes the place of what was there.
    let trial = home.within(&Order::beside(&kept.path, "table.new"))?;
    home.write(&trial, content)?;
    let read = Table::read(&trial);
    let _ = fs::remove_file(&trial);
    let mut table = read.map_err(|e| no_table(e, brought))?;
    // What is written anew below tells of no hidden row any more.
    let hidden = left_hidden(&table.hidden);
    let headed = if typed { Headed::default() } else { headed(&table, &mut asked)? };
    if let Some(text) = &headed.text {
        table = Table::parse(text).map_err(|why| Says::fault(&filled("fault.headed", &[("why", &why)])))?;
    }
    let content = headed.text.as_ref().map_or(content, String::as_bytes);
    let file = if content.starts_with(b"PK\x03\x04") { "table.xlsx" } else { "table.csv" };
    asked["table"] = file.into();
    let asked = fitted(&kept, asked, (&table, old.as_ref()), typed);
    let place = home.within(&Order::beside(&kept.path, file))?;
    let kept = shelf::renew(home, kept, &asked, Some((&place, content)))?;
    let mut told = told_table(&kept, &table)?;
    let says: Vec<String> = headed.says.into_iter().chain(hidden).collect();
    told["says"] = (!says.is_empty()).then(|| says.join(" ")).into();
    Ok(told)
}

/// The table of a tray; nothing where it has none.
///
/// # Errors
/// Where it cannot be read.
pub(super) fn table(desk: &Desk, name: &Name) -> Result<Option<Value>, Says> {
    let kept = tray_of(desk, name)?;
    let order: Order = toml::from_str(&kept.text)?;
    let Some(table) = &order.table else { return Ok(None) };
    let path = desk.home.within(&Order::beside(&kept.path, table))?;
    told_table(&kept, &Table::read(&path).map_err(|e| no_table(e, None))?).map(Some)
}

/// What the page calls a table that was pasted.
const PASTED: &str = "pasted.tsv";
/// What it calls one that was pasted or typed.
const UNNAMED: &[&str] = &[PASTED, "table.csv"];

/// Why what was brought is no table; it is kept under another name than the person's.
fn no_table(e: TableError, brought: Option<&str>) -> Says {
    let TableError::Wrong { why, .. } = e else { return e.into() };
    let why = if why.ends_with('?') { why } else { why + "." };
    Says::unusable(match brought.filter(|name| !UNNAMED.contains(name)) {
        Some(name) => filled("says.table.wrong.named", &[("name", &name), ("why", &why)]),
        None => filled("says.table.wrong", &[("why", &why)]),
    })
}

fn tray_of(desk: &Desk, name: &Name) -> Result<Kept, Says> {
    let kept = shelf::read(&desk.home, name)?;
    if kept.kind == Kind::Tray {
        return Ok(kept);
    }
    Err(Says::unusable(filled("says.piece.no-table", &[("name", name)])))
}

fn told_table(kept: &Kept, table: &Table) -> Result<Value, Says> {
    let order: Order = toml::from_str(&kept.text)?;
    let mut says: Vec<(usize, String)> = Vec::new();
    if let Ok(all) = items(&order, &kept.path) {
        for (item, row) in all.into_iter().zip(&table.rows) {
            match item {
                Err(OrderError::Row(row, why)) => says.push((row, why)),
                // It stands against the whole table, and is mended here.
                Err(OrderError::Absurd(why)) if !row.faults.is_empty() => says.push((row.number, why)),
                _ => {}
            }
        }
    }
    let unsure = |row: &TableRow| -> Map<String, Value> {
        let of = |(at, column): (usize, &String)| {
            let holds = row.unshown(column)?;
            let says = filled("says.table.unsure", &[("holds", &holds.said())]);
            Some((at.to_string(), json!({ "sign": holds.sign(), "says": says })))
        };
        table.columns.iter().enumerate().filter_map(of).collect()
    };
    let rows = table.rows.iter().map(|row| {
        let cells: Vec<&str> =
            table.columns.iter().map(|c| row.cells.get(c).map_or("", String::as_str)).collect();
        let why = says.iter().find(|(number, _)| *number == row.number).map(|(_, why)| why);
        json!({ "number": row.number, "cells": cells, "unsure": unsure(row), "says": why })
    });
    Ok(json!({
        "columns": table.columns,
        "rows": rows.collect::<Vec<_>>(),
        "revision": kept.revision,
        "job": kept.told()?,
    }))
}

/// Letters the first column where nothing asks for one, and makes room on the bed for all rows, where the spots are still
/// those that were found for the table that was there before. Cells that were typed on the page change no text.
fn fitted(kept: &Kept, asked: Value, (table, old): (&Table, Option<&Table>), typed: bool) -> Value {
    let Ok(order) = serde_json::from_value::<Order>(asked.clone()) else { return asked };
    let Some(plan) = jig::plan(&order, kept.path.parent().unwrap_or(Path::new(""))) else { return asked };
    let mut asked = asked;
    if !typed {
        lettered(&plan, &mut asked, table);
    }
    let tray = &asked["tray"];
    let now = tray["grid"].as_str();
    let found = now.is_some() && now == old.map(|t| jig::grid(&plan, &order, t.rows.len())).as_deref();
    let placed = ["grid", "spots", "outlines"].iter().any(|key| !tray[*key].is_null());
    if found || !placed {
        return jig::with_grid(asked, jig::grid(&plan, &order, table.rows.len()));
    }
    asked
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_found_is_told_once_with_the_pieces_that_it_is_said_of() {
        let finding = |name, says: &str| Finding::new(name, Severity::Caution, says);
        let (thin, thinner) = (finding("thin", "0.1 mm is thin"), finding("thin", "0.05 mm is thin"));
        let (small, all) = (finding("small", "it is small"), finding("all", "all are"));
        let at = [(1, &thin), (1, &all), (2, &thinner), (2, &all), (2, &small), (3, &thin), (3, &all)];
        let at_piece = |(number, f)| Found { number, f, whole: true, accepted: false };
        let told = found(&at.map(at_piece), 3);
        let of = |i: usize, key: &str| told[i][key].as_str();
        assert_eq!((of(0, "id"), of(0, "says")), (Some("thin"), Some("0.1 mm is thin")));
        assert_eq!((of(0, "pieces"), of(0, "others")), (Some("pieces 1 and 3"), Some("piece 2")));
        assert_eq!((of(1, "id"), of(1, "pieces"), of(1, "others")), (Some("all"), None, None));
        assert_eq!((told.len(), of(2, "pieces")), (3, Some("piece 2")));
        let larger = || Remedy::new("size", 9.0, "mm", "larger").set("blank.place", "9x9mm").verified(true);
        let (some, every) =
            (finding("some", "it is").with(larger()), finding("every", "it is").with(larger()));
        let told = found(&[(1, &every), (2, &every), (2, &some), (2, &some)].map(at_piece), 2);
        let checked = |i: usize| told[i]["remedies"][0]["checked"].as_bool();
        assert_eq!((checked(0), checked(1)), (Some(true), Some(false)));
        // What was accepted of one piece stands against the other.
        let told = found(&[at_piece((1, &all)), Found { accepted: true, ..at_piece((2, &all)) }], 2);
        let accepted = |i: usize| (told[i]["accepted"].as_bool(), told[i]["pieces"].as_str());
        let expected = [(Some(false), Some("piece 1")), (Some(true), Some("piece 2"))];
        assert_eq!([accepted(0), accepted(1)], expected);
    }

    #[test]
    fn columns_that_nothing_asks_for_are_named() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("t.csv"), "name,seat,no,boat\nAda,4,1,\nBo,,2,\n").unwrap();
        let of = |order: &str| unasked(&toml::from_str(order).unwrap(), &folder.path().join("order.toml"));
        assert_eq!(of("[[piece.layer]]\ntext = 'PIER'\n").unwrap_or_default(), [""; 0]);
        let order = "table = 't.csv'\ncopies = 'no'\n[[piece.layer]]\ntext = '{ name }'\n";
        let columns = of(order).unwrap_or_default();
        assert_eq!(columns, ["seat"], "an empty one holds nothing that could be missed");
        assert!(unmarked(&columns).unwrap()["says"].as_str().unwrap().contains("{seat}"));
        assert!(unmarked(&[]).is_none());
        let many: Vec<String> = (0..9).map(|n| format!("c{n}")).collect();
        assert!(unmarked(&many).unwrap()["says"].as_str().unwrap().contains("{c5}, …"));
    }

    #[test]
    fn what_helps_a_piece_is_set_for_all_of_the_tray() {
        let larger = Remedy::new("size", 9.0, "mm", "larger").set("layer.1.place", "30x9mm").verified(true);
        let slower = Remedy::new("speed", 9.0, "mm/s", "slower").set("burn.speed", "9mm/s");
        let told = |of: &[(&[&Remedy], bool)], all: usize| -> Vec<Value> {
            let findings: Vec<Finding> = of
                .iter()
                .map(|(remedies, _)| {
                    let small = Finding::new("small", Severity::Caution, "it is small");
                    remedies.iter().fold(small, |f, r| f.with((*r).clone()))
                })
                .collect();
            let at_piece = |(i, f): (usize, _)| Found { number: i + 1, f, whole: of[i].1, accepted: false };
            let found = found(&findings.iter().enumerate().map(at_piece).collect::<Vec<_>>(), all);
            found[0]["remedies"].as_array().cloned().unwrap_or_default()
        };
        let one = told(&[(&[&larger], true)], 1);
        assert_eq!((&one[0]["line"], &one[0]["checked"]), (&json!("larger"), &json!(true)));
        assert_eq!(one[0]["change"], json!({ "piece.layer.1.place": "30x9mm" }));
        // A piece without one of the layers counts them otherwise; what was tried of one is not known to help another.
        let one = told(&[(&[&larger], false)], 2);
        assert_eq!((&one[0]["change"], &one[0]["checked"]), (&Value::Null, &json!(false)));
        let set = json!({ "piece.burn.speed": "9mm/s" });
        assert_eq!(told(&[(&[&slower], false)], 1)[0]["change"], set);
        // What the first has not is told of those that have it; what was found for one picture is not set for all.
        let two = told(&[(&[], true), (&[&slower, &larger], true)], 2);
        let lines: Vec<&Value> = two.iter().map(|r| &r["line"]).collect();
        assert_eq!(lines, ["slower (piece 2)", "larger (piece 2)"]);
        assert_eq!((&two[0]["change"], &two[1]["change"]), (&set, &Value::Null));
        // It was tried of both.
        let tried = slower.clone().verified(true);
        let checked =
            |second: &Remedy| told(&[(&[&tried], true), (&[second], true)], 2)[0]["checked"].clone();
        assert_eq!((checked(&tried), checked(&slower)), (json!(true), json!(false)));
    }
}
