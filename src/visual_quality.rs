//! Sight: the eye's point spread, and picture-quality measures through it.
//!
//! A marked piece is judged as the eye sees it: forecast and wanted tone are both blurred by the eye's
//! point spread, then compared. One filter can be won by fitting it, so [`score`] tells the same through
//! three: that of Kim and Allebach 2002, Näsänen's of 1984, and a plain Gaussian of two dots.

mod blur;
mod similarity;

use std::ops::Range;
use std::sync::Arc;

use blur::Separable;

use crate::lately::Lately;
use crate::plane::{Mark, Plane, Tone};

/// Reading distance in mm, the default of the measures.
pub const READING_DISTANCE_MM: f64 = 300.0;
/// Dots left out along each border when a plane is scored, so that its padding does not count.
pub const BORDER: usize = 16;

/// A model of how far the eye spreads a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Eye {
    /// Two Gaussians: S. H. Kim and J. P. Allebach, "Impact of HVS models on model-based halftoning", IEEE
    /// Transactions on Image Processing 11 (2002). Their autocorrelation of the point spread is
    /// `43.2 exp(−r²/(2·0.0219²)) + 38.7 exp(−r²/(2·0.0598²))`, r in degrees (constants from memory).
    KimAllebach,
    /// Contrast sensitivity `exp(−f/(0.525 ln L + 3.91))`, f in cycles a degree, L = 11 cd/m²: R. Näsänen,
    /// "Visibility of halftone dot textures", IEEE Transactions on Systems, Man and Cybernetics 14 (1984).
    Nasanen,
}

/// A point spread on the dot grid: `(2 radius + 1)²` values, symmetric in both axes, of sum 1.
#[derive(Debug, Clone, PartialEq)]
pub struct PointSpread {
    /// Dots on either side.
    pub radius: usize,
    /// The values, row after row.
    pub values: Vec<f64>,
}

impl PointSpread {
    /// The point spread of an eye at `distance_mm` from dots `along_mm` and `across_mm` apart, cut at `radius`.
    ///
    /// The modulation transfer is sampled on 512 × 512 frequencies up to half the dot rate and transformed
    /// back, of which the values within the radius are kept and brought to the sum 1.
    pub fn of_eye(eye: Eye, along_mm: f64, across_mm: f64, distance_mm: f64, radius: usize) -> Arc<Self> {
        static LATELY: Lately<(Eye, [f64; 3], usize), PointSpread> = Lately::new(8);
        LATELY.get((eye, [along_mm, across_mm, distance_mm], radius), || {
            PointSpread::transformed(eye, along_mm, across_mm, distance_mm, radius)
        })
    }

    fn transformed(eye: Eye, along_mm: f64, across_mm: f64, distance_mm: f64, radius: usize) -> Self {
        const N: usize = 512;
        let degrees = |mm: f64| (mm / distance_mm).to_degrees();
        let (dx, dy) = (degrees(along_mm), degrees(across_mm));
        let side = radius + 1;
        let cosine: Vec<f64> =
            (0..N).map(|i| libm::cos(std::f64::consts::TAU * i as f64 / N as f64)).collect();
        // Both axes are even: the sums run over the half spectrum, the ends counted once.
        let count = |k: usize| if k == 0 || k == N / 2 { 1.0 } else { 2.0 };
        let rows = crate::parallel::map(N / 2 + 1, |ky| {
            let fy = ky as f64 / (N as f64 * dy);
            let mut row = vec![0.0; side];
            for kx in 0..=N / 2 {
                let fx = kx as f64 / (N as f64 * dx);
                let m = transfer(eye, fx * fx + fy * fy) * count(kx) * count(ky);
                for (x, r) in row.iter_mut().enumerate() {
                    *r += m * cosine[kx * x % N];
                }
            }
            row
        });
        let mut quarter = vec![0.0; side * side];
        for (ky, row) in rows.iter().enumerate() {
            for (y, out) in quarter.chunks_exact_mut(side).enumerate() {
                let c = cosine[ky * y % N];
                out.iter_mut().zip(row).for_each(|(q, r)| *q += c * r);
            }
        }
        PointSpread::from_quarter(radius, &quarter)
    }

    /// A Gaussian of standard deviations `along` and `across`, in dots, sampled at the dots and cut at `radius`.
    pub fn gaussian((along, across): (f64, f64), radius: usize) -> Self {
        let (line, rows): (Vec<f64>, Vec<f64>) =
            (gaussian_line(along, radius), gaussian_line(across, radius));
        let quarter: Vec<f64> = (0..=radius)
            .flat_map(|y| line[radius..].iter().map(move |&x| (y, x)))
            .map(|(y, x)| x * rows[radius + y])
            .collect();
        PointSpread::from_quarter(radius, &quarter)
    }

    fn from_quarter(radius: usize, quarter: &[f64]) -> Self {
        let at = |i: usize| i.abs_diff(radius);
        let side = 2 * radius + 1;
        let mut values: Vec<f64> =
            (0..side * side).map(|i| quarter[at(i / side) * (radius + 1) + at(i % side)]).collect();
        let sum: f64 = values.iter().sum();
        values.iter_mut().for_each(|v| *v /= sum);
        PointSpread { radius, values }
    }

    /// The value `dx` columns and `dy` rows from the centre; 0 beyond the radius.
    pub fn at(&self, dx: isize, dy: isize) -> f64 {
        let (x, y) = (dx.unsigned_abs(), dy.unsigned_abs());
        if x > self.radius || y > self.radius {
            return 0.0;
        }
        self.values[(self.radius + y) * (2 * self.radius + 1) + self.radius + x]
    }
}

/// Modulation transfer of an eye at the squared frequency `f2` (cycles a degree, squared), up to a factor.
fn transfer(eye: Eye, f2: f64) -> f64 {
    match eye {
        Eye::KimAllebach => {
            let lobe = |k: f64, s: f64| {
                k * s * s * libm::exp(-2.0 * std::f64::consts::PI * std::f64::consts::PI * s * s * f2)
            };
            (std::f64::consts::TAU * (lobe(43.2, 0.0219) + lobe(38.7, 0.0598))).sqrt()
        }
        Eye::Nasanen => libm::exp(-f2.sqrt() / (0.525 * libm::log(11.0) + 3.91)),
    }
}

/// A sampled Gaussian of sum 1, `2 radius + 1` values.
fn gaussian_line(sigma: f64, radius: usize) -> Vec<f64> {
    let mut line: Vec<f64> = (0..=2 * radius)
        .map(|i| (i as f64 - radius as f64) / sigma)
        .map(|d| libm::exp(-0.5 * d * d))
        .collect();
    let sum: f64 = line.iter().sum();
    line.iter_mut().for_each(|v| *v /= sum);
    line
}

/// How like the wanted tone a forecast mark looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Score {
    /// PSNR (peak 1) through the point spread of Kim and Allebach, dB.
    pub psnr_hvs_db: f64,
    /// SSIM of the same pair, up to 1.
    pub ssim_hvs: f64,
    /// PSNR through Näsänen's contrast sensitivity, dB.
    pub psnr_nasanen_db: f64,
    /// PSNR through a Gaussian of two dots, dB.
    pub psnr_g2_db: f64,
    /// SSIM of that pair, up to 1.
    pub ssim_g2: f64,
    /// |mean of the mark − mean of the wanted tone|.
    pub tone_err: f64,
}

/// Scores a forecast against the wanted tone, as seen from `distance_mm` ([`READING_DISTANCE_MM`]) with dots
/// `pitch_mm` apart. [`BORDER`] dots are left out all round, on planes that have more; the eye's spread is cut
/// at 12 dots (Kim and Allebach) and 24 dots (Näsänen), and planes are mirrored at their borders.
///
/// # Panics
/// When the two planes differ in size: a mistake of the caller.
pub fn score(mark: &Mark, wanted: &Tone, pitch_mm: f64, distance_mm: f64) -> Score {
    let (w, h) = (mark.width(), mark.height());
    assert_eq!((w, h), (wanted.width(), wanted.height()), "planes of different sizes cannot be compared");
    let eyes = [(Eye::KimAllebach, 12), (Eye::Nasanen, 24)]
        .map(|(eye, radius)| PointSpread::of_eye(eye, pitch_mm, pitch_mm, distance_mm, radius));
    let least = 2 * BORDER + similarity::WINDOW;
    let border = if w.min(h) >= least { BORDER } else { 0 };
    let pair = |spread: &Separable| spread.pair(mark.data(), wanted.data(), (w, h), border);
    let seen = eyes.map(|eye| pair(&Separable::of(&eye)));
    let soft = pair(&Separable::gaussian(2.0));
    let kept = |p: &[f32]| {
        let rows = p.chunks(w.max(1)).skip(border).take(h - 2 * border);
        rows.map(|r| r[border..w - border].iter().map(|&v| f64::from(v)).sum::<f64>()).sum::<f64>()
    };
    let dots = ((w - 2 * border) * (h - 2 * border)).max(1) as f64;
    Score {
        psnr_hvs_db: psnr(&seen[0].mark, &seen[0].wanted, 1.0),
        ssim_hvs: similarity::ssim(&seen[0], 1.0),
        psnr_nasanen_db: psnr(&seen[1].mark, &seen[1].wanted, 1.0),
        psnr_g2_db: psnr(&soft.mark, &soft.wanted, 1.0),
        ssim_g2: similarity::ssim(&soft, 1.0),
        tone_err: (kept(mark.data()) - kept(wanted.data())).abs() / dots,
    }
}

/// The same for planes whose dots lie `along` and `across` apart, mm: the eye sees millimetres, so both planes are brought
/// to squares of the larger pitch first, by exact areas.
///
/// # Panics
/// As [`score`].
pub fn score_in_mm(mark: &Mark, wanted: &Tone, (along, across): (f64, f64), distance_mm: f64) -> Score {
    let side = along.max(across);
    let close = |pitch: f64| side / pitch < 1.0 + 1e-6;
    if close(along) && close(across) {
        return score(mark, wanted, side, distance_mm);
    }
    let (mark, wanted) =
        (squares(mark, (side / along, side / across)), squares(wanted, (side / along, side / across)));
    score(&mark, &wanted, side, distance_mm)
}

/// Rows of squares in a band of a larger plane.
const JUDGED_BAND: usize = 96;

/// What is wanted, kept to hold marks against: of a plane of many squares of the larger pitch only bands of 96 rows, spread
/// evenly.
pub struct Judge {
    /// mm.
    distance: f64,
    /// Side of a square, mm, and values in it.
    side: f64,
    each: (f64, f64),
    width: usize,
    /// Squares of each band, with what surrounds it.
    height: usize,
    /// Rows of the plane, and what is wanted there, by squares.
    bands: Vec<(Range<usize>, Tone)>,
}

impl Judge {
    /// Keeps what is wanted, of dots that lie `along` and `across` apart (mm) and are seen from `distance` mm.
    /// Nothing is wanted outside the columns `allowed` of each row. More than `most` squares are judged by bands.
    pub fn new(
        wanted: &Tone,
        (along, across): (f64, f64),
        distance: f64,
        most: usize,
        allowed: impl Fn(usize) -> Range<usize> + Sync,
    ) -> Judge {
        let side = along.max(across);
        let each = (side / along, side / across);
        let (width, all) = counts(wanted, each);
        let band = JUDGED_BAND + 2 * BORDER;
        let (height, count) = if width * all <= most || all <= band {
            (all, 1)
        } else {
            (band, (most / (width * JUDGED_BAND)).max(2))
        };
        let bands = crate::parallel::map(count, |i| {
            let top = if count > 1 { i * (all - height) / (count - 1) } else { 0 };
            // Squares begin where a row of dots does.
            let from = (top as f64 * each.1) as usize;
            let to = ((from as f64 + height as f64 * each.1).ceil() as usize).min(wanted.height());
            let mut part = wanted.part(0..wanted.width(), from..to);
            for (row, y) in part.data_mut().chunks_exact_mut(wanted.width().max(1)).zip(from..) {
                let kept = allowed(y);
                row[..kept.start].fill(0.0);
                row[kept.end..].fill(0.0);
            }
            (from..to, squares(&part, each))
        });
        Judge { distance, side, each, width, height, bands }
    }

    /// PSNR (peak 1) through the point spread of Kim and Allebach, dB: of the first of several marks, and of the mean squared
    /// error of all. `marks` draws of each the rows that it is asked for.
    ///
    /// # Panics
    /// When a mark is not as wide as what is wanted: a mistake of the caller.
    pub fn likeness<const N: usize>(&self, marks: impl Fn(&Range<usize>) -> [Mark; N] + Sync) -> (f64, f64) {
        let (width, height) = (self.width, self.height);
        let border = if width.min(height) >= 2 * BORDER + similarity::WINDOW { BORDER } else { 0 };
        let eye = PointSpread::of_eye(Eye::KimAllebach, self.side, self.side, self.distance, 12);
        let eye = Separable::of(&eye);
        let sums = crate::parallel::map(self.bands.len(), |i| {
            let (rows, wanted) = &self.bands[i];
            marks(rows).map(|mark| {
                let mut error = squares(&mark, self.each).into_vec();
                assert_eq!(error.len(), wanted.data().len(), "planes of different sizes cannot be compared");
                error.iter_mut().zip(wanted.data()).for_each(|(e, w)| *e -= w);
                error.resize(width * height, 0.0);
                eye.squares(&error, (width, height), border)
            })
        });
        let n = (self.bands.len() * (width - 2 * border) * (height - 2 * border)).max(1) as f64;
        let db = |sum: f64| -10.0 * libm::log10(sum / n);
        let first = sums.iter().map(|s| s[0]).sum();
        let all: f64 = sums.iter().map(|s| s.iter().sum::<f64>()).sum();
        (db(first), db(all / N as f64))
    }
}

/// How many cells of so many values fit a plane.
fn counts<K>(plane: &Plane<K>, (columns, rows): (f64, f64)) -> (usize, usize) {
    let count = |n: usize, each: f64| ((n as f64 / each + 1e-9).floor() as usize).max(1);
    (count(plane.width(), columns), count(plane.height(), rows))
}

/// Mean square of what a forecast is off the wanted tone by, as seen through a point spread on squares of the larger pitch,
/// `border` of them left out all round: what [`score_in_mm`] gives the PSNR of, for small windows.
///
/// # Panics
/// When the two planes differ in size: a mistake of the caller.
pub fn seen_error(
    mark: &Mark,
    wanted: &Tone,
    (along, across): (f64, f64),
    spread: &PointSpread,
    border: usize,
) -> f64 {
    let side = along.max(across);
    let cells = (side / along, side / across);
    let (mark, wanted) = (squares(mark, cells), squares(wanted, cells));
    let (w, h) = (mark.width(), mark.height());
    assert_eq!((w, h), (wanted.width(), wanted.height()), "planes of different sizes cannot be compared");
    let border = if w.min(h) > 3 * border { border } else { 0 };
    let error: Vec<f32> = mark.data().iter().zip(wanted.data()).map(|(m, w)| m - w).collect();
    blur::mean_square(&error, (w, h), spread, border)
}

/// Means over cells of `columns` by `rows` values, neither below 1; what does not fill a cell at the right and at the lower
/// end is left out.
fn squares<K: Sync>(plane: &Plane<K>, (columns, rows): (f64, f64)) -> Plane<K> {
    let (width, height) = counts(plane, (columns, rows));
    let (of_columns, of_rows) = (cells(width, columns, plane.width()), cells(height, rows, plane.height()));
    let mut out = Plane::filled(width, height, 0.0);
    crate::parallel::bands(out.data_mut(), width, 16, |first, band| {
        let mut tall = vec![0.0f64; plane.width()];
        for (i, row) in band.chunks_exact_mut(width).enumerate() {
            tall.fill(0.0);
            for &(y, share) in &of_rows[first + i] {
                tall.iter_mut().zip(plane.row(y)).for_each(|(t, &v)| *t += share * f64::from(v));
            }
            for (v, cell) in row.iter_mut().zip(&of_columns) {
                *v = cell.iter().map(|&(x, share)| share * tall[x]).sum::<f64>() as f32;
            }
        }
    });
    out
}

/// Which of `n` values make up each of `count` cells of `each` values, and the share of each; the shares add up to 1.
fn cells(count: usize, each: f64, n: usize) -> Vec<Vec<(usize, f64)>> {
    let one = |i: usize| {
        let (from, to) = (i as f64 * each, (i + 1) as f64 * each);
        let values = from as usize..(to.ceil() as usize).min(n);
        let part = |v: usize| (to.min(v as f64 + 1.0) - from.max(v as f64)).max(0.0);
        let sum: f64 = values.clone().map(part).sum();
        values.map(|v| (v, part(v) / sum.max(1e-12))).collect()
    };
    (0..count).map(one).collect()
}

/// Peak signal to noise ratio, `10 log10(peak² / mean squared difference)` in dB; infinite for equal planes.
pub fn psnr(a: &[f32], b: &[f32], peak: f64) -> f64 {
    let sum: f64 = a
        .chunks(4096)
        .zip(b.chunks(4096))
        .map(|(a, b)| {
            a.iter()
                .zip(b)
                .map(|(&a, &b)| {
                    let d = f64::from(a) - f64::from(b);
                    d * d
                })
                .sum::<f64>()
        })
        .sum();
    -10.0 * libm::log10(sum / a.len().max(1) as f64 / (peak * peak))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::parallel;

    /// The planes of `tests/outside/make_sight_data.py`, by the same formula.
    fn planes(w: usize, h: usize) -> (Mark, Tone) {
        let wanted =
            |x: usize, y: usize| ((3 * x + 5 * y) % 89 + if x > w / 2 { 11 } else { 0 }) as f64 / 100.0;
        let error = |x: usize, y: usize| ((7 * x + 13 * y + x * y) % 23) as f64 / 100.0 - 0.11;
        let at = |i: usize| (i % w, i / w);
        let o = (0..w * h).map(at).map(|(x, y)| wanted(x, y) as f32).collect();
        let m = (0..w * h).map(at).map(|(x, y)| (wanted(x, y) + error(x, y)) as f32).collect();
        (Mark::from_vec(w, h, m), Tone::from_vec(w, h, o))
    }

    #[test]
    fn a_judge_sees_what_the_score_sees() {
        let (mark, wanted) = planes(120, 90);
        let worse = Mark::from_vec(
            120,
            90,
            mark.data().iter().zip(wanted.data()).map(|(m, w)| 2.0 * m - w).collect(),
        );
        let judge = Judge::new(&wanted, (0.085, 0.085), 300.0, 400_000, |_| 0..120);
        let (planned, expected) =
            judge.likeness(|rows| [&mark, &worse].map(|m| m.part(0..120, rows.clone())));
        let want = score(&mark, &wanted, 0.085, 300.0).psnr_hvs_db;
        assert!((planned - want).abs() < 1e-3, "{planned} {want}");
        // Twice the error is four times its square: the mean of both is 2.5 times the first.
        assert!((expected - (planned - 10.0 * 2.5f64.log10())).abs() < 1e-3, "{expected}");
        // Each dot twice along the lines is the same picture.
        let twice = |p: &[f32]| p.iter().flat_map(|&v| [v, v]).collect::<Vec<f32>>();
        let fine = Judge::new(
            &Tone::from_vec(240, 90, twice(wanted.data())),
            (0.0425, 0.085),
            300.0,
            400_000,
            |_| 0..240,
        );
        let mark = Mark::from_vec(240, 90, twice(mark.data()));
        let again = fine.likeness(|rows| [mark.part(0..240, rows.clone())]);
        assert!((again.0 - want).abs() < 1e-3 && again.0 == again.1, "{again:?}");
    }

    #[test]
    fn of_a_large_plane_bands_are_judged() {
        let (mark, wanted) = planes(700, 1200);
        let judge = Judge::new(&wanted, (0.085, 0.085), 300.0, 400_000, |_| 0..700);
        assert!(judge.bands.len() > 2 && judge.bands.iter().all(|(rows, _)| rows.len() == 128));
        assert_eq!(judge.bands.last().unwrap().0.end, 1200);
        let (planned, _) = judge.likeness(|rows| [mark.part(0..700, rows.clone())]);
        let whole = score(&mark, &wanted, 0.085, 300.0).psnr_hvs_db;
        assert!((planned - whole).abs() < 0.3, "{planned} {whole}");
        for threads in [1, 3] {
            let again =
                parallel::with_threads(threads, || judge.likeness(|rows| [mark.part(0..700, rows.clone())]));
            assert_eq!(again.0, planned);
        }
    }

    #[test]
    fn dots_of_another_pitch_along_or_across_look_alike() {
        // Each value two or three times over, at a half or a third of the pitch, is the same picture.
        let (mark, wanted) = planes(120, 90);
        let plain = score(&mark, &wanted, 0.09, 300.0);
        fn times<K>(p: &Plane<K>, along: usize, across: usize) -> Plane<K> {
            let (w, h) = (p.width() * along, p.height() * across);
            Plane::from_vec(w, h, (0..w * h).map(|i| p.row(i / w / across)[i % w / along]).collect())
        }
        for (along, across) in [(1, 1), (2, 1), (3, 1), (1, 2)] {
            let pitches = (0.09 / along as f64, 0.09 / across as f64);
            let s = score_in_mm(&times(&mark, along, across), &times(&wanted, along, across), pitches, 300.0);
            assert!((s.psnr_hvs_db - plain.psnr_hvs_db).abs() < 1e-4, "{along} {across}: {s:?} {plain:?}");
            assert!((s.ssim_hvs - plain.ssim_hvs).abs() < 1e-6 && (s.tone_err - plain.tone_err).abs() < 1e-6);
        }
        // Cells of a value and a half hold the mean.
        let halves = cells(2, 1.5, 3);
        assert!((halves[0][1].1 - 1.0 / 3.0).abs() < 1e-12 && (halves[1][0].1 - 1.0 / 3.0).abs() < 1e-12);
    }

    fn outside() -> serde_json::Value {
        serde_json::from_str(include_str!("../tests/data/fitted/sight.json")).unwrap()
    }

    #[test]
    fn measures_equal_those_of_scipy_and_scikit_image() {
        // numpy, scipy and scikit-image, by tests/outside/make_sight_data.py.
        for case in outside()["planes"].as_array().unwrap() {
            let n = |k: &str| case[k].as_f64().unwrap();
            let (m, o) = planes(n("width") as usize, n("height") as usize);
            let s = score(&m, &o, n("pitch_mm"), n("distance_mm"));
            for (ours, key, tolerance) in [
                (s.psnr_hvs_db, "psnr_hvs", 2e-4),
                (s.ssim_hvs, "ssim_hvs", 2e-6),
                (s.psnr_nasanen_db, "psnr_nasanen", 2e-4),
                (s.psnr_g2_db, "psnr_g2", 2e-4),
                (s.ssim_g2, "ssim_g2", 2e-6),
                (s.tone_err, "tone_err", 1e-7),
            ] {
                assert!((ours - n(key)).abs() < tolerance, "{key}: {ours} against {}", n(key));
            }
        }
    }

    #[test]
    fn point_spreads_equal_those_by_numpy() {
        let pitch = 25.4 / 300.0;
        for (eye, radius, key) in
            [(Eye::KimAllebach, 12, "kim_allebach_300dpi_row"), (Eye::Nasanen, 24, "nasanen_300dpi_row")]
        {
            let k = PointSpread::of_eye(eye, pitch, pitch, READING_DISTANCE_MM, radius);
            for (x, v) in outside()[key].as_array().unwrap().iter().enumerate() {
                assert!((k.at(x as isize, 0) - v.as_f64().unwrap()).abs() < 1e-12, "{key} at {x}");
            }
            assert!((k.values.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn psnr_and_ssim_agree_with_the_check_values() {
        // check values I02, I05, I06 (computed; scikit-image equal), peak 255.
        let mut a = [52, 55, 61, 66, 70, 61, 64, 73, 63, 59, 55, 90, 67, 61, 68, 104].map(|v| v as f32);
        let b = a;
        (a[0], a[15], a[6]) = (a[0] + 10.0, a[15] - 6.0, a[6] + 3.0);
        assert!((psnr(&a, &b, 255.0) - 38.558323412888605).abs() < 1e-9);
        let xy = || (0..256i32).map(|i| (i % 16, i / 16));
        let a: Vec<f32> = xy().map(|(x, y)| (8 * x + 6 * y + 10) as f32).collect();
        let b: Vec<f32> =
            a.iter().zip(xy()).map(|(a, (x, y))| a + ((7 * x + 13 * y) % 11 - 5) as f32).collect();
        assert!((psnr(&a, &b, 255.0) - 38.12571719995516).abs() < 1e-6);
        for (side, l, r, want) in
            [(16, 100.0, 110.0, 0.9954764440915066), (4, 0.0, 255.0, 9.999000099990002e-5)]
        {
            let (a, b) = (vec![l; side * side], vec![r; side * side]);
            let pair = blur::Pair { width: side, height: side, mark: a, wanted: b };
            assert!((similarity::ssim(&pair, 255.0) - want).abs() < 1e-9, "{l} against {r}");
        }
    }

    #[test]
    fn a_sampled_gaussian_leaves_the_known_rest_of_a_checkerboard() {
        // check value I07 (closed form): residual amplitude 0.164851 at sigma 0.5, 1.03446e-4 at sigma 1.
        for (sigma, want) in [(0.5, 0.16485102527939144), (1.0, 0.00010344637130066392)] {
            let k = PointSpread::gaussian((sigma, sigma), 12);
            let signed = |(i, v): (usize, &f64)| if (i % 25 + i / 25) % 2 == 0 { *v } else { -*v };
            let rest: f64 = k.values.iter().enumerate().map(signed).sum();
            // The amplitude of a board of 0 and 1 is half of the response to −1 and 1.
            assert!((rest / 2.0 - want).abs() < 1e-9, "{sigma}: {rest}");
        }
    }

    #[test]
    fn the_small_angle_of_a_dot_is_the_true_one_within_a_ten_thousandth() {
        // check value I08: 304 dpi at 300 mm is 62.673303994230075 dots a degree (by the tangent of one degree).
        let dots = 1.0 / (25.4 / 304.0 / READING_DISTANCE_MM).to_degrees();
        assert!((dots / 62.673303994230075 - 1.0).abs() < 1.1e-4, "{dots}");
    }

    #[test]
    fn scores_are_finite_for_tiny_planes_and_the_same_for_any_thread_count() {
        for (w, h) in [(1, 1), (1, 9), (9, 1), (5, 40), (43, 43)] {
            let (m, o) = planes(w, h);
            let s = score(&m, &o, 0.1, 300.0);
            assert!(
                s.psnr_hvs_db.is_finite() && s.ssim_hvs.is_finite() && s.ssim_g2.is_finite(),
                "{w} x {h}"
            );
        }
        let (m, o) = planes(300, 211);
        let all = [1, 2, 3, 7].map(|t| parallel::with_threads(t, || score(&m, &o, 0.1, 300.0)));
        assert!(all.iter().all(|s| s == &all[0]));
    }
}
