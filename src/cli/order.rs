//! An order carried through, for the command and for the desk: its rows become pieces, they lie on trays, and the files of
//! those are written.

use std::collections::HashMap;
use std::path::PathBuf;

use super::failure::Failure;
use super::options::{BlankOptions, DrawingOptions};
use super::source::Source;
use super::sources::Sources;
use crate::encode::sink::Sink;
use crate::findings::art as of_art;
use crate::job::acceptance::Acceptance;
use crate::job::{Brief, Job, file_name};
use crate::order::{
    HalfFilled, Item, ListMark, Order, OrderError, Outlined, Spots, Stop, TableRow, items, route, travel,
};
use crate::outputs::{self, Asked, MOST_TRAYS, Now, Of, OrderReport, Tray};
use crate::pipeline::SharedLayers;
use crate::pipeline::tray::{Piece, TrayPiece};
use crate::placement::Along;
use crate::progress::{Progress, Within};
use crate::proof::tray::listed;
use crate::said::Said;
use crate::screen::remembered::Remembering;
use crate::texts::text;
use crate::units::{Mm, MmPerS, Share, counted};
use crate::{parallel, pipeline};

/// Longest side of a piece's picture, pixels: large enough for a page of four beside each other.
const PICTURE_SIDE: usize = 560;

/// What is asked of an order.
#[derive(Debug, Default)]
pub(crate) struct Request {
    /// Its file.
    pub order: PathBuf,
    /// The folder in which what is written will lie.
    pub folder: PathBuf,
    /// Spots in columns and rows, in place of those that the order names.
    pub grid: Option<String>,
    /// Between the blanks and around them, in place of what the order says.
    pub gap: Option<Mm>,
    /// Which pieces are marked, by their numbers.
    pub now: Now,
    /// Whether rows that cannot be used are left out; else one of them ends the work.
    pub skip_bad_rows: bool,
    /// What may pass although it stops a program.
    pub accept: Vec<Acceptance>,
    /// The power and speed with which the edges of the blanks are marked on a card.
    pub jig: Option<(Share, MmPerS)>,
    /// How long a drawing may take, s; `None`: the usual time.
    pub drawing_time: Option<f64>,
}

/// A row that cannot be used.
#[derive(Debug)]
pub(crate) struct Bad {
    /// Its number.
    pub row: usize,
    /// Why, in a sentence.
    pub why: Said,
}

/// The rows of an order.
pub(crate) struct Rows {
    request: Request,
    order: Order,
    drawn: Option<Outlined>,
    /// Those that can be used.
    pub items: Vec<Item>,
    /// Those that cannot.
    pub bad: Vec<Bad>,
}

/// What makes two pieces one: the job, the blank, and what is to be said of their rows.
type Kind = (String, Option<String>, Vec<HalfFilled>, Vec<ListMark>);

/// A row of an order, carried through.
struct Row {
    item: Item,
    /// Which of the pieces it is; `None`: it could not be carried through.
    piece: Option<usize>,
}

/// An order carried through.
pub(crate) struct Carried {
    request: Request,
    order: Order,
    drawn: Option<Outlined>,
    rows: Vec<Row>,
    /// The pieces, each kind once.
    pub pieces: Vec<Piece>,
    /// The rows that are left out.
    pub bad: Vec<Bad>,
}

impl Request {
    /// Ends the work at bad rows, unless they are to be left out: says why of the first, and which rows the others are.
    fn refuse(&self, bad: &[Bad]) -> Result<(), Failure> {
        let Some(first) = bad.first().filter(|_| !self.skip_bad_rows) else { return Ok(()) };
        // A file that several rows name is to be mended once.
        let (alike, others): (Vec<&Bad>, Vec<&Bad>) = bad.iter().partition(|b| b.why == first.why);
        let numbers = |of: &[&Bad]| listed(&of.iter().map(|b| b.row).collect::<Vec<_>>());
        let rows = if alike.len() == 1 { "row" } else { "rows" };
        let others = match others.len() {
            0 => String::new(),
            n => {
                format!("; {} cannot be used either: {}", counted(n as u64, "more row"), numbers(&others))
            }
        };
        Err(Failure::input(format!(
            "{rows} {} of the table: {}{others}; mend them, or say --skip-bad-rows to go on without",
            numbers(&alike),
            first.why
        )))
    }
}

/// Ends the work where bad rows are all that there are; without a table there is one piece, and no row to name.
fn refuse_all(order: &Order, bad: &[Bad], none_left: bool) -> Result<(), Failure> {
    let Some(first) = bad.first().filter(|_| none_left) else { return Ok(()) };
    Err(match order.table {
        Some(_) => {
            let says = first.why.each(|why| text!("cli.order.no-row", row = first.row, why));
            Failure::input(says).of_row(first.row)
        }
        None => Failure::input(first.why.clone()),
    })
}

impl Rows {
    /// Reads an order and its table.
    ///
    /// # Errors
    /// Where one of them cannot be read, or asks for too much.
    pub fn read(request: Request) -> Result<Rows, Failure> {
        let mut order = Order::read(&request.order)?;
        if request.grid.is_some() {
            order.tray.grid.clone_from(&request.grid);
            order.tray.spots.clear();
            order.tray.outlines = None;
        }
        order.tray.gap = request.gap.or(order.tray.gap);
        let (mut usable, mut bad) = (Vec::new(), Vec::new());
        for item in items(&order, &request.order)? {
            match item {
                Ok(item) => usable.push(item),
                Err(OrderError::Row(row, why)) => bad.push(Bad { row, why: why.into() }),
                Err(e) => return Err(e.into()),
            }
        }
        Ok(Rows { request, order, drawn: None, items: usable, bad })
    }

    /// Makes sure that its rows can be gone on with and that the files they name are there, and reads the drawing of its tray
    /// where it names one.
    ///
    /// # Errors
    /// A bad row that is not to be left out, or none but bad ones; a drawing that cannot be used.
    pub fn ready(mut self) -> Result<Rows, Failure> {
        self.look_for_files();
        refuse_all(&self.order, &self.bad, self.items.is_empty())?;
        self.request.refuse(&self.bad)?;
        self.drawn = self.order.outlined(&self.request.order)?;
        Ok(self)
    }

    /// Puts rows whose files are not there with the bad ones: pieces take minutes, and this is told before any is made.
    fn look_for_files(&mut self) {
        let mut known: HashMap<String, Option<Said>> = HashMap::new();
        let mut missing = |job: &Job| {
            let files = job.layers.iter().map(|l| &l.file).chain([&job.art.file]).flatten();
            files.into_iter().find_map(|file| {
                let look = || Source::look_for(&file_name::path(file)).err().map(|e| e.sentence);
                known.entry(file.clone()).or_insert_with(look).clone()
            })
        };
        for item in std::mem::take(&mut self.items) {
            let why = match briefed(&self.request, &item) {
                Ok(brief) => missing(&brief.job),
                Err(e) => Some(e.sentence),
            };
            match why {
                None => self.items.push(item),
                Some(why) => self.bad.push(Bad { row: item.row, why }),
            }
        }
        self.bad.sort_by_key(|bad| bad.row);
    }

    /// The files that are read, none of which is replaced.
    pub fn files(&self) -> Vec<PathBuf> {
        let named = [&self.order.table, &self.order.tray.outlines].into_iter().flatten();
        let named = named.map(|t| Order::beside(&self.request.order, t));
        let art =
            self.items.iter().flat_map(|i| i.job.layers.iter().map(|l| &l.file).chain([&i.job.art.file]));
        let art = art.flatten().map(|f| file_name::path(f));
        [self.request.order.clone()].into_iter().chain(named).chain(art).collect()
    }

    /// Carries the pieces through, each kind once.
    ///
    /// # Errors
    /// As [`Rows::ready`], of rows whose pieces cannot be carried through.
    pub fn carried(self, progress: &dyn Progress) -> Result<Carried, Failure> {
        let Rows { request, order, drawn, items, mut bad } = self;
        progress.begin(text!("cli.order.stage.pieces"), 1.0)?;
        let _remembering = Remembering::begin();
        let mut kinds: Vec<&Item> = Vec::new();
        let mut known: HashMap<Kind, usize> = HashMap::new();
        let mut of_item = Vec::with_capacity(items.len());
        for item in &items {
            let key =
                (item.job.to_toml()?, item.blank.clone(), item.half_filled.clone(), item.list_marks.clone());
            let kind = *known.entry(key).or_insert_with(|| {
                kinds.push(item);
                kinds.len() - 1
            });
            of_item.push(kind);
        }
        progress.expect(kinds.len() as u64);
        let common = SharedLayers::default();
        let results = parallel::map(kinds.len(), |i| {
            let piece = piece(&request, kinds[i], &common, &Within(progress));
            let go_on = progress.go_on(1);
            piece.and_then(|p| Ok(go_on.map(|()| p)?))
        });
        progress.go_on(0)?;
        let (mut pieces, mut place, mut worse) = (Vec::new(), Vec::new(), Vec::new());
        for result in results {
            place.push(result.map(|piece| {
                pieces.push(piece);
                pieces.len() - 1
            }));
        }
        let mut rows = Vec::with_capacity(items.len());
        for (item, kind) in items.into_iter().zip(of_item) {
            if let Err(e) = &place[kind] {
                worse.push(Bad { row: item.row, why: e.sentence.clone() });
            }
            rows.push(Row { item, piece: place[kind].as_ref().ok().copied() });
        }
        refuse_all(&order, &worse, pieces.is_empty())?;
        bad.extend(worse);
        bad.sort_by_key(|bad| bad.row);
        request.refuse(&bad)?;
        Ok(Carried { request, order, drawn, rows, pieces, bad })
    }
}

/// What a piece is settled from: what its row names is read, but for its pictures.
fn briefed(request: &Request, item: &Item) -> Result<Brief, Failure> {
    let mut job = item.job.clone();
    if let Some(name) = &item.blank {
        let asked = BlankOptions { blank: Some(name.clone()), ..BlankOptions::default() }.asked()?;
        job.blank = job.blank.over(asked);
    }
    let before = job.scan.accept.take();
    let accept = [request.accept.clone(), before.unwrap_or_default()].concat();
    job.scan.accept = Some(accept).filter(|all| !all.is_empty());
    if job.art.file.is_none() && job.layers.is_empty() {
        return Err(Failure::input(text!("cli.order.nothing")));
    }
    Ok(Brief::read(job)?)
}

/// One piece carried through.
fn piece(
    request: &Request,
    item: &Item,
    common: &SharedLayers,
    progress: &dyn Progress,
) -> Result<Piece, Failure> {
    let mut brief = briefed(request, item)?;
    let (sources, plan) = Sources::settled(&mut brief, &request.folder)?;
    if plan.machine.turned.is_some() {
        let why = text!("cli.order.turned");
        let why = Said::from(why).line(text!("cli.order.turned.line")).page(text!("cli.order.turned.page"));
        return Err(Failure::input(why));
    }
    let how = DrawingOptions { drawing_time: request.drawing_time }.opening(&plan)?;
    let opened = sources.opened(&plan, &how, Some(common))?;
    let outcome = pipeline::run_shown(&plan, opened.shown(), &opened.name(), progress)?;
    let mut piece = Piece::new(plan, outcome, PICTURE_SIDE)?;
    piece.report.findings.extend(item.unlettered.then(of_art::unlettered));
    piece.report.findings.extend(item.half_filled.iter().map(|h| of_art::half_filled(&h.text, &h.columns)));
    piece.report.findings.extend(item.list_marks.iter().map(|m| of_art::list_mark(&m.column, &m.sign)));
    Ok(piece)
}

impl Carried {
    /// What the order is called.
    pub fn title(&self) -> String {
        let title = self.order.title.clone().unwrap_or_default();
        TableRow { number: 1, ..TableRow::default() }.fill(&title).unwrap_or(title)
    }

    /// Lays the pieces on trays.
    ///
    /// # Errors
    /// Where they fit on none, or on too many; where there is none, or none of the number to begin with.
    pub fn trays(&self) -> Result<Vec<Tray<'_>>, Failure> {
        let far = |f: fn(&Piece) -> f64| self.pieces.iter().map(f).fold(0.0, f64::max);
        let spot = (far(|p| p.sides().0), far(|p| p.sides().1));
        let count: usize = self.rows.iter().filter_map(|r| r.item.copies).sum();
        let spots = Spots::new(&self.order.tray, self.drawn.as_ref(), spot, count)?;
        let mut wanted: Vec<(&Item, usize)> = Vec::new();
        for (item, kind) in self.rows.iter().filter_map(|r| Some((&r.item, r.piece?))) {
            let copies = item.copies.unwrap_or(spots.spots.len());
            wanted.extend(std::iter::repeat_n((item, kind), copies));
        }
        if wanted.is_empty() {
            return Err(Failure::input(text!("cli.order.no-piece")));
        }
        let trays = wanted.len().div_ceil(spots.spots.len());
        if trays > MOST_TRAYS {
            return Err(Failure::input(text!(
                "cli.order.most-trays",
                pieces = wanted.len(),
                spots = spots.spots.len(),
                trays,
                most = MOST_TRAYS
            )));
        }
        if self.request.now.highest() > wanted.len() {
            return Err(Failure::input(format!(
                "there is no piece {}: the order has {}",
                self.request.now.highest(),
                wanted.len()
            )));
        }
        let mut all = Vec::new();
        let mut number = 1;
        for group in wanted.chunks(spots.spots.len()) {
            let corners: Vec<(f64, f64)> = group
                .iter()
                .enumerate()
                .map(|(i, &(item, kind))| spots.corner(i, &self.pieces[kind].plan.blank.shape, &item.name))
                .collect::<Result<_, _>>()?;
            let stops = group.iter().zip(&corners);
            let stops = stops.map(|(&(_, kind), &corner)| self.pieces[kind].stop(spots.tray, corner));
            let stops = stops.collect::<Result<Vec<_>, _>>()?;
            // Pieces are known by their numbers: half a tray may be burnt when a letter of a name is mended. So these hang on
            // the spots alone and never on what is marked there.
            let middles: Vec<Stop> = (0..group.len()).map(|i| Stop::at(spots.middle(i))).collect();
            let order = route(&middles);
            let between_mm = travel(&stops, &order);
            let mut tray = Tray { sides: spots.tray, laid: Vec::new(), of: Vec::new(), between_mm };
            for &i in &order {
                let (item, kind) = group[i];
                let (piece, corner) = (&self.pieces[kind], corners[i]);
                tray.laid.push(TrayPiece { number, name: &item.name, piece, corner });
                tray.of.push(Of { spot: i + 1, row: item.row, kind });
                number += 1;
            }
            all.push(tray);
        }
        Ok(all)
    }

    /// Lays the pieces on trays and writes all files.
    ///
    /// # Errors
    /// As [`Carried::trays`]; a jig that the machine cannot mark; where a file cannot be made or written.
    pub fn write(&self, output: &mut dyn Sink, progress: &dyn Progress) -> Result<OrderReport, Failure> {
        let trays = self.trays()?;
        let card = match (self.request.jig, self.pieces.first()) {
            (Some((power, speed)), Some(piece)) => {
                let machine = &piece.plan.machine;
                let (x, y) = machine.axes(Along::X);
                let top = MmPerS(x.top_speed.min(y.top_speed));
                if speed.0 > top.0 {
                    return Err(Failure::input(format!(
                        "the jig's speed of {speed} is out of range; {} moves at up to {top} both ways",
                        machine.name
                    )));
                }
                Some(((power.0 * machine.program.full_scale_s).round().max(1.0) as u32, speed.0))
            }
            _ => None,
        };
        let skipped: Vec<String> =
            self.bad.iter().map(|b| text!("cli.order.left-out", row = b.row, why = b.why)).collect();
        let asked = Asked {
            title: &self.title(),
            now: &self.request.now,
            card,
            drawn: self.order.tray.outlines.as_deref(),
            skipped: &skipped,
            by_row: self.order.table.is_some(),
            is_job: self.order.is_job,
        };
        Ok(outputs::write_trays(&asked, &trays, output, progress)?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::progress::Silent;

    const ORDER: &str = "table = 'names.csv'\nname = '{name}'\n[piece.blank]\nshape = 'rect:30x20mm'\nmargin = '1.5mm'\n\
                         [piece.dots]\nscreen = 'bayer'\n[[piece.layer]]\ntext = '{name}'\n";

    #[test]
    fn a_mended_name_moves_no_piece() {
        let folder = tempfile::tempdir().unwrap();
        let order = folder.path().join("order.toml");
        std::fs::write(&order, format!("tray.grid = '3x2'\n{ORDER}")).unwrap();
        let spots = |names: &str| -> Vec<usize> {
            std::fs::write(folder.path().join("names.csv"), format!("name\n{names}")).unwrap();
            let (order, folder) = (order.clone(), folder.path().join("out"));
            let rows = Rows::read(Request { order, folder, ..Request::default() }).unwrap().ready().unwrap();
            let carried = rows.carried(&Silent).unwrap();
            carried.trays().unwrap()[0].of.iter().map(|of| of.spot).collect()
        };
        let first = spots("Ada\nBo\nIda\nFog\nUna\n");
        assert_eq!(spots("Ada\nBo\nIda\nFog of the sea\nUna\n"), first);
        assert_eq!(spots("i\nLLL\nMm\nFog\nUna\n"), first);
    }

    #[test]
    fn rows_alike_are_one_piece_and_each_is_told_by_its_row() {
        let folder = tempfile::tempdir().unwrap();
        let order = folder.path().join("order.toml");
        std::fs::write(&order, ORDER).unwrap();
        std::fs::write(folder.path().join("names.csv"), "name\nAda\nFog\n#N/A\nAda\n").unwrap();
        let of = |from, skip_bad_rows| {
            let (order, folder) = (order.clone(), folder.path().join("out"));
            let now = Now::From(from);
            Rows::read(Request { order, folder, now, skip_bad_rows, ..Request::default() }).unwrap().ready()
        };
        let said = of(1, false).err().unwrap().sentence;
        assert!(said.starts_with("row 4 of the table: ") && said.contains("--skip-bad-rows"), "{said}");
        let carried = of(1, true).unwrap().carried(&Silent).unwrap();
        assert_eq!((carried.pieces.len(), carried.bad.len(), carried.bad[0].row), (2, 1, 4));
        let trays = carried.trays().unwrap();
        let mut of_rows: Vec<(usize, usize)> = trays[0].of.iter().map(|of| (of.row, of.kind)).collect();
        of_rows.sort_unstable();
        assert_eq!(of_rows, [(2, 0), (3, 1), (5, 0)]);
        let late = of(9, true).unwrap().carried(&Silent).unwrap();
        let said = late.trays().err().unwrap().sentence;
        assert_eq!(said, "there is no piece 9: the order has 3");
    }

    #[test]
    fn files_that_are_not_there_are_told_before_any_piece_is_made() {
        let folder = tempfile::tempdir().unwrap();
        let order = folder.path().join("order.toml");
        let of = |job: &str, names: &str, skip_bad_rows| {
            std::fs::write(&order, job).unwrap();
            std::fs::write(folder.path().join("names.csv"), names).unwrap();
            let (order, folder) = (order.clone(), folder.path().join("out"));
            Rows::read(Request { order, folder, skip_bad_rows, ..Request::default() }).unwrap().ready()
        };
        let said = |job: &str, names: &str| of(job, names, false).err().unwrap().sentence.to_string();
        std::fs::write(folder.path().join("ship.svg"), "<svg xmlns='http://www.w3.org/2000/svg'/>").unwrap();
        let pictured = format!("{ORDER}[[piece.layer]]\nfile = '{{photo}}'\n");
        let names = "name,photo\nAda,ship.svg\nBo,quay.jpg\nIda,\nFog,quay.jpg\nUna,mole.jpg\n";
        let all = said(&pictured, names);
        assert!(all.starts_with("rows 3 and 5 of the table: cannot read '"), "{all}");
        assert!(all.contains("quay.jpg': there is no such file; "), "{all}");
        assert!(all.contains("; 2 more rows cannot be used either: 4 and 6; mend them"), "{all}");
        let two = said(&pictured, "name,photo\nAda,ship.svg\nBo,quay.jpg\nUna,mole.jpg\n");
        assert!(two.contains("; 1 more row cannot be used either: 4; mend them"), "{two}");
        let rows = of(&pictured, names, true).unwrap();
        let left_out: Vec<usize> = rows.bad.iter().map(|bad| bad.row).collect();
        assert_eq!((rows.items.len(), left_out), (1, vec![3, 4, 5, 6]));
        // Other files that a row names are looked for as well.
        let painted = ORDER.replace("[piece.blank]", "[piece]\ncoating = '{paint}'\n[piece.blank]");
        let one = said(&painted, "name,paint\nAda,poster-paint\nBo,tar.toml\n");
        assert!(one.starts_with("row 3 of the table: ") && one.contains("tar.toml"), "{one}");
        // Without a table there is no row to name.
        let alone = said("[[layer]]\nfile = 'quay.jpg'\n", "");
        assert!(alone.starts_with("cannot read '"), "{alone}");
    }
}
