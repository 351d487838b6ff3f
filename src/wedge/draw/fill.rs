//! Fill: the dots of one patch.

use super::request::Request;
use crate::mark::{Beam, Response};
use crate::placement::{Along, Grid};
use crate::plane::{Dots, Tone};
use crate::progress::Silent;
use crate::screen::{self, Options};
use crate::units::Watts;
use crate::wedge::target::{Expected, Pattern, TestPatch};

/// What the dots of a patch are made for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bench {
    /// Laser's rated optical power.
    pub rated_power: Watts,
    /// Distances between dots.
    pub grid: Grid,
    /// The beam in force.
    pub beam: Beam,
    /// The expected response.
    pub response: Response,
}

/// The dots of a patch.
pub(super) fn fill_of(request: &Request, patch: &TestPatch, size: (usize, usize)) -> Dots {
    // As the file of the wedge holds them, so that whoever reads it makes the same dots.
    let response = Expected::from_response(&request.response, false).response();
    let Request { rated_power, grid, beam, .. } = *request;
    dots_of(&Bench { rated_power, grid, beam, response }, patch, size)
}

/// The dots of a patch of so many columns and rows.
pub fn dots_of(bench: &Bench, patch: &TestPatch, (nx, ny): (usize, usize)) -> Dots {
    let by = |on: &dyn Fn(usize, usize) -> bool| {
        let mut d = Dots::off(nx, ny);
        for y in 0..ny {
            for x in 0..nx {
                if on(x, y) {
                    d.set(x, y, true);
                }
            }
        }
        d
    };
    let n = patch.period.max(1);
    match patch.pattern {
        Pattern::Solid => by(&|_, _| true),
        Pattern::LinesAlong => by(&|_, y| (y / n).is_multiple_of(2)),
        Pattern::LinesAcross => by(&|x, _| (x / n).is_multiple_of(2)),
        Pattern::Dots => by(&|x, y| x % n == n / 2 && y % n == n / 2),
        Pattern::Screen => {
            let setting = crate::mark::Setting {
                power: Watts(bench.rated_power.0 * patch.dial.power.0),
                speed: patch.dial.speed,
                passes: patch.dial.passes,
                pitch_along: bench.grid.along,
                pitch_across: bench.grid.across,
                lines: Along::X,
            };
            let burn = crate::mark::Burn::new(bench.beam, setting, bench.response);
            let options = Options::new(burn, bench.grid.along.0, bench.grid.across.0);
            let tone = Tone::filled(nx, ny, patch.coverage.0 as f32);
            // A screen that wants the mark gets it through the same number: its patch is then a check of the
            // model (wanted against measured mark), not a step of coverage.
            screen::find(&patch.screen)
                .map_or_else(|| Dots::off(nx, ny), |s| s.dots(&tone, &options, &Silent))
        }
    }
}
