//! Grid: a power by speed grid that was not drawn here, as a wedge without finder marks.

use super::target::{Dial, Expected, Pattern, TestPatch, VERSION, Wedge, WedgeKind};
use crate::blank::Shape;
use crate::mark::{Beam, Response};
use crate::placement;
use crate::units::{Mm, MmPerS, Share, Watts};

/// What is known of a grid.
#[derive(Debug, Clone, PartialEq)]
pub struct ForeignGrid {
    /// Power of each row, from the top.
    pub powers: Vec<Share>,
    /// Speed of each column, from the left.
    pub speeds: Vec<MmPerS>,
    /// Passes of all.
    pub passes: u32,
    /// Width and height of the whole grid between its outer corners, mm.
    pub size: (Mm, Mm),
    /// Share of a step that is left unmarked between patches.
    pub gap: Share,
    /// Laser's rated optical power.
    pub rated_power: Watts,
    /// The beam in force.
    pub beam: Beam,
    /// Distances between dots.
    pub pitch: placement::Grid,
    /// The expected response.
    pub response: Response,
    /// Names for the reading.
    pub machine: String,
    /// See `machine`.
    pub coating: String,
}

/// Why a grid cannot be read.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{0}")]
pub struct GridError(String);

/// The grid as a wedge whose blank is the rectangle between the corners.
///
/// # Errors
/// Fewer than 2 x 2 patches, a gap out of its range, a power or speed of zero, or a size of 1 mm or less.
pub fn wedge(grid: &ForeignGrid) -> Result<Wedge, GridError> {
    let (columns, rows) = (grid.speeds.len(), grid.powers.len());
    if columns < 2 || rows < 2 {
        return Err(GridError(format!(
            "a grid of {columns} x {rows} patches is too small to be read; it needs at least 2 x 2"
        )));
    }
    if !(0.05..=0.8).contains(&grid.gap.0) {
        return Err(GridError(format!(
            "a gap of {} of a step cannot be read: the bare coating between the patches is what they are compared with; it is from 5% to 80%",
            grid.gap
        )));
    }
    if grid.powers.iter().any(|p| p.0 <= 0.0) || grid.speeds.iter().any(|s| s.0 <= 0.0) {
        return Err(GridError("every power and speed of a grid must be above zero".into()));
    }
    let (width, height) = (grid.size.0.0, grid.size.1.0);
    if !(width > 1.0 && height > 1.0) {
        return Err(GridError(
            "the size of the grid must be above 1 mm each way; give for example --size 70x70mm".into(),
        ));
    }
    // n patches and n - 1 gaps, the gap a share of the step.
    let step = |total: f64, n: usize| total / (n as f64 - grid.gap.0);
    let (sx, sy) = (step(width, columns), step(height, rows));
    let size = [sx * (1.0 - grid.gap.0), sy * (1.0 - grid.gap.0)];
    let mut patches = Vec::new();
    for (r, &power) in grid.powers.iter().enumerate() {
        for (c, &speed) in grid.speeds.iter().enumerate() {
            patches.push(TestPatch {
                name: format!("{}{}", char::from(b'A' + (c % 26) as u8), r + 1),
                cell: [c, r],
                centre: [c as f64 * sx + size[0] / 2.0, height - (r as f64 * sy + size[1] / 2.0)],
                size,
                dial: Dial { power, speed, passes: grid.passes },
                pattern: Pattern::Solid,
                coverage: Share(1.0),
                screen: String::new(),
                period: 0,
                wanted: None,
                charred: false,
            });
        }
    }
    let dial = Dial { power: Share(1.0), speed: MmPerS(1.0), passes: 1 };
    let mut wedge = Wedge {
        version: VERSION,
        id: String::new(),
        kind: WedgeKind::Exposure,
        blank: Shape::Rect { width: Mm(width), height: Mm(height), radius: Mm(0.0) },
        margin: Mm(0.0),
        machine: grid.machine.clone(),
        coating: grid.coating.clone(),
        rated_power: grid.rated_power,
        beam_along: grid.beam.along,
        beam_across: grid.beam.across,
        beam_measured: false,
        pitch_along: grid.pitch.along,
        pitch_across: grid.pitch.across,
        left: Mm(0.0),
        top: Mm(0.0),
        columns: (width / grid.pitch.along.0).round().max(1.0) as usize,
        rows: (height / grid.pitch.across.0).round().max(1.0) as usize,
        fiducials: dial,
        carries: None,
        expected: Expected::from_response(&grid.response, false),
        code: None,
        marks: Vec::new(),
        patches,
        combs: Vec::new(),
    };
    wedge.seal();
    Ok(wedge)
}

#[cfg(test)]
pub(in crate::wedge) mod tests {
    use super::*;

    /// Two powers by three speeds, burnt elsewhere, of a coating with that response.
    pub(in crate::wedge) fn grid_of(response: Response) -> ForeignGrid {
        ForeignGrid {
            powers: vec![Share(1.0), Share(0.5)],
            speeds: vec![MmPerS(10.0), MmPerS(20.0), MmPerS(30.0)],
            passes: 1,
            size: (Mm(28.0), Mm(18.0)),
            gap: Share(0.2),
            rated_power: Watts(5.0),
            beam: Beam { along: Mm(0.12), across: Mm(0.12) },
            pitch: placement::Grid { along: Mm(0.1), across: Mm(0.1) },
            response,
            machine: "m".into(),
            coating: "c".into(),
        }
    }

    fn grid() -> ForeignGrid {
        grid_of(crate::mark::Burn::plain(1.0, 1.0).response)
    }

    #[test]
    fn patches_and_gaps_fill_the_rectangle() {
        let w = wedge(&grid()).unwrap();
        assert_eq!(w.patches.len(), 6);
        // 3 patches of 8 mm and 2 gaps of 2 mm are 28 mm; 2 of 8 and 1 of 2 are 18 mm.
        assert!((w.patches[0].size[0] - 8.0).abs() < 1e-9 && (w.patches[0].size[1] - 8.0).abs() < 1e-9);
        assert!((w.patches[5].centre[0] - 24.0).abs() < 1e-9 && (w.patches[5].centre[1] - 4.0).abs() < 1e-9);
        assert_eq!(w.patches[5].name, "C2");
    }

    #[test]
    fn what_cannot_be_read_is_refused() {
        assert!(
            wedge(&ForeignGrid { gap: Share(0.0), ..grid() }).unwrap_err().to_string().contains("gap of 0%")
        );
        assert!(
            wedge(&ForeignGrid { powers: vec![Share(1.0)], ..grid() })
                .unwrap_err()
                .to_string()
                .contains("2 x 2")
        );
    }
}
