//! The forecast: what the dots will look like under a burn, band by band.

use std::ops::Range;
use std::sync::Arc;

use super::exposure::{CellSamples, Kernel, TILE};
use super::response::Burn;
use super::table::ExposureTable;
use crate::parallel;
use crate::plane::{Dots, Mark};
use crate::progress::{Progress, Silent, Stopped};
use crate::vector;

/// Rows of a band. Lines above and below a band are worked out again by its neighbours: at a radius
/// of three, 6 in 64.
pub const BAND: usize = 64;

/// Cells of a vector, the dots of a byte: blank and solid ones are passed over in this size.
const LANE: usize = 8;
type Lane = [f32; LANE];
/// Vectors in a tile.
const LANES: usize = TILE / LANE;

/// A burn made ready: beam tables and response table. Costs about a millisecond; keep it for many planes.
#[derive(Debug, Clone)]
pub struct Forecast {
    burn: Burn,
    kernel: Kernel,
    table: Arc<ExposureTable>,
    over_burn_from: f32,
    solid: Solid,
}

/// What the burn does to a solid far from its edges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Solid {
    /// Mean mark fraction.
    pub mark: f32,
    /// Least relative exposure of any sample.
    pub least: f32,
    /// Greatest relative exposure of any sample.
    pub peak: f32,
    /// Share of the area that is over-burnt.
    pub charred: f32,
}

/// The forecast of some rows, one value a dot cell, row after row.
#[derive(Debug, Clone)]
pub struct Band<'a> {
    /// The first row's number in the plane.
    pub first: usize,
    /// Numbers of the band's own rows: all of them, without those of a halo.
    pub own: Range<usize>,
    /// Columns.
    pub width: usize,
    /// Mean mark fraction; the look is linear in it ([`Burn::look_of`]).
    pub mark: &'a [f32],
    /// Greatest exposure in the cell, relative to a solid's mean.
    pub peak: &'a [f32],
    /// Share of the cell that is over-burnt, 0 to 1.
    pub charred: &'a [f32],
    /// Greatest of the peaks of each row.
    pub tops: &'a [f32],
}

impl<'a> Band<'a> {
    /// Rows, those of a halo included.
    pub fn rows(&self) -> usize {
        self.tops.len()
    }

    /// The marks of row `y` of the plane.
    #[inline(always)]
    pub fn marks(&self, y: usize) -> &'a [f32] {
        &self.mark[(y - self.first) * self.width..][..self.width]
    }

    /// The greatest exposures of row `y` of the plane.
    #[inline(always)]
    pub fn peaks(&self, y: usize) -> &'a [f32] {
        &self.peak[(y - self.first) * self.width..][..self.width]
    }

    /// The over-burnt shares of row `y` of the plane.
    #[inline(always)]
    pub fn charred(&self, y: usize) -> &'a [f32] {
        &self.charred[(y - self.first) * self.width..][..self.width]
    }

    /// The greatest exposure in row `y` of the plane.
    #[inline(always)]
    pub fn top(&self, y: usize) -> f32 {
        self.tops[y - self.first]
    }
}

impl Forecast {
    /// Makes a burn ready, with the fewest samples that keep the mean within 0.3 % of the reference.
    pub fn new(burn: &Burn) -> Self {
        Forecast::with_samples(burn, CellSamples::for_beam(burn.along.min(burn.across)))
    }

    /// The same with given samples.
    pub fn with_samples(burn: &Burn, samples: CellSamples) -> Self {
        let kernel = Kernel::new(burn, samples);
        let table = ExposureTable::of(burn, kernel.most());
        let over_burn_from = burn.over_burn_from() as f32;
        let exposures = kernel.solid();
        let n = exposures.len() as f32;
        let solid = Solid {
            mark: exposures.iter().map(|&e| table.mark(e)).sum::<f32>() / n,
            least: exposures.iter().copied().fold(f32::INFINITY, f32::min),
            peak: exposures.iter().copied().fold(0.0, f32::max),
            charred: exposures.iter().filter(|&&e| e >= over_burn_from).count() as f32 / n,
        };
        Forecast { burn: *burn, kernel, table, over_burn_from, solid }
    }

    /// The burn it was made from.
    pub fn burn(&self) -> &Burn {
        &self.burn
    }

    /// What becomes of a solid.
    pub fn solid(&self) -> Solid {
        self.solid
    }

    /// Dots on either side, and lines above and below, whose light reaches a dot's cell.
    pub fn reach(&self) -> (usize, usize) {
        (self.kernel.radius_along, self.kernel.radius_across)
    }

    /// The relative exposure from which on a sample counts as over-burnt; infinite where the coating
    /// never chars.
    pub(super) fn over_burn_from(&self) -> f32 {
        self.over_burn_from
    }

    /// Calls `see` for the bands of [`BAND`] rows, several at once, and returns its answers in order
    /// from the top. Memory: one band for each thread, never a whole plane.
    pub fn bands<R: Send>(&self, dots: &Dots, see: impl Fn(&Band) -> R + Sync + Send) -> Vec<R> {
        self.bands_with_halo(dots, 0, &Silent, see).unwrap_or_default()
    }

    /// The same with `halo` more rows above and below each band where the plane has them, so that
    /// neighbourhoods can be judged without a seam. Each row of the plane is a step of `progress`.
    ///
    /// # Errors
    /// [`Stopped`] where the person asked for it.
    pub fn bands_with_halo<R: Send>(
        &self,
        dots: &Dots,
        halo: usize,
        progress: &dyn Progress,
        see: impl Fn(&Band) -> R + Sync + Send,
    ) -> Result<Vec<R>, Stopped> {
        let (width, height) = (dots.width(), dots.height());
        progress.expect(height as u64);
        let samples = self.kernel.samples.iter().map(Vec::len).sum();
        let ready =
            || (Ring::new(dots, &self.kernel), Rows::new(width, (BAND + 2 * halo).min(height), samples));
        let answers = parallel::map_with(height.div_ceil(BAND), ready, |(ring, rows), i| {
            progress.go_on(0)?;
            let own = i * BAND..((i + 1) * BAND).min(height);
            let first = own.start.saturating_sub(halo);
            let count = (own.end + halo).min(height) - first;
            vector::widest(RowsOf { forecast: self, dots, first, count, ring, rows });
            let cells = count * width;
            let answer = see(&Band {
                first,
                own: own.clone(),
                width,
                mark: &rows.mark[..cells],
                peak: &rows.peak[..cells],
                charred: &rows.charred[..cells],
                tops: &rows.tops[..count],
            });
            rows.cool(count, self.over_burn_from);
            progress.go_on(own.len() as u64)?;
            Ok(answer)
        });
        answers.into_iter().collect()
    }

    /// The whole plane's mean mark fractions: for small pictures.
    pub fn plane(&self, dots: &Dots) -> Mark {
        self.rows_of_plane(dots, 0..dots.height())
    }

    /// Those rows of the plane: what surrounds them is felt there.
    pub fn rows_of_plane(&self, dots: &Dots, rows: Range<usize>) -> Mark {
        let kept = |b: &Band| {
            let place = |y: usize| (y.clamp(b.own.start, b.own.end) - b.first) * b.width;
            b.mark[place(rows.start)..place(rows.end)].to_vec()
        };
        Mark::from_vec(dots.width(), rows.len(), self.bands(dots, kept).concat())
    }

    /// Forecasts `count` rows from `first` on into `rows`.
    #[inline(always)]
    fn rows(&self, dots: &Dots, first: usize, count: usize, ring: &mut Ring, rows: &mut Rows) {
        // The number of lines taken in is known when compiled for the usual beams (1 to 4 pitches).
        match self.kernel.radius_across {
            2 => self.rows_of::<5>(dots, first, count, ring, rows),
            3 => self.rows_of::<7>(dots, first, count, ring, rows),
            4 => self.rows_of::<9>(dots, first, count, ring, rows),
            5 => self.rows_of::<11>(dots, first, count, ring, rows),
            _ => self.rows_of::<0>(dots, first, count, ring, rows),
        }
    }

    #[inline(always)]
    fn rows_of<const LINES: usize>(
        &self,
        dots: &Dots,
        first: usize,
        count: usize,
        ring: &mut Ring,
        rows: &mut Rows,
    ) {
        let k = &self.kernel;
        rows.tops[..count].fill(0.0);
        for tile in (0..rows.width).step_by(TILE) {
            ring.tile = tile;
            let columns = TILE.min(rows.width - tile);
            for line in 0..ring.lines - 1 {
                ring.fill(k, dots, (first + line) as isize - k.radius_across as isize);
            }
            for row in 0..count {
                let y = first + row;
                ring.fill(k, dots, (y + k.radius_across) as isize);
                let cells = row * rows.width + tile..row * rows.width + tile + columns;
                let out =
                    (&mut rows.mark[cells.clone()], &mut rows.peak[cells.clone()], &mut rows.charred[cells]);
                let top = self.row::<LINES>(ring, y, out, &mut rows.kept);
                rows.tops[row] = if top > rows.tops[row] { top } else { rows.tops[row] };
            }
        }
    }

    /// Forecasts the cells of row `y` that lie in a tile; their greatest peak. Cells that are not over-burnt are left
    /// as they are in `charred`: nothing.
    #[inline(always)]
    fn row<const LINES: usize>(
        &self,
        ring: &Ring,
        y: usize,
        (mark, peak, charred): (&mut [f32], &mut [f32], &mut [f32]),
        kept: &mut Kept,
    ) -> f32 {
        let near = ring.near();
        let places: [usize; LINES] = std::array::from_fn(|j| ring.place(y, j));
        let cells = mark.chunks_mut(LANE).zip(peak.chunks_mut(LANE)).zip(charred.chunks_mut(LANE));
        for (lane, ((mark, peak), charred)) in cells.enumerate() {
            if near.any[lane] == 0 {
                mark.fill(0.0);
                peak.fill(0.0);
                continue;
            }
            if near.all[lane] == 0xFF {
                mark.fill(self.solid.mark);
                peak.fill(self.solid.peak);
                if self.solid.charred > 0.0 {
                    charred.fill(self.solid.charred);
                }
                continue;
            }
            let mut top = [0.0f32; LANE];
            for (phase, samples) in self.kernel.samples.iter().enumerate() {
                let mut lines = [[0.0f32; LANE]; LINES];
                for (line, &place) in lines.iter_mut().zip(&places) {
                    *line = ring.lane(place, phase, lane);
                }
                for &(row, number) in samples {
                    let mut e = [0.0f32; LANE];
                    if LINES > 0 {
                        for (line, &weight) in
                            lines.iter().zip(&self.kernel.weights.as_chunks::<LINES>().0[row])
                        {
                            e = vector::plus(&e, line, weight);
                        }
                    } else {
                        for (j, &weight) in
                            self.kernel.weights[row * ring.lines..][..ring.lines].iter().enumerate()
                        {
                            e = vector::plus(&e, &ring.lane(ring.place(y, j), phase, lane), weight);
                        }
                    }
                    top = vector::greater(&e, &top);
                    kept.exposure[number] = e;
                    kept.index[number] = e.map(|e| self.table.index(e));
                }
            }
            let (share, hot) = (self.kernel.share, self.over_burn_from);
            // Cell by cell, so that a sum stays in a register: summing sample by sample takes twice as long.
            let mut sum = [0.0f32; LANE];
            for (x, sum) in sum.iter_mut().enumerate() {
                for index in &kept.index {
                    *sum += self.table.entry(index[x]);
                }
            }
            mark.iter_mut().zip(&sum).for_each(|(m, s)| *m = s * share);
            peak.iter_mut().zip(&top).for_each(|(p, t)| *p = *t);
            if vector::greatest(&top) >= hot {
                let over = |x: usize| kept.exposure.iter().filter(|e| e[x] >= hot).count();
                charred.iter_mut().enumerate().for_each(|(x, c)| *c = over(x) as f32 * share);
            }
        }
        vector::greatest(peak)
    }
}

/// Some rows of a forecast, as a work for the widest vectors.
struct RowsOf<'a> {
    forecast: &'a Forecast,
    dots: &'a Dots,
    first: usize,
    count: usize,
    ring: &'a mut Ring,
    rows: &'a mut Rows,
}

impl vector::Work for RowsOf<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        self.forecast.rows(self.dots, self.first, self.count, self.ring, self.rows);
    }
}

/// The planes of some rows, used for one band after another. Between bands `charred` is all nothing.
struct Rows {
    width: usize,
    mark: Vec<f32>,
    peak: Vec<f32>,
    charred: Vec<f32>,
    tops: Vec<f32>,
    kept: Kept,
}

/// The samples of the cells at work.
struct Kept {
    exposure: Vec<Lane>,
    /// Where in the table of marks each is found.
    index: Vec<[u32; LANE]>,
}

impl Rows {
    fn new(width: usize, rows: usize, samples: usize) -> Self {
        let zeros = || vec![0.0; width * rows];
        Rows {
            width,
            mark: zeros(),
            peak: zeros(),
            charred: zeros(),
            tops: vec![0.0; rows],
            kept: Kept { exposure: vec![[0.0; LANE]; samples], index: vec![[0; LANE]; samples] },
        }
    }

    /// Takes back what was over-burnt in the first `count` rows.
    fn cool(&mut self, count: usize, over_burn_from: f32) {
        for (row, _) in self.tops[..count].iter().enumerate().filter(|(_, top)| **top >= over_burn_from) {
            self.charred[row * self.width..(row + 1) * self.width].fill(0.0);
        }
    }
}

/// The exposures along the lines around the row at work, for one tile.
struct Ring {
    lines: usize,
    pad: usize,
    tile: usize,
    width: usize,
    height: usize,
    /// For each line and phase: its columns.
    exposure: Vec<[Lane; LANES]>,
    phases: usize,
    /// For each line.
    near: Vec<Near>,
    padded: Vec<u8>,
}

/// The dots that the cells of each lane feel: 0 where none is on, and 255 where all are.
#[derive(Clone, Copy)]
struct Near {
    any: [u8; LANES],
    all: [u8; LANES],
}

impl Near {
    const NONE: Near = Near { any: [0; LANES], all: [0; LANES] };
}

impl Ring {
    fn new(dots: &Dots, kernel: &Kernel) -> Self {
        let lines = 2 * kernel.radius_across + 1;
        let pad = kernel.pad();
        Ring {
            lines,
            pad,
            tile: 0,
            width: dots.width(),
            height: dots.height(),
            exposure: vec![[[0.0; LANE]; LANES]; lines * kernel.phases],
            phases: kernel.phases,
            near: vec![Near::NONE; lines],
            padded: vec![0; TILE / 8 + 2 * pad],
        }
    }

    /// Works out line `y`; a line outside the plane has no dots.
    #[inline(always)]
    fn fill(&mut self, kernel: &Kernel, dots: &Dots, y: isize) {
        let slot = (y + kernel.radius_across as isize) as usize % self.lines;
        self.near[slot] = Near::NONE;
        let out = &mut self.exposure[slot * self.phases..(slot + 1) * self.phases];
        if y < 0 || y as usize >= self.height {
            out.fill([[0.0; LANE]; LANES]);
            return;
        }
        let row = dots.row(y as usize);
        let first = self.tile as isize / 8 - self.pad as isize;
        for (i, byte) in self.padded.iter_mut().enumerate() {
            let at = first + i as isize;
            *byte = if at >= 0 { row.get(at as usize).copied().unwrap_or(0) } else { 0 };
        }
        let near = &mut self.near[slot];
        kernel.near(&self.padded, self.pad, &mut near.any, &mut near.all);
        if near.any == [0; LANES] {
            out.fill([[0.0; LANE]; LANES]);
        } else {
            let bytes = (self.width - self.tile).min(TILE).div_ceil(8);
            kernel.along(&self.padded, self.pad, bytes, out.as_flattened_mut().as_flattened_mut());
        }
    }

    /// The dots that are felt across all lines.
    #[inline(always)]
    fn near(&self) -> Near {
        let mut near = Near { any: [0; LANES], all: [0xFF; LANES] };
        for line in &self.near {
            near.any.iter_mut().zip(&line.any).for_each(|(n, l)| *n |= l);
            near.all.iter_mut().zip(&line.all).for_each(|(n, l)| *n &= l);
        }
        near
    }

    /// The place of the first phase of the line that is `j` lines below the first that reaches row `y`.
    #[inline(always)]
    fn place(&self, y: usize, j: usize) -> usize {
        (y + j) % self.lines * self.phases
    }

    /// The exposures of a lane at a place, so many phases on.
    #[inline(always)]
    fn lane(&self, place: usize, phase: usize, lane: usize) -> Lane {
        self.exposure[place + phase][lane]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Blots of many sizes, blank and solid stretches, and a last byte that is not full.
    fn blots() -> Dots {
        let mut dots = Dots::off(301, 150);
        for (x, y) in (0..150).flat_map(|y| (0..301).map(move |x| (x, y))) {
            let (a, b) = (x as f64 / 23.0, y as f64 / 17.0);
            dots.set(x, y, libm::sin(a * a / 4.0) + libm::cos(b * b / 3.0) > 0.3);
        }
        dots
    }

    #[test]
    fn some_rows_are_those_of_the_whole_plane() {
        let (dots, forecast) = (blots(), Forecast::new(&Burn::plain(1.5, 1.5)));
        let whole = forecast.plane(&dots);
        for rows in [0..150, 0..1, 60..70, 63..129, 149..150, 80..80] {
            assert_eq!(forecast.rows_of_plane(&dots, rows.clone()), whole.part(0..301, rows));
        }
    }

    #[test]
    fn what_is_passed_over_is_what_the_samples_say() {
        for beam in [0.9, 1.5, 3.2] {
            let (dots, forecast) = (blots(), Forecast::new(&Burn::plain(beam, beam)));
            let (along, across) = forecast.reach();
            let marks = forecast.plane(&dots);
            let (mut blank, mut solid) = (0, 0);
            for (x, y) in (across..150 - across).flat_map(|y| (along..301 - along).map(move |x| (x, y))) {
                let near = |on| {
                    (y - across..=y + across).all(|y| (x - along..=x + along).all(|x| dots.get(x, y) == on))
                };
                let mark = marks.row(y)[x];
                if near(true) {
                    // Whether its byte was passed over or sampled.
                    assert!((mark - forecast.solid().mark).abs() < 1e-6, "{beam} at {x}, {y}: {mark}");
                    solid += 1;
                } else if near(false) {
                    assert_eq!(mark, 0.0, "{beam} at {x}, {y}");
                    blank += 1;
                } else {
                    let dot = dots.get(x, y);
                    assert!(!dot || mark > 0.0, "{beam} at {x}, {y}: a dot marks");
                }
            }
            assert!(blank > 500 && solid > 500, "{beam}: {blank} {solid}");
        }
    }
}
