//! Comparing: the same art by several screens and densities, forecast under one process, with figures.

use std::cmp::Ordering;

use super::drawable::Drawable;
use super::error::PipelineError;
use super::foresee::foresee;
use super::laid::{self, Laid, paced};
use super::laid_round::Cone;
use super::likely::{self, Judges, Likely};
use super::pace::Pace;
use super::shares::Shares;
use super::shown::{Shown, wanted};
use super::wanted::{Wanted, placed};
use crate::art::{self, Art, Kind, View};
use crate::findings::burn::Verdict;
use crate::job::Plan;
use crate::mark::{CellSamples, Forecast, Sums};
use crate::placement::{DotRect, Placement};
use crate::plane::{Dots, Mark, Tone};
use crate::progress::{Portion, Progress};
use crate::proof::layout::Look;
use crate::proof::loupe::DotWindow;
use crate::screen::Screen;
use crate::visual_quality::{self, Judge, Score};

/// Distance from which a piece is looked at, mm: at arm's length, as the measures assume.
pub const VIEWING_DISTANCE_MM: f64 = 300.0;
/// Longer side for which the whole piece is forecast, pixels: twice that of a contact sheet, which puts all at one
/// scale whatever their pitch.
const WHOLE: usize = 1240;
/// Share of the time until the wanted mark is drawn.
const DRAWING: f64 = 0.1;

/// One way of making the piece, carried through.
#[derive(Debug, Clone)]
pub struct Contender {
    /// The screen.
    pub screen: &'static str,
    /// Dots an inch, across the lines.
    pub density_dpi: f64,
    /// Where the art lies.
    pub placement: Placement,
    /// The dots.
    pub dots: Dots,
    /// The whole piece's look.
    pub look: Look,
    /// Forecast against wanted, as the eye sees it at [`VIEWING_DISTANCE_MM`].
    pub score: Score,
    /// Likeness as planned and over what is not known of the machine, as [`run`](super::run) tells them.
    pub likely: Likely,
    /// What the forecast says of over-burn.
    pub verdict: Verdict,
    /// Mean forecast mark of the dot rectangle, 0 to 1.
    pub mean_mark: f64,
    /// Dots that are on.
    pub on: u64,
    /// Of these, how many have no neighbour: the smallest dots there are.
    pub lone: u64,
    /// Time of the scan program, s.
    pub seconds: f64,
    /// What was settled for the sake of time.
    pub pace: Pace,
}

/// One plan carried through for a look at the piece.
#[derive(Debug, Clone)]
pub struct QuickLook {
    /// Where the art lies.
    pub placement: Placement,
    /// The dots.
    pub dots: Dots,
    /// The whole piece's look.
    pub look: Look,
    /// [`Score::psnr_hvs_db`]: what else a score has takes three times as long, and nobody looks at it here.
    pub likeness_db: f64,
    /// What the forecast says of over-burn.
    pub verdict: Verdict,
    /// Time of the scan program, s.
    pub seconds: f64,
}

/// Carries one plan through several screens. The wanted mark is drawn once.
///
/// # Errors
/// See [`PipelineError`]; [`PipelineError::Stopped`] where the person asked for it.
pub fn contenders(
    plan: &Plan,
    art: &Art,
    name: &str,
    screens: &[&'static Screen],
    progress: &dyn Progress,
) -> Result<(Vec<Contender>, Wanted), PipelineError> {
    let ways: Vec<_> = screens.iter().map(|&screen| (screen, None)).collect();
    by(plan, art, name, &ways, progress)
}

/// Carries one plan through a screen with every second line kept free of dots up to each of these shares of what the others
/// can mark alone, see [`Options::barred`](crate::screen::Options::barred).
///
/// # Errors
/// As [`contenders`].
pub fn by_lines(
    plan: &Plan,
    art: &Art,
    name: &str,
    (screen, barred): (&'static Screen, &[f32]),
    progress: &dyn Progress,
) -> Result<(Vec<Contender>, Wanted), PipelineError> {
    let ways: Vec<_> = barred.iter().map(|&barred| (screen, Some(barred))).collect();
    by(plan, art, name, &ways, progress)
}

/// A screen, and how much is barred where that is not settled by the plan.
type Way = (&'static Screen, Option<f32>);

fn by(
    plan: &Plan,
    art: &Art,
    name: &str,
    ways: &[Way],
    progress: &dyn Progress,
) -> Result<(Vec<Contender>, Wanted), PipelineError> {
    let drawing = Portion::new(progress, DRAWING / Shares::of_job(plan).before_dots());
    let mut drawn = wanted(plan, Shown::Art(art), &drawing)?;
    let placement = drawn.placement;
    drawn.mask(plan);
    let judge = likely::judge(plan, &drawn.tone, &placement);
    // The quick forecast keeps the mean; figures need each cell's own value.
    let reference = Forecast::with_samples(&plan.burn, CellSamples::REFERENCE);
    let mut all = Vec::new();
    for &(screen, barred) in ways {
        let part = &Portion::new(progress, (1.0 - DRAWING) / ways.len() as f64);
        let (dots, gain, pace) =
            paced(plan, screen, drawn.kind, drawn.tone.clone(), (&placement, barred), part)?;
        let laid = Laid { gain, pace, ..Laid::given(dots) };
        let mark = reference.plane(&laid.dots);
        let seen = (&mark, &drawn.tone, &judge);
        all.push(contender(plan, screen, seen, (laid, placement), (WHOLE, name), part)?);
        part.go_on(0)?;
    }
    Ok((all, drawn))
}

/// One plan carried through as it stands from what was `drawn`, for a picture of `most` pixels along its longer side, and its
/// wanted mark. Its forecast is held against `against` where that has the same dots, else against that mark.
///
/// # Errors
/// As [`contenders`].
pub fn quick(
    plan: &Plan,
    mut drawn: Wanted,
    against: Option<&Tone>,
    (most, name): (usize, &str),
    progress: &dyn Progress,
) -> Result<(QuickLook, Tone), PipelineError> {
    let placement = drawn.placement;
    drawn.mask(plan);
    let tone = drawn.tone.clone();
    // Nothing is asked about its strokes.
    let laid = Laid::new(plan, (drawn, false), progress)?;
    // Tones by power are made as they are wanted.
    let mark = match &laid.powers {
        Some(_) => tone.clone().recast(),
        None => Forecast::new(&plan.burn).plane(&laid.dots),
    };
    let same = |other: &&Tone| (other.width(), other.height()) == (tone.width(), tone.height());
    let against = against.filter(same).unwrap_or(&tone);
    let seen = foresee(plan, &placement, &laid, most, name, progress)?;
    let pitches = (plan.grid.along.0, plan.grid.across.0);
    let whole = 0..against.width();
    let judge = Judge::new(against, pitches, VIEWING_DISTANCE_MM, usize::MAX, |_| whole.clone());
    let (likeness_db, _) = judge.likeness(|rows| [mark.part(whole.clone(), rows.clone())]);
    let made = QuickLook {
        placement,
        look: seen.look,
        likeness_db,
        verdict: verdict(plan, seen.sums.as_ref()),
        seconds: seen.written.estimate.times.total(),
        dots: laid.dots,
    };
    Ok((made, tone))
}

/// The time that the burn of a photo takes by its plan's screen, as a share of that of the dots of a [`quick`] look, as windows
/// of `tone` tell: what is wanted, drawn for that look at a pitch along the lines that may be a few times the plan's.
///
/// # Errors
/// See [`PipelineError`].
pub fn against_quick(
    plan: &Plan,
    kind: Kind,
    tone: &Tone,
    placement: &Placement,
    quick: &Dots,
) -> Result<f64, PipelineError> {
    let rect = placement.rect;
    let lines = plan.scan.lines;
    let (theirs, own) = (lines.swap((rect.grid.along, rect.grid.across)).0, plan.process.pitch_along.value);
    let times = (theirs.0 / own.0).round().max(1.0) as usize;
    let (wide, high) = lines.swap((times, 1));
    let rows = (0..high * rect.rows).map(|y| tone.row(y / high));
    let finer = rows.flat_map(|row| row.iter().flat_map(|&t| std::iter::repeat_n(t, wide))).collect();
    let finer = Tone::from_vec(wide * rect.columns, high * rect.rows, finer);
    let rect = DotRect { columns: wide * rect.columns, rows: high * rect.rows, grid: plan.grid, ..rect };
    laid::against(plan, kind, finer, &Placement { rect, ..*placement }, (quick, times))
}

/// What is laid down by a screen, forecast and held against what is wanted.
fn contender(
    plan: &Plan,
    screen: &Screen,
    (mark, wanted, judge): (&Mark, &Tone, &Judges),
    (laid, placement): (Laid, Placement),
    (most, name): (usize, &str),
    progress: &dyn Progress,
) -> Result<Contender, PipelineError> {
    let seen = foresee(plan, &placement, &laid, most, name, progress)?;
    let pitches = (plan.grid.along.0, plan.grid.across.0);
    let score = visual_quality::score_in_mm(mark, wanted, pitches, VIEWING_DISTANCE_MM);
    let likely = likely::likely(plan, judge, &laid.dots);
    Ok(Contender {
        screen: screen.name,
        density_dpi: crate::units::MM_PER_INCH / plan.process.pitch_across.value.0,
        placement,
        look: seen.look,
        score,
        likely,
        verdict: verdict(plan, seen.sums.as_ref()),
        mean_mark: seen.totals.mean_mark,
        on: laid.dots.count(),
        lone: lone(&laid.dots),
        seconds: seen.written.estimate.times.total(),
        pace: laid.pace,
        dots: laid.dots,
    })
}

/// What the sums of a forecast say of over-burn; nothing where there are none.
fn verdict(plan: &Plan, sums: Option<&Sums>) -> Verdict {
    sums.map_or(Verdict::CLEAR, |sums| Verdict::new(sums, plan.grid.cell_mm2()))
}

/// The art as it is placed, in grey: `window` of its dots at `over` samples a dot. What is transparent is half the
/// light of white, on which ink of either colour is seen.
///
/// # Errors
/// See [`PipelineError`].
pub fn as_placed(
    plan: &Plan,
    art: &Art,
    placement: &Placement,
    window: &DotWindow,
    over: usize,
) -> Result<Look, PipelineError> {
    let (rect, whole) = (&placement.rect, placement.window);
    // On a cone, where it lies before it is laid round, as in the middle row of what is seen of it.
    let flat = match Cone::of(&plan.blank) {
        None => None,
        Some(cone) => Some((cone, placed(&Drawable::of(plan), art)?.0.rect)),
    };
    let x = |column: usize| {
        let column = column as f64;
        let (at, columns) = match &flat {
            None => (column, rect.columns),
            Some((cone, flat)) => {
                let down = rect.top.0 + (window.row as f64 + window.rows as f64 / 2.0) * rect.grid.across.0;
                let at = cone.flat(rect.left.0 + column * rect.grid.along.0, down);
                (((at - flat.left.0) / flat.grid.along.0).clamp(0.0, flat.columns as f64), flat.columns)
            }
        };
        whole.left + whole.width() * at / columns as f64
    };
    let y = |row: usize| whole.top + whole.height() * row as f64 / rect.rows as f64;
    let view = View {
        crop: plan.art.crop.window(),
        turn: plan.art.turn,
        mirror: plan.art.mirror,
        window: art::Window {
            left: x(window.column),
            top: y(window.row),
            right: x(window.column + window.columns),
            bottom: y(window.row + window.rows),
        },
    };
    let (columns, rows) = (window.columns * over, window.rows * over);
    let drawn = art::render(art, &view, columns, rows, Kind::Photo)?;
    let mut luminance = drawn.light.into_vec();
    if let Some(alpha) = drawn.alpha {
        luminance.iter_mut().zip(alpha.data()).for_each(|(y, a)| *y = a * *y + (1.0 - a) * BEHIND);
    }
    let step = 1.0 / over as f64;
    Ok(Look { columns, rows, step_along: step, step_across: step, luminance, over_burn: Vec::new() })
}

/// What is seen behind transparent art, relative luminance.
pub const BEHIND: f32 = 0.5;

/// The best first: none that over-burns before one that does not, then by what the eye is to expect.
pub fn better(a: &Contender, b: &Contender) -> Ordering {
    let burnt = |c: &Contender| !c.verdict.clear();
    burnt(a).cmp(&burnt(b)).then(b.likely.expected_db.total_cmp(&a.likely.expected_db))
}

/// How many dots have none of their eight neighbours on.
pub fn lone(dots: &Dots) -> u64 {
    let stride = dots.stride();
    let none = vec![0u8; stride];
    let row = |y: Option<usize>| y.filter(|&y| y < dots.height()).map_or(none.as_slice(), |y| dots.row(y));
    // The byte with every dot's left and right neighbour merged in, across byte borders.
    let beside = |r: &[u8], i: usize| {
        let before = if i == 0 { 0 } else { r[i - 1] << 7 };
        let after = r.get(i + 1).map_or(0, |n| n >> 7);
        (r[i] >> 1 | before) | (r[i] << 1 | after)
    };
    let mut count = 0;
    for y in 0..dots.height() {
        let (above, here, below) = (row(y.checked_sub(1)), dots.row(y), row(Some(y + 1)));
        for i in 0..stride {
            let around = above[i] | below[i] | beside(above, i) | beside(here, i) | beside(below, i);
            count += u64::from((here[i] & !around).count_ones());
        }
    }
    count
}

/// A window with its mean, its fine detail and its variance.
type Seen = (DotWindow, f64, f64, f64);

/// Up to three windows of about `side` mm, apart from each other, that show most: the most detailed, the smoothest middle tone,
/// and the one with the most contrast between its halves.
pub fn telling_windows(tone: &Tone, placement: &Placement, side: f64) -> Vec<DotWindow> {
    let grid = placement.rect.grid;
    let n = |pitch: f64, count: usize| ((side / pitch).round() as usize).clamp(1, count);
    let (w, h) = (n(grid.along.0, tone.width()), n(grid.across.0, tone.height()));
    let mut seen: Vec<Seen> = Vec::new();
    for row in (0..=tone.height() - h).step_by((h / 2).max(1)) {
        for column in (0..=tone.width() - w).step_by((w / 2).max(1)) {
            let (mut sum, mut fine, mut square) = (0.0f64, 0.0f64, 0.0f64);
            for y in row..row + h {
                let r = &tone.row(y)[column..column + w];
                sum += r.iter().map(|&v| f64::from(v)).sum::<f64>();
                square += r.iter().map(|&v| f64::from(v) * f64::from(v)).sum::<f64>();
                fine += r.windows(2).map(|p| f64::from((p[1] - p[0]).abs())).sum::<f64>();
            }
            let all = (w * h) as f64;
            let mean = sum / all;
            let window = DotWindow { column, row, columns: w, rows: h };
            seen.push((window, mean, fine / all, (square / all - mean * mean).max(0.0)));
        }
    }
    let middle = |m: f64| 1.0 - (m - 0.35).abs().min(0.35) / 0.35;
    let wanted: [&dyn Fn(&Seen) -> f64; 3] =
        [&|s| s.2, &|s| middle(s.1) * 0.02 / (0.02 + s.3 + s.2), &|s| s.3];
    let mut windows: Vec<DotWindow> = Vec::new();
    for value in wanted {
        let apart = |a: &DotWindow, b: &DotWindow| {
            a.column.abs_diff(b.column) >= a.columns || a.row.abs_diff(b.row) >= a.rows
        };
        let left = seen.iter().filter(|s| windows.iter().all(|w| apart(w, &s.0)));
        windows.extend(left.max_by(|a, b| value(a).total_cmp(&value(b))).map(|s| s.0));
    }
    windows
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lone_dots_are_those_without_neighbours() {
        let mut d = Dots::off(20, 5);
        for (x, y) in [(0, 0), (7, 2), (8, 3), (15, 1), (17, 1), (19, 4)] {
            d.set(x, y, true);
        }
        // (7, 2) and (8, 3) touch by their corners, across a byte border.
        assert_eq!(lone(&d), 4);
        let mut brute = 0;
        for y in 0..5i32 {
            for x in 0..20i32 {
                let on = |x: i32, y: i32| {
                    (0..20).contains(&x) && (0..5).contains(&y) && d.get(x as usize, y as usize)
                };
                let near = (-1..=1).flat_map(|j| (-1..=1).map(move |i| (i, j))).filter(|&p| p != (0, 0));
                if on(x, y) && !near.clone().any(|(i, j)| on(x + i, y + j)) {
                    brute += 1;
                }
            }
        }
        assert_eq!(lone(&d), brute);
    }
}
