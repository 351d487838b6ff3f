//! Wanted: art to the wanted mark of each dot, by place, drawing, shape and the look of the piece.

use std::ops::Range;

use super::drawable::Drawable;
use super::error::PipelineError;
use super::laid_round::Cone;
use super::left_out::LeftOut;
use super::read::{self, ReadArt};
use super::shown::{Meeting, Shown};
use crate::art::reading::{AlikeInks, AroundSheet, Decision, PaperSheet};
use crate::art::{self, Art, Kind, View};
use crate::findings::art::{Alone, Around, Beyond};
use crate::job::Plan;
use crate::job::words::{ReadAs, ToneBy};
use crate::mark::{Blurred, blurred, lettering_of};
use crate::note::Note;
use crate::parallel;
use crate::placement::{self, DotRect, Outline, Place, PlaceError, Placement, Spot};
use crate::plane::{Alpha, Dots, Tone};
use crate::progress::{Progress, Within};
use crate::proof::words;
use crate::texts::text;
use crate::tone::automatic::Automatic;
use crate::tone::{shape, tone_mapping};

/// A picture among layers: how it was read and where it lies.
#[derive(Debug, Clone)]
pub struct LayerPicture {
    /// Its number among the layers, from 0.
    pub layer: usize,
    /// How it was read, how sure that is, and why.
    pub reading: Decision,
    /// What lies around a sheet of paper that does not fill the picture, or around a photo.
    pub around: Option<Around>,
    /// Inks of it that touch and get nearly the same mark.
    pub alike: Option<AlikeInks>,
    /// The share of its ink that its inversion leaves bare, where that spoils it.
    pub emptied: Option<f64>,
    /// Where it lies.
    pub placement: Placement,
}

/// The wanted mark, and how it came about: everything before the screen.
#[derive(Debug, Clone)]
pub struct Wanted {
    /// Where the art lies.
    pub placement: Placement,
    /// The wanted mark fraction of each dot.
    pub tone: Tone,
    /// How the art was read.
    pub kind: Kind,
    /// How sure that is, and why.
    pub reading: Decision,
    /// What lies around a sheet of paper that does not fill the picture, or around a photo.
    pub around: Option<Around>,
    /// What its photo was given of what it lacked; of layers, the lowest photo that lacked something.
    pub automatic: Option<Automatic>,
    /// Inks of it that touch and get nearly the same mark.
    pub alike: Option<AlikeInks>,
    /// The share of its ink that its inversion leaves bare, where that spoils it.
    pub emptied: Option<f64>,
    /// The pictures among its layers; none where it is one picture and nothing else.
    pub pictures: Vec<LayerPicture>,
    /// What came of its layers where they meet.
    pub meeting: Meeting,
    /// Things a person should know.
    pub notes: Vec<Note>,
    /// What of its layers has no dots, where they are many.
    pub left_out: Option<LeftOut>,
}

impl Wanted {
    /// Mean over the dot rectangle of what is wanted where dots may be.
    pub fn mean(&self, plan: &Plan) -> f64 {
        self.mean_up_to(plan, f32::INFINITY)
    }

    /// The same of as much of it as no mark above `most` (a share of a full mark) gives.
    pub fn mean_up_to(&self, plan: &Plan, most: f32) -> f64 {
        let (tone, rect) = (&self.tone, &self.placement.rect);
        let height = tone.height();
        let sums = parallel::map(height.div_ceil(ABREAST), |i| {
            let rows = std::array::from_fn(|k| match i * ABREAST + k {
                y if y < height => &tone.row(y)[rect.allowed(&plan.blank, y)],
                _ => &[],
            });
            abreast(rows, most)
        });
        let sum: f64 = sums.iter().flatten().take(height).sum();
        sum / (tone.width() * height).max(1) as f64
    }

    /// The fine strokes of the art that run together in `dots`; of a photo only those of lettering and the like, for its
    /// grain is no detail. `None` for art that has nothing finer than its dots.
    ///
    /// # Errors
    /// As [`Drawable::wanted`]: the art is drawn finer than its dots.
    pub fn blurred(
        plan: &Plan,
        shown: Shown<'_>,
        (kind, placement): (Kind, &Placement),
        dots: &Dots,
        progress: &dyn Progress,
    ) -> Result<Option<Blurred>, PipelineError> {
        let rect = &placement.rect;
        let (wide, high) = plan.switched();
        let (columns, rows) = (rect.columns as f64 / wide as f64, rect.rows as f64 / high as f64);
        let cells = columns * rows;
        // Lettering in a photo is soft: it is seen as well at twice the dots, in half the time.
        let most = if kind == Kind::Photo { 2.0 } else { 3.0 };
        let times = (FINE_CELLS / cells).sqrt().floor().min(most);
        let part = placement.window.width() * plan.art.crop.window().width();
        // Picture elements no finer than the dots have nothing to lose.
        let too_few = |(w, _): (usize, usize)| w as f64 * part <= 1.1 * columns;
        let finer = shown.alone().is_none_or(|art| !art.pixels().is_some_and(too_few));
        // Tones by power have no dots to look at.
        let dotted = plan.scan.tone_by == ToneBy::Dots;
        if kind == Kind::Paper || !dotted || times < 2.0 || !finer {
            return Ok(None);
        }
        let mut fine =
            Drawable::of(plan).finer(times as usize, (wide, high), kind).wanted(shown, &Within(progress))?;
        fine.leave_out_paper();
        if kind == Kind::Photo && !lettering_of(&mut fine.tone, times as usize) {
            return Ok(None);
        }
        let found = blurred(dots, &plan.burn, rect, &fine.tone, &fine.placement.rect);
        let least = if kind == Kind::Photo { LEAST_LETTERING_MM2 } else { 0.0 };
        Ok(found.filter(|b| b.cells as f64 * rect.grid.cell_mm2() >= least))
    }

    /// Nothing is wanted where one of its layers is a drawing on paper, whose grain is no detail.
    fn leave_out_paper(&mut self) {
        let rect = self.placement.rect;
        for picture in self.pictures.iter().filter(|p| p.reading.kind == Kind::Paper) {
            let (columns, rows) = covered(&rect, &picture.placement.rect);
            let width = self.tone.width();
            for row in self.tone.data_mut().chunks_mut(width).take(rows.end).skip(rows.start) {
                row[columns.clone()].fill(0.0);
            }
        }
    }

    /// The part of `columns` by `rows`, where it lies.
    pub fn part(mut self, columns: Range<usize>, rows: Range<usize>) -> Self {
        let rect = &mut self.placement.rect;
        rect.left.0 += columns.start as f64 * rect.grid.along.0;
        rect.top.0 += rows.start as f64 * rect.grid.across.0;
        (rect.columns, rect.rows) = (columns.len(), rows.len());
        self.tone = self.tone.part(columns, rows);
        self
    }

    /// Nothing is wanted where no dot may be.
    pub fn mask(&mut self, plan: &Plan) {
        let width = self.tone.width();
        for y in 0..self.tone.height() {
            let keep = self.placement.rect.allowed(&plan.blank, y);
            let row = &mut self.tone.data_mut()[y * width..(y + 1) * width];
            row[..keep.start].fill(0.0);
            row[keep.end..].fill(0.0);
        }
    }
}

/// The most samples in which a drawing is looked at finer than its dots; larger ones are not, for what is lost at that
/// size is seen on the proof.
const FINE_CELLS: f64 = 6e6;

/// Lettering that runs together in a photo is worth a word from this area on (mm²): a word of a few letters. Less may be
/// a fence or a lattice.
const LEAST_LETTERING_MM2: f64 = 2.0;

/// The columns and rows of `rect` that `part` reaches into.
pub(super) fn covered(rect: &DotRect, part: &DotRect) -> (Range<usize>, Range<usize>) {
    let of = |from: f64, length: f64, pitch: f64, all: usize| {
        // What begins at a column's edge does not reach into the one before it.
        let first = ((from / pitch + 1e-6).floor().max(0.0) as usize).min(all);
        let end = (((from + length) / pitch - 1e-6).ceil().max(0.0) as usize).min(all);
        first..end.max(first)
    };
    let (left, top) = (part.left.0 - rect.left.0, part.top.0 - rect.top.0);
    (
        of(left, part.width(), rect.grid.along.0, rect.columns),
        of(top, part.height(), rect.grid.across.0, rect.rows),
    )
}

/// Rows that are summed at once: each sum waits for its last addition, so that one alone takes four times as long.
const ABREAST: usize = 8;

/// The sum of each row, in f64 from its first value to its last, no value counted above `most`.
fn abreast(rows: [&[f32]; ABREAST], most: f32) -> [f64; ABREAST] {
    let shortest = rows.iter().map(|r| r.len()).min().unwrap_or(0);
    let mut sums = [0.0f64; ABREAST];
    for x in 0..shortest {
        for (sum, row) in sums.iter_mut().zip(&rows) {
            *sum += f64::from(row[x].min(most));
        }
    }
    for (sum, row) in sums.iter_mut().zip(&rows) {
        row[shortest..].iter().for_each(|&v| *sum += f64::from(v.min(most)));
    }
    sums
}

/// Where one picture lies, and what is seen of it.
///
/// # Errors
/// Art that is all transparent, a place that it cannot have.
pub fn placed(piece: &Drawable<'_>, art: &Art) -> Result<(Placement, View), PipelineError> {
    let (outline, mut view) = outlined(piece, art)?;
    let placement = laid(piece, &outline, piece.art.place)?;
    view.window = placement.window;
    Ok((placement, view))
}

/// Where art of this outline lies, made as large as `place` says.
pub(super) fn laid(piece: &Drawable<'_>, outline: &Outline, place: Place) -> Result<Placement, PlaceError> {
    laid_at(piece, outline, place, piece.art.spot)
}

/// The same at a spot.
pub(super) fn laid_at(
    piece: &Drawable<'_>,
    outline: &Outline,
    place: Place,
    spot: Option<Spot>,
) -> Result<Placement, PlaceError> {
    match Cone::of(&piece.blank) {
        None => placement::placed(outline, &piece.blank, place, spot.as_ref(), piece.grid),
        Some(cone) => cone.place(outline, place, spot, piece.grid),
    }
}

/// The outline of the art as it is turned and cropped, and how it is seen so.
pub(super) fn outlined(piece: &Drawable<'_>, art: &Art) -> Result<(Outline, View), PipelineError> {
    let view = View {
        crop: piece.art.crop.window(),
        turn: piece.art.turn,
        mirror: piece.art.mirror,
        ..View::default()
    };
    let hull = art::extent::extent(art, &view)?;
    if hull.is_empty() {
        return Err(PipelineError::Nothing);
    }
    let (w, h) = view.size(art);
    Ok((Outline { aspect: w / h, hull: hull.to_vec() }, view))
}

/// One picture to the wanted mark, read as `read_as`: place, render, shape, look of the piece.
///
/// # Errors
/// See [`PipelineError`]; [`PipelineError::Stopped`] where the person asked for it.
pub(super) fn wanted_as(
    piece: &Drawable<'_>,
    art: &Art,
    read_as: ReadAs,
    progress: &dyn Progress,
) -> Result<Wanted, PipelineError> {
    let shares = piece.shares;
    progress.begin(text!("pipeline.stage.placing"), shares.placing)?;
    let (placement, view) = placed(piece, art)?;

    let read = ReadArt::new(view.crop, art, read_as);
    let kind = read.reading.kind;

    progress.begin(text!("pipeline.stage.drawing"), shares.drawing)?;
    let rect = &placement.rect;
    let read::Drawn { rendered, sheet, note, alike } = read.render(&view, rect.columns, rect.rows)?;
    let of_art = |edges: [f64; 4]| {
        let crop = read::crop_to(edges, &view);
        [crop.left, crop.top, crop.width(), crop.height()]
    };
    let place = |[x, y]: [f64; 2]| {
        let (x, y) = ((x * rect.columns as f64) as usize, (y * rect.rows as f64) as usize);
        rect.centre(&piece.blank, x, y)
    };
    let beyond = |sheet: &PaperSheet| match sheet.around {
        AroundSheet::Table => sheet.cut.map_or(Beyond::LeftBare, |at| Beyond::Reached(place(at))),
        AroundSheet::Shadow => Beyond::Kept,
        AroundSheet::Drawn => Beyond::Drawn,
        AroundSheet::Unclear => Beyond::Unclear,
    };
    let sheet = sheet.map(|sheet| Around {
        share: sheet.share,
        alone: sheet.alone.map(|a| Alone { most: of_art(a.most), kept: Some(of_art(a.inked)) }),
        what: beyond(&sheet),
    });
    progress.begin(text!("pipeline.stage.tones"), shares.tones)?;
    let pitch = (piece.grid.along.0, piece.grid.across.0);
    let mut shaping = piece.tone.shape.clone();
    let mut negative = false;
    if kind != Kind::Photo {
        if shaping.levels == shape::LevelStretch::Fitting {
            shaping.levels = shape::LevelStretch::Off;
        }
        // Ink and ground change places once it is known which is which.
        negative = std::mem::take(&mut shaping.tilt.invert);
    }
    let (light, shaped) = shape::shape(rendered.light, rendered.alpha.as_ref(), &shaping, pitch)?;
    let border = shaped.inside.map(|(columns, rows)| {
        let [left, right] = [columns.start, columns.end].map(|x| x as f64 / light.width() as f64);
        let [top, bottom] = [rows.start, rows.end].map(|y| y as f64 / light.height() as f64);
        Around {
            share: (right - left) * (bottom - top),
            alone: Some(Alone { most: of_art([left, top, right, bottom]), kept: None }),
            what: Beyond::Border,
        }
    });
    let mut notes: Vec<Note> = shaped.levels.map(|l| Note::fact(words::levels(l))).into_iter().collect();
    notes.extend(shaped.automatic.as_ref().map(words::automatic));
    notes.extend(note.map(Note::fact));
    let mut tone = match kind {
        Kind::Photo => tone_mapping::photo(light, rendered.alpha.as_ref(), piece.looks),
        Kind::Drawing | Kind::Paper => {
            let (ink, note) = tone_mapping::ink(&light, rendered.alpha.as_ref());
            notes.extend(note.map(Note::fact));
            tone_mapping::drawing(light, rendered.alpha.as_ref(), ink)
        }
    };
    let mut emptied = None;
    if negative {
        exchange(&mut tone, rendered.alpha.as_ref());
        emptied = rendered.alpha.as_ref().and_then(|alpha| self::emptied(&tone, alpha));
    }
    let (placement, tone) = match Cone::of(&piece.blank) {
        None => (placement, tone),
        Some(cone) => {
            let (rect, tone) = cone.laid_round(&placement.rect, &tone);
            (Placement { rect, ..placement }, tone)
        }
    };
    Ok(Wanted {
        placement,
        tone,
        kind,
        reading: read.reading,
        around: sheet.or(border),
        automatic: shaped.automatic,
        alike,
        emptied,
        pictures: Vec::new(),
        meeting: Meeting::default(),
        notes,
        left_out: None,
    })
}

/// Exchanges ink and ground; what is transparent stays unmarked.
fn exchange(tone: &mut Tone, alpha: Option<&Alpha>) {
    let width = tone.width();
    for (y, row) in tone.data_mut().chunks_mut(width).enumerate() {
        match alpha {
            Some(a) => row.iter_mut().zip(a.row(y)).for_each(|(v, a)| *v = (a - *v).max(0.0)),
            None => row.iter_mut().for_each(|v| *v = 1.0 - *v),
        }
    }
}

/// What is marked less is bare, and what is marked more a full mark.
const BARE: f32 = 0.1;
const FULL: f32 = 0.8;
/// From so large a share of bare ink on, and with a smaller share of full marks than that, only pale remains are left of what
/// was drawn. White ink becomes a full mark: on a dark badge that is what the inversion is for.
const EMPTIED: f64 = 0.5;
const LEAST_FULL: f64 = 0.02;

/// The share of ink that stays bare of a drawing whose ink and ground are exchanged, where of that only pale remains are left.
fn emptied(tone: &Tone, alpha: &Alpha) -> Option<f64> {
    let of = |row: usize| tone.row(row).iter().zip(alpha.row(row)).filter(|(_, a)| **a > 0.5);
    let rows = parallel::map(tone.height(), |y| {
        of(y).fold([0usize; 3], |[all, bare, full], (&v, _)| {
            [all + 1, bare + usize::from(v < BARE), full + usize::from(v >= FULL)]
        })
    });
    let sum = |k: usize| rows.iter().map(|row| row[k]).sum::<usize>() as f64;
    let (all, bare, full) = (sum(0), sum(1), sum(2));
    (all > 0.0 && bare >= EMPTIED * all && full < LEAST_FULL * all).then(|| bare / all)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::placement::Grid;
    use crate::units::Mm;

    #[test]
    fn what_a_part_reaches_into_is_covered() {
        let of = |left: f64, top: f64, columns: usize, rows: usize, pitch: f64| {
            let grid = Grid { along: Mm(pitch), across: Mm(pitch) };
            DotRect { left: Mm(left), top: Mm(top), columns, rows, grid }
        };
        let all = of(10.0, 20.0, 100, 50, 0.1);
        assert_eq!(covered(&all, &of(12.0, 21.0, 30, 10, 0.1)), (20..50, 10..20));
        assert_eq!(covered(&all, &of(9.0, 24.98, 10, 30, 0.3)), (0..20, 49..50));
        assert_eq!(covered(&all, &of(0.0, 0.0, 10, 10, 0.1)), (0..0, 0..0));
    }

    #[test]
    fn an_inversion_that_leaves_pale_remains_is_told_and_one_of_white_ink_or_a_white_ground_is_not() {
        // A dark hull below a sail of another ink, on a ground.
        let emptied = |ground: &str, sail: &str, tone: &str| {
            let svg = format!(
                "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 20 20'>{ground}\
                 <rect x='2' y='12' width='16' height='6' fill='#14326e'/>\
                 <rect x='9' y='3' width='6' height='8' fill='{sail}'/></svg>"
            );
            let job = format!("blank = {{ shape = 'rect:20x20mm', surface = 'slate' }}\n{tone}");
            let plan = Plan::of(&job.parse::<crate::job::Job>().unwrap()).unwrap();
            let art = art::open(svg.as_bytes(), "ship.svg").unwrap();
            let shown = Shown::Art(&art);
            Drawable::of(&plan).wanted(shown, &crate::progress::Silent).unwrap().emptied
        };
        let invert = "tone = { invert = true }";
        let share = emptied("", "#ebb43c", invert).unwrap();
        assert!((share - 2.0 / 3.0).abs() < 0.03, "{share}");
        assert_eq!(emptied("", "#ebb43c", ""), None);
        let badge = "<rect x='1' y='1' width='18' height='18' fill='#14326e'/>";
        assert_eq!(emptied(badge, "white", invert), None);
        assert_eq!(emptied("<rect width='20' height='20' fill='white'/>", "#ebb43c", invert), None);
    }

    #[test]
    fn rows_summed_at_once_are_summed_as_each_alone() {
        let row = |n: usize| (0..n).map(|i| (i as f32 * 0.37).sin().abs()).collect::<Vec<f32>>();
        let rows: [Vec<f32>; ABREAST] = std::array::from_fn(|k| row([300, 7, 0, 999, 41, 300, 1, 64][k]));
        let sums = abreast(std::array::from_fn(|k| rows[k].as_slice()), f32::INFINITY);
        for (sum, row) in sums.iter().zip(&rows) {
            assert_eq!(*sum, row.iter().map(|&v| f64::from(v)).sum::<f64>());
        }
    }
}
