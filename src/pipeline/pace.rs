//! Pace: how many lines the dots lie on, and so how long the burn takes.
//!
//! Where little is marked, dots on every second line look as good as dots on all, see [`barred`](crate::screen::barred);
//! the burn takes less time for it. How far that goes is asked for, or is found: on a few small windows of the picture, with
//! the likeness and the time of the lines as they come out there.

use std::ops::Range;
use std::sync::Arc;

use super::error::PipelineError;
use super::foresee::raster;
use super::laid::mask;
use super::likely;
use crate::art::Kind;
use crate::job::Plan;
use crate::job::words::{BurnTime, ToneBy};
use crate::mark::{CellSamples, Forecast};
use crate::parallel;
use crate::placement::{Along, Placement};
use crate::plane::{Dots, Tone};
use crate::progress::{Progress, Silent, Stopped, Within};
use crate::proof::loupe::DotWindow;
use crate::scan::gaps::{Gaps, Hurry};
use crate::scan::lines::Marking;
use crate::scan::program::Program;
use crate::screen::barred::MOST;
use crate::screen::{Options, Screen};
use crate::units::{Mm, short};
use crate::visual_quality::{self, Eye, PointSpread, READING_DISTANCE_MM};

/// From dots on all lines to the fewest: up to where every second line is kept free, as shares of what the others can mark.
pub const LADDER: [f32; 5] = [0.0, 0.5, 0.65, 0.8, MOST];
/// The last of them that is tried where nothing is asked for. Above it the dots of a line run together so far that the
/// lines show (own judgement, on enlarged forecasts).
const USUAL: usize = 3;
/// Likeness that may be lost for time, dB; and the likeness that is always enough.
const SLACK: f64 = 0.3;
const ENOUGH: f64 = 42.0;
/// Less time than this is not worth a change, as a share.
const WORTH: f64 = 0.98;
/// The same between two rungs.
pub const WORTH_A_RUNG: f64 = 0.995;

/// Windows of a picture along and down; their sides in line pitches, what at their edges does not count, and how far the eye
/// spreads a point.
const WINDOWS: usize = 4;
const SIDE: usize = 48;
const EDGE: usize = 8;
const REACH: usize = 12;

/// How often dots are made to come to a time that was asked for, and how near below it is near enough.
const TRIES: usize = 8;
const NEAR: f64 = 0.985;

/// What was settled for the sake of time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pace {
    /// Up to where every second line is kept free of dots, see [`Options::barred`].
    pub barred: f32,
    /// The burn's time as a share of that with dots on all lines.
    pub time: f64,
    /// The likeness that it costs, dB; below 0 where fewer lines look better.
    pub lost_db: f64,
    /// The share of the time that was asked for; `None`: none was, and both figures are estimates from windows.
    pub asked: Option<f64>,
}

impl Pace {
    /// Dots on all lines.
    pub const ALL_LINES: Pace = Pace { barred: 0.0, time: 1.0, lost_db: 0.0, asked: None };

    /// Whether dots run together along every second line so far that the lines show from near.
    pub fn lines_show(&self) -> bool {
        self.barred > LADDER[USUAL]
    }

    /// Time, s, and likeness, dB, where a burn at the pace `own` takes and has so much.
    pub fn beside(&self, own: &Pace, (seconds, likeness_db): (f64, f64)) -> (f64, f64) {
        (seconds * self.time / own.time, likeness_db + own.lost_db - self.lost_db)
    }
}

/// What to ask for to keep within a share of the time, see [`BurnTime`]: percent, no finer than a tenth.
pub fn asking_for(share: f64) -> String {
    format!("{}%", short((1000.0 * share - 1e-6).ceil().clamp(10.0, 1000.0) / 10.0, 1))
}

/// What dots are made from.
pub(super) struct Work<'a> {
    pub plan: &'a Plan,
    pub screen: &'static Screen,
    pub options: &'a Options,
    pub tone: &'a Tone,
    pub placement: &'a Placement,
}

impl Work<'_> {
    /// Makes the dots, masked, with every second line free where so much is barred.
    ///
    /// # Errors
    /// Where `progress` ends the work.
    pub fn dots(&self, barred: f32, progress: &dyn Progress) -> Result<Dots, Stopped> {
        let options = Options { barred, ..self.options.clone() };
        let mut dots = self.screen.dots(self.tone, &options, progress);
        progress.go_on(0)?;
        mask(&mut dots, self.plan, self.placement);
        Ok(dots)
    }

    /// Makes them as the plan asks for the time of the burn.
    ///
    /// # Errors
    /// Where lines cannot be laid on this machine, or `progress` ends the work.
    pub fn paced(&self, kind: Kind, progress: &dyn Progress) -> Result<(Dots, Pace), PipelineError> {
        let pace = match self.plan.dots.time {
            BurnTime::Share(share) if self.spares() && share.0 < 1.0 => {
                return self.within(share.0, progress);
            }
            BurnTime::Share(_) => Pace::ALL_LINES,
            BurnTime::Auto => self.settled(kind)?,
        };
        Ok((self.dots(pace.barred, progress)?, pace))
    }

    /// What a search would settle for the sake of time, as windows tell.
    ///
    /// # Errors
    /// Where lines cannot be laid on this machine.
    pub fn settled(&self, kind: Kind) -> Result<Pace, PipelineError> {
        match self.plan.dots.time {
            _ if !self.spares() || kind != Kind::Photo => Ok(Pace::ALL_LINES),
            BurnTime::Auto => self.found(),
            BurnTime::Share(share) => {
                let rungs = self.rungs(None)?;
                let within = rungs.iter().find(|r| r.time <= share.0).or(rungs.last());
                Ok(within.copied().unwrap_or(Pace::ALL_LINES))
            }
        }
    }

    /// The burn's time as a search would settle it, as a share of that of other dots, each of which is as long as `times` of
    /// its own; as windows tell. 1 where they do not.
    ///
    /// # Errors
    /// Where lines cannot be laid on this machine.
    pub fn against(&self, kind: Kind, others: &Dots, times: usize) -> Result<f64, PipelineError> {
        let Some(sheet) = self.sheet()?.filter(|_| kind == Kind::Photo) else { return Ok(1.0) };
        let own = sheet.tried(self, self.settled(kind)?.barred).seconds;
        let pitch = sheet.options.pitch_along_mm * times as f64;
        let speed = self.plan.process.speed.value.0;
        let of = |w: &DotWindow| -> f64 {
            let (wide, high) = self.lines().swap((times, 1));
            let columns = w.column / wide..(w.column + w.columns) / wide;
            let rows = w.row / high..(w.row + w.rows) / high;
            let part = in_rows(self.lines(), others.part(columns, rows), Dots::transposed);
            (0..part.height()).map(|y| seconds(&part, y, 0..part.width(), pitch, speed, &sheet.gaps)).sum()
        };
        let others = sheet.from.iter().map(of).sum::<f64>();
        Ok(if others > 0.0 { own / others } else { 1.0 })
    }

    /// Whether lines can be spared: only screens that search make up for it.
    fn spares(&self) -> bool {
        self.screen.searches && self.plan.scan.tone_by == ToneBy::Dots
    }

    fn lines(&self) -> Along {
        self.plan.scan.lines
    }

    /// The windows, and how the head crosses gaps; `None` where the controller does not plan ahead or the picture is too
    /// small to tell.
    fn sheet(&self) -> Result<Option<Sheet>, PipelineError> {
        let raster = raster(self.plan, self.placement)?;
        let Some(top) = raster.gaps.hurry.as_ref().map(Hurry::top) else { return Ok(None) };
        let windows = windows(self.plan, self.placement, self.tone);
        Ok((!windows.is_empty()).then(|| Sheet::new(self, windows, (raster.gaps, top))))
    }

    /// The least time that looks as good, as windows of the picture tell.
    fn found(&self) -> Result<Pace, PipelineError> {
        let Some(sheet) = self.sheet()? else { return Ok(Pace::ALL_LINES) };
        // Side by side: windows are too few to keep all threads at work.
        let (all, usual) = parallel::both(|| sheet.tried(self, 0.0), || sheet.tried(self, LADDER[USUAL]));
        let mut usual = Some(usual);
        let least = (all.likeness() - SLACK).min(ENOUGH);
        for &barred in LADDER[1..=USUAL].iter().rev() {
            let some = usual.take().unwrap_or_else(|| sheet.tried(self, barred));
            let pace = some.pace(barred, &all);
            if pace.time > WORTH {
                break;
            }
            if some.likeness() >= least {
                return Ok(pace);
            }
        }
        Ok(Pace::ALL_LINES)
    }

    /// The [`LADDER`] from the longest time to the least, with `also` in its place, as windows of the picture tell; what saves
    /// no time is left out. None where no line can be spared.
    ///
    /// # Errors
    /// Where lines cannot be laid on this machine.
    pub fn rungs(&self, also: Option<f32>) -> Result<Vec<Pace>, PipelineError> {
        let Some(sheet) = self.sheet()?.filter(|_| self.spares()) else { return Ok(Vec::new()) };
        let mut barred: Vec<f32> = LADDER.into_iter().chain(also).collect();
        barred.sort_by(f32::total_cmp);
        barred.dedup();
        let tried = parallel::map(barred.len(), |i| sheet.tried(self, barred[i]));
        let mut rungs: Vec<Pace> = Vec::with_capacity(barred.len());
        for (&barred, some) in barred.iter().zip(&tried) {
            let rung = some.pace(barred, &tried[0]);
            let saves = rungs.last().is_none_or(|last| rung.time < WORTH_A_RUNG * last.time);
            if saves || also == Some(barred) {
                rungs.push(rung);
            }
        }
        Ok(rungs)
    }

    /// No more than a share of the time with dots on all lines, as near to it as a few tries come.
    fn within(&self, share: f64, progress: &dyn Progress) -> Result<(Dots, Pace), PipelineError> {
        let all = self.dots(0.0, progress)?;
        let progress = &Within(progress);
        let judge = likely::judge(self.plan, self.tone, self.placement);
        let likeness = |dots: &Dots| likely::planned(self.plan, &judge, dots);
        let (whole, best) = (self.seconds(&all, progress)?, likeness(&all));
        let most = share * whole;
        let mut low = (0.0, whole);
        let dots = self.dots(MOST, progress)?;
        let mut high = (MOST, self.seconds(&dots, progress)?);
        let mut made = dots;
        // Down the ladder first, which is what a curve of times shows; then between the two rungs that the time lies between.
        let mut rungs = LADDER[1..LADDER.len() - 1].iter().rev().copied();
        for _ in 2..TRIES {
            if high.1 > most || high.1 >= NEAR * most {
                break;
            }
            let between = ((low.1 - most) / (low.1 - high.1)).clamp(0.1, 0.9) as f32;
            let rung = if low.0 > 0.0 { None } else { rungs.next() };
            let barred = rung.unwrap_or(low.0 + between * (high.0 - low.0));
            let dots = self.dots(barred, progress)?;
            let seconds = self.seconds(&dots, progress)?;
            if seconds <= most {
                (high, made) = ((barred, seconds), dots);
            } else {
                low = (barred, seconds);
            }
        }
        if high.1 >= WORTH_A_RUNG * whole {
            // No line can be spared: what is barred saves nothing.
            return Ok((all, Pace { asked: Some(share), ..Pace::ALL_LINES }));
        }
        let lost_db = best - likeness(&made);
        Ok((made, Pace { barred: high.0, time: high.1 / whole, lost_db, asked: Some(share) }))
    }

    /// How long the program of dots takes, s.
    fn seconds(&self, dots: &Dots, progress: &dyn Progress) -> Result<f64, PipelineError> {
        let marking = Marking::Dots(dots);
        let raster = raster(self.plan, self.placement)?.ordered(marking);
        // Nothing is stored, so nothing can fail but a request to stop.
        let cost = Program::of_raster(raster, marking, Vec::new()).measure(progress).map_err(|_| Stopped)?;
        Ok(cost.estimate.times.total())
    }
}

/// A plane with its lines as rows, where they run along `lines` of the picture.
fn in_rows<P>(lines: Along, plane: P, transposed: impl Fn(&P) -> P) -> P {
    match lines {
        Along::X => plane,
        Along::Y => transposed(&plane),
    }
}

/// Windows of a picture side by side as one, so that they are searched together; its rows are lines.
struct Sheet {
    tone: Tone,
    /// The screens' settings for it.
    options: Options,
    /// Where they lie on it, and where on the picture.
    windows: Vec<DotWindow>,
    from: Vec<DotWindow>,
    forecast: Forecast,
    eye: Arc<PointSpread>,
    /// How gaps are crossed, and the head's top speed, mm/s.
    gaps: (Gaps, f64),
}

/// What dots on a sheet come to.
struct Tried {
    /// Mean square of the error as seen.
    error: f64,
    /// Time of the lines, s.
    seconds: f64,
}

impl Tried {
    /// dB.
    fn likeness(&self) -> f64 {
        -10.0 * libm::log10(self.error.max(1e-12))
    }

    /// Held against dots on all lines.
    fn pace(&self, barred: f32, all: &Tried) -> Pace {
        let time = self.seconds / all.seconds.max(1e-9);
        Pace { barred, time, lost_db: all.likeness() - self.likeness(), asked: None }
    }
}

impl Sheet {
    /// All `windows` are of one size.
    fn new(work: &Work, windows: Vec<DotWindow>, gaps: (Gaps, f64)) -> Sheet {
        let lines = work.lines();
        let (columns, rows) = lines.swap(windows.first().map_or((0, 0), |w| (w.columns, w.rows)));
        let (across, down) = (WINDOWS.min(windows.len()), windows.len().div_ceil(WINDOWS));
        let mut tone = Tone::filled(columns * across, rows * down, 0.0);
        let width = tone.width();
        let mut placed = Vec::with_capacity(windows.len());
        for (i, window) in windows.iter().enumerate() {
            let (column, row) = (i % across * columns, i / across * rows);
            let part = work
                .tone
                .part(window.column..window.column + window.columns, window.row..window.row + window.rows);
            let part = in_rows(lines, part, Tone::transposed);
            for y in 0..rows {
                tone.data_mut()[(row + y) * width + column..][..columns].copy_from_slice(part.row(y));
            }
            placed.push(DotWindow { column, row, columns, rows });
        }
        let options = in_rows(lines, work.options.clone(), Options::turned);
        let side = options.pitch_along_mm.max(options.pitch_across_mm);
        Sheet {
            tone,
            windows: placed,
            from: windows,
            forecast: Forecast::with_samples(&options.burn, CellSamples::REFERENCE),
            options,
            eye: PointSpread::of_eye(Eye::KimAllebach, side, side, READING_DISTANCE_MM, REACH),
            gaps,
        }
    }

    /// Makes its dots with so much barred.
    fn tried(&self, work: &Work, barred: f32) -> Tried {
        let options = Options { barred, ..self.options.clone() };
        let dots = work.screen.dots(&self.tone, &options, &Silent);
        let mark = self.forecast.plane(&dots);
        let pitches = (options.pitch_along_mm, options.pitch_across_mm);
        let speed = work.plan.process.speed.value.0;
        let each = parallel::map(self.windows.len(), |i| {
            let window = &self.windows[i];
            let columns = window.column..window.column + window.columns;
            let rows = window.row..window.row + window.rows;
            let (mark, tone) =
                (mark.part(columns.clone(), rows.clone()), self.tone.part(columns.clone(), rows.clone()));
            let error = visual_quality::seen_error(&mark, &tone, pitches, &self.eye, EDGE);
            let seconds =
                rows.map(|y| seconds(&dots, y, columns.clone(), pitches.0, speed, &self.gaps)).sum::<f64>();
            (error, seconds)
        });
        let count = each.len().max(1) as f64;
        Tried {
            error: each.iter().map(|e| e.0).sum::<f64>() / count,
            seconds: each.iter().map(|e| e.1).sum(),
        }
    }
}

/// Time of a stretch of a line as part of a long one that goes on like it, s: what is blank at its ends is one gap, and all
/// blank it is crossed at the top speed. `pitch` in mm, speeds in mm/s.
fn seconds(
    dots: &Dots,
    row: usize,
    columns: Range<usize>,
    pitch: f64,
    speed: f64,
    (gaps, top): &(Gaps, f64),
) -> f64 {
    let gap = |dots: usize| gaps.seconds(1000.0 * pitch * dots as f64, speed);
    let length = columns.len();
    let (mut all, mut on, mut off, mut first) = (0.0, 0, 0, None);
    for x in columns {
        if dots.get(x, row) {
            on += 1;
            let before = std::mem::take(&mut off);
            if first.is_none() {
                first = Some(before);
            } else if before > 0 {
                all += gap(before);
            }
        } else {
            off += 1;
        }
    }
    match first {
        None => pitch * length as f64 / top,
        Some(first) => all + gap(first + off) + pitch * on as f64 / speed,
    }
}

/// Windows spread evenly over a picture, as far as they lie where dots may be: in the middle of each cell of a grid, and one
/// of all that is smaller.
fn windows(plan: &Plan, placement: &Placement, tone: &Tone) -> Vec<DotWindow> {
    let (width, height) = (tone.width(), tone.height());
    let lines = SIDE as f64 * plan.scan.lines.swap((plan.grid.along, plan.grid.across)).1.0;
    let count = |pitch: Mm, most: usize| ((lines / pitch.0).round() as usize).min(most);
    let (columns, rows) = (count(plan.grid.along, width), count(plan.grid.across, height));
    let spread = |side: usize, of: usize| -> Vec<usize> {
        let count = (of / side.max(1)).clamp(1, WINDOWS);
        // Even ones, so that the lines that are kept free are those of the whole.
        (0..count)
            .map(|i| ((2 * i + 1) * of / (2 * count)).saturating_sub(side / 2).min(of - side) & !1)
            .collect()
    };
    let mut all = Vec::new();
    for row in spread(rows, height) {
        for column in spread(columns, width) {
            let inside = (row..row + rows).all(|y| {
                let keep = placement.rect.allowed(&plan.blank, y);
                keep.start <= column && column + columns <= keep.end
            });
            if inside {
                all.push(DotWindow { column, row, columns, rows });
            }
        }
    }
    all
}
