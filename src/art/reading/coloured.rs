//! Coloured: what is drawn on paper in a colour as light as the paper, such as the sun of a child's drawing in yellow.
//!
//! Under one light, paper reflects red, green and blue in proportions of its own. Grey and black take alike of each; a colour
//! leaves one of them weaker than its lightness tells. Where that is plain, the weakest counts in place of the lightness, so
//! that yellow on white is a stroke. What is hardly coloured, such as pencil, shadows and light of two lamps, is left as it is,
//! to the last bit.

use super::background::row_between;
use super::cells::Cells;
use crate::art::colours::unpacked;
use crate::art::{Raster, Window};
use crate::colour::linear_light;
use crate::parallel;
use crate::plane::{Light, median};

/// How far the weakest of red, green and blue lies below the lightness: up to the first it does not count, from the second on
/// wholly. The light of two lamps differs by less than the first, pale crayons by more than the second (own judgement).
const COLOURED: (f32, f32) = (0.25, 0.5);
/// Linear light beside which less tells no colour: of black, a camera's noise leaves any (own judgement).
const DARK: f32 = 0.01;
/// Of what is lighter than half of the picture, so much has the paper's colour to within this. A sunset that is taken for a
/// sheet has a third, sheets in every light more than a half (own judgement).
const ONE_PAPER: (f64, f32) = (0.5, 0.1);
/// Colours are looked at in so many cells along the longer side: a camera's noise is none, and a file holds them more coarsely.
const CELLS: usize = 1000;

/// A picture of a sheet of paper in which strokes of pale colours are dark; `None` where it has none. The paper's own colour is
/// looked for in `seen`.
pub fn by_colour(raster: &Raster, seen: Window) -> Option<Raster> {
    let codes = raster.colours.as_ref()?.packed();
    let size = (codes.width(), codes.height());
    let each = size.0.max(size.1).div_ceil(CELLS).max(1);
    let grid = Cells { columns: size.0.div_ceil(each), rows: size.1.div_ceil(each) };
    let cells = means(&codes, grid);
    let paper = tint(&cells, grid, seen)?;
    let less: Vec<f32> = cells.iter().map(|cell| taken(*cell, paper)).collect();
    if less.iter().all(|less| *less == 0.0) {
        return None;
    }
    let mut light = raster.light.clone();
    parallel::bands(light.data_mut(), size.0, 32, |first, band| {
        let mut row = vec![0.0f32; size.0];
        for (i, line) in band.chunks_exact_mut(size.0).enumerate() {
            row_between(&less, (grid.columns, grid.rows), size, first + i, &mut row);
            line.iter_mut().zip(&row).for_each(|(l, less)| *l *= 1.0 - less);
        }
    });
    let (alpha, likeness, facts) = (raster.alpha.clone(), raster.likeness.clone(), raster.facts.clone());
    Some(Raster { light, alpha, likeness, colours: None, facts })
}

/// The mean of red, green and blue, in linear light, of each cell.
fn means(codes: &Light, grid: Cells) -> Vec<[f32; 3]> {
    let (w, h) = (codes.width(), codes.height());
    let linear = linear_light();
    let from = |i: usize, n: usize, size: usize| i * size / n;
    let rows = parallel::map(grid.rows, |r| {
        let mut sums = vec![([0.0f32; 3], 0.0f32); grid.columns];
        for y in from(r, grid.rows, h)..from(r + 1, grid.rows, h) {
            let row = codes.row(y);
            for (c, (sum, n)) in sums.iter_mut().enumerate() {
                for code in &row[from(c, grid.columns, w)..from(c + 1, grid.columns, w)] {
                    let rgb = unpacked(*code).map(|code| linear[usize::from(code)]);
                    sum.iter_mut().zip(rgb).for_each(|(sum, v)| *sum += v);
                    *n += 1.0;
                }
            }
        }
        sums.into_iter().map(|(sum, n)| sum.map(|sum| sum / n.max(1.0))).collect::<Vec<_>>()
    });
    rows.concat()
}

/// Relative luminance of linear red, green and blue (IEC 61966-2-1).
fn luminance([r, g, b]: [f32; 3]) -> f32 {
    0.2126 * r + 0.7152 * g + 0.0722 * b
}

/// Red, green and blue of the paper over its luminance: the middle of what is seen and is lighter than half of it. `None` where
/// too little of that has one colour to be paper.
fn tint(cells: &[[f32; 3]], grid: Cells, seen: Window) -> Option<[f32; 3]> {
    let within = |i: usize, n: usize, (from, to): (f64, f64)| {
        let at = (i as f64 + 0.5) / n as f64;
        at >= from && at < to
    };
    let in_view = |&(i, _): &(usize, &[f32; 3])| {
        let across = within(i % grid.columns, grid.columns, (seen.left, seen.right));
        across && within(i / grid.columns, grid.rows, (seen.top, seen.bottom))
    };
    let seen: Vec<[f32; 3]> = cells.iter().enumerate().filter(in_view).map(|(_, cell)| *cell).collect();
    let middle = median(seen.iter().map(|cell| luminance(*cell)))?.max(f32::MIN_POSITIVE);
    let light: Vec<[f32; 3]> = seen.into_iter().filter(|cell| luminance(*cell) >= middle).collect();
    let of =
        |k: usize| median(light.iter().map(|cell| cell[k] / luminance(*cell))).filter(|share| *share > 0.0);
    let paper = [of(0)?, of(1)?, of(2)?];
    let alike = light.iter().filter(|cell| coloured(**cell, paper) < ONE_PAPER.1).count();
    (alike as f64 >= ONE_PAPER.0 * light.len() as f64).then_some(paper)
}

/// How far the weakest of red, green and blue of a place lies below its lightness, as a share of that, on paper of such a tint;
/// nothing where it is dark.
fn coloured(cell: [f32; 3], paper: [f32; 3]) -> f32 {
    let weakest = cell.iter().zip(paper).map(|(c, p)| c / p).fold(f32::INFINITY, f32::min);
    1.0 - (weakest + DARK) / (luminance(cell) + DARK)
}

/// The share of its lightness that a coloured place loses, 0 to 1, on paper of such a tint.
fn taken(cell: [f32; 3], paper: [f32; 3]) -> f32 {
    let colour = coloured(cell, paper);
    let (from, to) = COLOURED;
    let counts = ((colour - from) / (to - from)).clamp(0.0, 1.0);
    colour.max(0.0) * counts * counts * (3.0 - 2.0 * counts)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::art::reading::flattened;
    use crate::art::{Art, open};

    type Rgb = [f64; 3];

    /// A sheet of 400 x 300 of such a colour under light that falls off to the right: a disc of a colour at the left, a stroke in
    /// black and one in pencil at the right.
    fn sheet(paper: Rgb, disc: Rgb) -> Raster {
        let picture = image::RgbImage::from_fn(400, 300, |x, y| {
            let on_disc = libm::hypot(f64::from(x) - 100.0, f64::from(y) - 150.0) < 40.0;
            let ink = match x {
                250..=260 if (60..240).contains(&y) => [0.1; 3],
                320..=330 if (60..240).contains(&y) => [0.8; 3],
                _ => [1.0; 3],
            };
            let light = 1.0 - 0.3 * f64::from(x) / 400.0;
            let colour =
                if on_disc { disc } else { [paper[0] * ink[0], paper[1] * ink[1], paper[2] * ink[2]] };
            image::Rgb(colour.map(|v| (v * light * 255.0).round() as u8))
        });
        opened(&picture)
    }

    fn opened(picture: &image::RgbImage) -> Raster {
        let mut file = std::io::Cursor::new(Vec::new());
        picture.write_to(&mut file, image::ImageFormat::Png).unwrap();
        let Art::Raster(raster) = open(&file.into_inner(), "made").unwrap() else { panic!() };
        raster
    }

    /// The share of ink at the disc, on the black stroke and on that in pencil.
    fn ink(light: &Light) -> [f32; 3] {
        let (out, ..) = flattened(light);
        [100, 255, 325].map(|x| 1.0 - out.row(150)[x])
    }

    const WHITE: Rgb = [0.97, 0.96, 0.93];
    const PINK: Rgb = [0.96, 0.74, 0.78];
    const YELLOW: Rgb = [0.99, 0.91, 0.2];

    #[test]
    fn yellow_on_paper_is_a_stroke_and_what_is_grey_stays_to_the_last_bit() {
        for paper in [WHITE, PINK] {
            let raster = sheet(paper, YELLOW);
            let coloured = by_colour(&raster, Window::WHOLE).unwrap();
            let (before, after) = (ink(&raster.light), ink(&coloured.light));
            assert!(before[0] < 0.3 && after[0] > 0.8, "{before:?} {after:?}");
            assert!(after[1] > 0.95, "{after:?}");
            let same = |x: usize| coloured.light.row(150)[x].to_bits() == raster.light.row(150)[x].to_bits();
            assert!((200..400).all(same));
        }
    }

    #[test]
    fn what_has_the_papers_colour_or_nearly_is_left_as_it_is() {
        for (paper, disc) in [(YELLOW, [0.5, 0.46, 0.1]), (WHITE, [0.8, 0.7, 0.66]), (PINK, [0.8, 0.6, 0.6])]
        {
            let raster = sheet(paper, disc);
            assert!(raster.colours.is_some(), "{paper:?} {disc:?}");
            assert!(by_colour(&raster, Window::WHOLE).is_none(), "{paper:?} {disc:?}");
        }
    }

    #[test]
    fn black_strokes_beside_colours_grow_no_rim() {
        // So wide that a cell holds three places: what one takes reaches past it.
        let picture = opened(&image::RgbImage::from_fn(2400, 60, |x, _| {
            image::Rgb(match x {
                300..=700 => [252, 232, 50],
                1501..=1510 => [0; 3],
                1600..=1610 => [14, 9, 4],
                _ => [250; 3],
            })
        }));
        let coloured = by_colour(&picture, Window::WHOLE).unwrap();
        let row = |raster: &Raster| raster.light.row(30)[1400..].to_vec();
        assert_eq!(row(&coloured), row(&picture));
    }

    #[test]
    fn a_sky_from_red_to_yellow_is_no_paper() {
        let sky = opened(&image::RgbImage::from_fn(400, 300, |_, y| {
            let low = f64::from(y) / 300.0;
            image::Rgb([240.0, 90.0 + 140.0 * low, 100.0 - 60.0 * low].map(|v| v.round() as u8))
        }));
        assert!(sky.colours.is_some() && by_colour(&sky, Window::WHOLE).is_none());
    }

    #[test]
    fn the_papers_colour_is_looked_for_in_what_is_seen() {
        // The left part is another sheet, on which nothing is drawn.
        let two = opened(&image::RgbImage::from_fn(400, 300, |x, _| {
            image::Rgb(if x < 240 { [250, 220, 60] } else { [180, 178, 172] })
        }));
        let right = Window { left: 0.65, ..Window::WHOLE };
        let seen = by_colour(&two, right).unwrap();
        assert_eq!(seen.light.row(150)[300], two.light.row(150)[300]);
        assert!(seen.light.row(150)[50] < 0.3 * two.light.row(150)[50]);
    }
}
