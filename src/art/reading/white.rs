//! White ink: what is white of a drawing that was made for dark ground and is cut out on transparency, its colours beside it.
//!
//! A piece that hangs together and is white all over, as a letter is, can be nothing but ink. Where there are such, white is the
//! ink of every piece that it bounds as well: a white disc with a coloured dot in it. Without them white may as well be the plate
//! that the colours lie on, and stays bare.

use super::cells::Cells;
use super::ink::SEEN;
use crate::plane::{Alpha, Light};

/// Cells along the longer side of a drawing that has more places.
const CELLS: usize = 1000;
/// The least share of what is opaque that is white all over: less is crumbs.
const LEAST_WHITE: usize = 50;
/// The least share of what is opaque that has another colour: where all is white there is nothing to tell apart.
const LEAST_COLOUR: usize = 200;
/// Most of a white piece that seems coloured: its rim, where a program made the picture smaller.
const RIM: usize = 20;
/// So far beside it the smooth edge of white ink runs out, cells.
const EDGE: usize = 2;

/// Where white is ink.
pub(super) struct WhiteInk {
    cells: Cells,
    side: usize,
    ink: Vec<bool>,
}

impl WhiteInk {
    /// In a drawing of these shares of ink on white; `None` where white is none.
    pub fn of(share: &Light, alpha: &Alpha) -> Option<WhiteInk> {
        let (w, h) = (share.width(), share.height());
        let side = w.max(h).div_ceil(CELLS).max(1);
        let cells = Cells { columns: w.div_ceil(side), rows: h.div_ceil(side) };
        let (opaque, coloured) = looks(share, alpha, side, cells);
        let all = opaque.iter().filter(|o| **o).count();
        let colours = coloured.iter().filter(|c| **c).count();
        if colours * LEAST_COLOUR < all || colours == all {
            return None;
        }
        let mut ink = vec![false; opaque.len()];
        let mut white = 0;
        for piece in cells.patches(&opaque) {
            let colours = piece.iter().filter(|&&i| coloured[i]).count();
            let alone = colours * RIM <= piece.len();
            white += if alone { piece.len() } else { 0 };
            if alone || bounds(&piece, &opaque, &coloured, cells) {
                piece.into_iter().for_each(|i| ink[i] = true);
            }
        }
        for _ in 0..EDGE {
            let from = (0..ink.len()).filter(|&i| ink[i]).collect();
            cells.flood(from, |_, j| {
                ink[j] |= !opaque[j];
                false
            });
        }
        (white * LEAST_WHITE >= all).then_some(WhiteInk { cells, side, ink })
    }

    /// Whether white is ink at a place.
    pub fn at(&self, x: usize, y: usize) -> bool {
        self.ink[y / self.side * self.cells.columns + x / self.side]
    }
}

/// Which cells are opaque, and which of these are of another colour than white for the most part.
fn looks(share: &Light, alpha: &Alpha, side: usize, cells: Cells) -> (Vec<bool>, Vec<bool>) {
    let n = cells.columns * cells.rows;
    let (mut opaque, mut coloured) = (vec![0u32; n], vec![0u32; n]);
    for y in 0..share.height() {
        for (x, (s, a)) in share.row(y).iter().zip(alpha.row(y)).enumerate() {
            let i = y / side * cells.columns + x / side;
            opaque[i] += u32::from(*a >= 0.5);
            coloured[i] += u32::from(*a >= 0.5 && *s > SEEN.0);
        }
    }
    let coloured = coloured.iter().zip(&opaque).map(|(c, o)| *c > 0 && 2 * c >= *o).collect();
    (opaque.iter().map(|o| *o > 0).collect(), coloured)
}

/// Whether more of a piece's outline is white than is of other colours.
fn bounds(piece: &[usize], opaque: &[bool], coloured: &[bool], cells: Cells) -> bool {
    let (mut white, mut others) = (0u64, 0u64);
    cells.flood(piece.to_vec(), |i, j| {
        if !opaque[j] {
            *if coloured[i] { &mut others } else { &mut white } += 1;
        }
        false
    });
    white > others
}

#[cfg(test)]
mod tests {
    use crate::art::reading::{inked, on_its_ground};
    use crate::art::{Art, Kind, View, open, render};
    use crate::plane::{Alpha, Light};
    use crate::tone::tone_mapping;

    const YELLOW: [u8; 3] = [242, 183, 5];
    const GREY: [u8; 3] = [119; 3];
    const BLACK: [u8; 3] = [0; 3];

    /// The mark of a drawing at places of 200 x 100.
    fn marks(light: Light, alpha: Option<&Alpha>, places: &[(usize, usize)]) -> Vec<f64> {
        let (ink, _) = tone_mapping::ink(&light, alpha);
        let tone = tone_mapping::drawing(light, alpha, ink);
        places.iter().map(|&(x, y)| f64::from(tone.row(y)[x])).collect()
    }

    /// A disc with a dot of a colour in it and, where `lettered`, four strokes of `strokes` beside it, on transparency: as a
    /// picture and as a drawing. What each marks on the disc, the dot, a stroke and nothing.
    fn logo(disc: [u8; 3], dot: [u8; 3], strokes: Option<[u8; 3]>) -> [Vec<f64>; 2] {
        let places = [(20, 50), (50, 50), (115, 50), (105, 50)];
        let mut png = std::io::Cursor::new(Vec::new());
        image::RgbaImage::from_fn(200, 100, |x, y| {
            let far = (f64::from(x) - 50.0).hypot(f64::from(y) - 50.0);
            let stroke = strokes.filter(|_| (110..190).contains(&x) && x % 20 >= 10 && (30..70).contains(&y));
            let colour = if far < 15.0 { Some(dot) } else { (far < 40.0).then_some(disc).or(stroke) };
            let [r, g, b] = colour.unwrap_or_default();
            image::Rgba([r, g, b, if colour.is_some() { 255 } else { 0 }])
        })
        .write_to(&mut png, image::ImageFormat::Png)
        .unwrap();
        let Art::Raster(raster) = open(&png.into_inner(), "made").unwrap() else { panic!() };
        let (mut raster, inked) = inked(&raster);
        inked.settle(&mut raster.light, 1.0);
        let picture = marks(raster.light, raster.alpha.as_ref(), &places);
        let fill = |[r, g, b]: [u8; 3]| format!("fill='rgb({r},{g},{b})'");
        let stroke = |x: u32| {
            strokes
                .map(|c| format!("<rect x='{x}' y='30' width='10' height='40' {}/>", fill(c)))
                .unwrap_or_default()
        };
        let svg = format!(
            "<svg xmlns='http://www.w3.org/2000/svg' width='200' height='100'><circle cx='50' cy='50' r='40' {}/>\
             <circle cx='50' cy='50' r='15' {}/>{}</svg>",
            fill(disc),
            fill(dot),
            [110, 130, 150, 170].map(stroke).concat()
        );
        let art = open(svg.as_bytes(), "made").unwrap();
        let mut drawn = render(&art, &View::default(), 200, 100, Kind::Drawing).unwrap();
        on_its_ground(&mut drawn);
        [picture, marks(drawn.light, drawn.alpha.as_ref(), &places)]
    }

    #[test]
    fn white_that_stands_alone_is_ink_and_a_colour_in_it_still_shows() {
        for dot in [YELLOW, GREY, [208, 32, 48], [26, 95, 180]] {
            for got in logo([255; 3], dot, Some([255; 3])) {
                assert!(got[0] > 0.99 && got[2] > 0.99 && got[3] == 0.0, "{dot:?}: {got:?}");
                assert!((0.1..0.85).contains(&got[1]), "{dot:?}: {got:?}");
            }
        }
    }

    #[test]
    fn beside_white_that_stands_alone_other_inks_stay_as_they_are() {
        for got in logo(BLACK, BLACK, Some([255; 3])) {
            assert!(got[0] > 0.99 && got[1] > 0.99 && got[2] > 0.99 && got[3] == 0.0, "{got:?}");
        }
    }

    #[test]
    fn a_white_plate_under_colours_and_white_within_ink_stay_bare() {
        for strokes in [None, Some(BLACK)] {
            for got in logo([255; 3], YELLOW, strokes) {
                assert!(got[0] < 0.01 && got[1] > 0.4 && got[3] == 0.0, "{strokes:?}: {got:?}");
            }
            for got in logo(BLACK, [255; 3], strokes) {
                assert!(got[0] > 0.99 && got[1] < 0.01, "{strokes:?}: {got:?}");
            }
        }
    }

    #[test]
    fn a_smooth_edge_of_white_ink_is_marked_as_far_as_it_covers() {
        let svg = "<svg xmlns='http://www.w3.org/2000/svg' width='200' height='100' fill='#fff'>\
                   <rect x='19.75' y='20' width='30' height='60'/><rect x='25' y='30' width='9' height='9' fill='#f2b705'/>\
                   <rect x='110.75' y='20' width='30' height='60'/></svg>";
        let art = open(svg.as_bytes(), "made").unwrap();
        let mut drawn = render(&art, &View::default(), 200, 100, Kind::Drawing).unwrap();
        on_its_ground(&mut drawn);
        let got = marks(drawn.light, drawn.alpha.as_ref(), &[(19, 60), (49, 60), (110, 50), (140, 50)]);
        assert!(got.iter().zip([0.25, 0.75, 0.25, 0.75]).all(|(a, b)| (a - b).abs() < 0.02), "{got:?}");
    }

    #[test]
    fn a_drawing_that_is_white_all_over_is_left_to_its_transparency() {
        for got in logo([255; 3], [255; 3], Some([255; 3])) {
            assert_eq!(got, [1.0, 1.0, 1.0, 0.0]);
        }
    }
}
