//! Spots: where the blanks lie on a tray.

use super::file::TrayJob;
use crate::blank::Shape;
use crate::texts::text;
use crate::units::{Mm, short};

/// Width and height, mm.
pub type Sides = (f64, f64);

/// A spot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpotArea {
    /// Its lower left corner, mm from that of the tray.
    pub corner: (f64, f64),
    /// Its width and height.
    pub sides: Sides,
    /// Whether it is drawn as a circle or an ellipse.
    pub round: bool,
}

/// The spots of a jig that is drawn already.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlined {
    /// Width and height of the tray.
    pub tray: Sides,
    /// Its spots, in the order of the drawing.
    pub spots: Vec<SpotArea>,
}

/// The spots of a tray; where they are not drawn, all of one size: that of the largest blank.
#[derive(Debug, Clone, PartialEq)]
pub struct Spots {
    /// Width and height of the tray.
    pub tray: Sides,
    /// The spots; in a grid from the upper left, row by row.
    pub spots: Vec<SpotArea>,
}

/// Why there are no such spots.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SpotsError {
    /// The grid is no grid.
    #[error("{}", text!("order.spots.no-grid", grid = .0))]
    Grid(String),
    /// A gap out of its range.
    #[error("{}", text!("order.spots.gap", gap = .0))]
    Gap(String),
    /// More than one of grid, list and drawing.
    #[error("{}", text!("order.spots.both"))]
    Both,
    /// A drawing whose outlines are no spots.
    #[error("{}", text!("order.jig.wrong", file = .0, why = .1))]
    Outlines(String, String),
    /// A drawing that cannot be opened.
    #[error("{0}")]
    Drawing(String),
    /// A blank that is larger than its spot.
    #[error("{}", text!("order.jig.fits", piece = .0, size = .1, spot = .2, spot_size = .3))]
    Fits(String, String, usize, String),
    /// A blank whose corners reach past its round spot.
    #[error("{}", text!("order.jig.corners", piece = .0, size = .1, spot = .2, spot_size = .3))]
    Corners(String, String, usize, String),
    /// Two spots overlap.
    #[error("{}", text!("order.spots.overlap", first = .0, second = .1, size = .2))]
    Overlap(usize, usize, String),
    /// A spot that lies off the tray's corner.
    #[error("{}", text!("order.spots.off", spot = .0, place = .1))]
    Off(usize, String),
}

impl Spots {
    /// The spots that were asked for, for blanks of at most `spot`; `pieces` lie on them. Those that are `drawn` are
    /// taken as they are.
    ///
    /// # Errors
    /// See [`SpotsError`].
    pub fn new(
        asked: &TrayJob,
        drawn: Option<&Outlined>,
        spot: Sides,
        pieces: usize,
    ) -> Result<Spots, SpotsError> {
        let gap = asked.gap.unwrap_or(Mm(5.0));
        if !(0.0..=200.0).contains(&gap.0) {
            return Err(SpotsError::Gap(gap.to_string()));
        }
        let ways = [drawn.is_some(), asked.grid.is_some(), !asked.spots.is_empty()];
        if ways.into_iter().filter(|is| *is).count() > 1 {
            return Err(SpotsError::Both);
        }
        if let Some(drawn) = drawn {
            return Ok(Spots { tray: drawn.tray, spots: drawn.spots.clone() });
        }
        if !asked.spots.is_empty() {
            return Spots::listed(asked, spot, gap.0);
        }
        let (columns, rows) = match &asked.grid {
            Some(text) => grid(text).ok_or_else(|| SpotsError::Grid(text.clone()))?,
            None => (pieces.clamp(1, 100), 1),
        };
        let along = |i: usize, side: f64| gap.0 + i as f64 * (side + gap.0);
        let of = |i: usize| (along(i % columns, spot.0), along(rows - 1 - i / columns, spot.1));
        Ok(Spots {
            tray: (along(columns, spot.0), along(rows, spot.1)),
            spots: (0..columns * rows)
                .map(|i| SpotArea { corner: of(i), sides: spot, round: false })
                .collect(),
        })
    }

    /// Where the lower left corner of a blank lies on spot `i`, in its middle; `name` is what the piece is called.
    ///
    /// # Errors
    /// Where the blank is larger than the spot, or its corners reach past a round one.
    pub fn corner(&self, i: usize, shape: &Shape, name: &str) -> Result<(f64, f64), SpotsError> {
        let SpotArea { corner, sides, round } = self.spots[i];
        let blank = (shape.width(), shape.height());
        let mm = |(w, h): Sides| format!("{} x {}", short(w, 2), short(h, 2));
        if blank.0 > sides.0 + FITS || blank.1 > sides.1 + FITS {
            return Err(SpotsError::Fits(name.to_string(), mm(blank), i + 1, mm(sides)));
        }
        if round && !corners_fit(shape, sides) {
            return Err(SpotsError::Corners(name.to_string(), mm(blank), i + 1, mm(sides)));
        }
        Ok((corner.0 + (sides.0 - blank.0) / 2.0, corner.1 + (sides.1 - blank.1) / 2.0))
    }

    /// The middle of spot `i`.
    pub fn middle(&self, i: usize) -> (f64, f64) {
        let SpotArea { corner, sides, .. } = self.spots[i];
        (corner.0 + sides.0 / 2.0, corner.1 + sides.1 / 2.0)
    }

    fn listed(asked: &TrayJob, spot: Sides, gap: f64) -> Result<Spots, SpotsError> {
        let corners: Vec<(f64, f64)> = asked.spots.iter().map(|&[x, y]| (x, y)).collect();
        for (i, &(x, y)) in corners.iter().enumerate() {
            if !(x >= 0.0 && y >= 0.0 && x <= 10_000.0 && y <= 10_000.0) {
                return Err(SpotsError::Off(i + 1, format!("{}, {}", short(x, 2), short(y, 2))));
            }
            let over = |&(u, v): &(f64, f64)| (u - x).abs() < spot.0 - 1e-6 && (v - y).abs() < spot.1 - 1e-6;
            if let Some(k) = corners[..i].iter().position(over) {
                let size = format!("{} x {}", short(spot.0, 2), short(spot.1, 2));
                return Err(SpotsError::Overlap(k + 1, i + 1, size));
            }
        }
        let far = |f: fn(&(f64, f64)) -> f64| corners.iter().map(f).fold(0.0, f64::max);
        let tray = (far(|c| c.0) + spot.0 + gap, far(|c| c.1) + spot.1 + gap);
        Ok(Spots {
            tray,
            spots: corners.into_iter().map(|corner| SpotArea { corner, sides: spot, round: false }).collect(),
        })
    }
}

/// A blank may be larger than a drawn spot by so much, mm: drawings are made with a line's width in mind.
const FITS: f64 = 0.2;

/// Whether the corners of a blank lie within an ellipse of so many mm around it.
fn corners_fit(shape: &Shape, (width, height): Sides) -> bool {
    let radius = match *shape {
        Shape::Round { .. } => return true,
        Shape::Rect { radius, .. } => radius.0,
        Shape::Cylinder { .. } | Shape::Cone { .. } => 0.0,
    };
    let (a, b) = ((width + FITS) / 2.0, (height + FITS) / 2.0);
    (0..=16).all(|i| {
        let (sin, cos) = libm::sincos(std::f64::consts::FRAC_PI_2 * f64::from(i) / 16.0);
        let (x, y) =
            (shape.width() / 2.0 - radius * (1.0 - cos), shape.height() / 2.0 - radius * (1.0 - sin));
        libm::hypot(x / a, y / b) <= 1.0
    })
}

/// Columns and rows.
fn grid(text: &str) -> Option<(usize, usize)> {
    let (columns, rows) = text.split_once(['x', '×'])?;
    let side = |t: &str| t.trim().parse().ok().filter(|n| (1..=100).contains(n));
    Some((side(columns)?, side(rows)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(text: &str) -> TrayJob {
        toml::from_str(text).unwrap()
    }

    fn shape(text: &str) -> Shape {
        text.parse().unwrap()
    }

    #[test]
    fn a_grid_is_read_from_its_upper_left() {
        let spots = Spots::new(&asked("grid = '3x2'\ngap = '4mm'"), None, (50.0, 20.0), 6).unwrap();
        assert_eq!(spots.tray, (3.0 * 50.0 + 4.0 * 4.0, 2.0 * 20.0 + 3.0 * 4.0));
        assert_eq!(spots.spots[0].corner, (4.0, 28.0));
        assert_eq!(spots.spots[2].corner, (112.0, 28.0));
        assert_eq!(spots.spots[5].corner, (112.0, 4.0));
    }

    #[test]
    fn spots_that_cannot_be_are_refused_with_their_numbers() {
        for (text, said) in [
            ("grid = '3'", "is no grid"),
            ("grid = '0x2'", "is no grid"),
            ("gap = '300mm'", "makes no sense"),
            ("spots = [[0, 0], [60, 0], [70, 5]]", "spots 2 and 3 overlap"),
            ("spots = [[0, -1]]", "spot 1 lies at 0, -1"),
            ("grid = '2x2'\nspots = [[0, 0]]", "keep one"),
        ] {
            let e = Spots::new(&asked(text), None, (50.0, 20.0), 2).unwrap_err().to_string();
            assert!(e.contains(said), "{text}: {e}");
        }
        let spots = Spots::new(&asked("spots = [[0, 0], [60, 30]]"), None, (50.0, 20.0), 2).unwrap();
        assert_eq!(spots.tray, (115.0, 55.0));
    }

    #[test]
    fn a_blank_lies_in_the_middle_of_a_drawn_spot_or_does_not_fit() {
        let spots = vec![SpotArea { corner: (10.0, 20.0), sides: (60.0, 30.0), round: false }];
        let drawn = Outlined { tray: (100.0, 60.0), spots };
        let spots = Spots::new(&asked(""), Some(&drawn), (50.0, 20.0), 1).unwrap();
        assert_eq!(spots.corner(0, &shape("rect:50x20mm"), "Anna").unwrap(), (15.0, 25.0));
        let e = spots.corner(0, &shape("rect:61x20mm"), "Anna").unwrap_err().to_string();
        assert!(
            e.contains("Anna is 61 x 20 mm") && e.contains("spot 1 of the jig, which is 60 x 30 mm"),
            "{e}"
        );
        let both = Spots::new(&asked("grid = '2x2'"), Some(&drawn), (50.0, 20.0), 1).unwrap_err().to_string();
        assert!(both.contains("keep one"), "{both}");
    }

    #[test]
    fn the_corners_of_a_blank_must_lie_within_a_round_spot() {
        let spots = vec![SpotArea { corner: (20.0, 20.0), sides: (40.0, 40.0), round: true }];
        let drawn = Outlined { tray: (80.0, 80.0), spots };
        let spots = Spots::new(&asked(""), Some(&drawn), (40.0, 40.0), 1).unwrap();
        for (blank, fits) in [
            ("round:40mm", true),
            ("rect:40x40mm", false),
            ("rect:40x40mm:r20mm", true),
            ("rect:30x30mm", false),
            ("rect:30x30mm:r6mm", true),
            ("rect:28x28mm", true),
        ] {
            assert_eq!(spots.corner(0, &shape(blank), "Anna").is_ok(), fits, "{blank}");
        }
        let e = spots.corner(0, &shape("rect:40x40mm"), "Anna").unwrap_err().to_string();
        assert!(e.contains("Anna is 40 x 40 mm") && e.contains("round spot 1 of the jig"), "{e}");
    }
}
