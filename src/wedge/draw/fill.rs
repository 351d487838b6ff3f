//! Fill: the dots of one patch.

use super::request::Request;
use crate::placement::Along;
use crate::plane::{Dots, Tone};
use crate::progress::Silent;
use crate::screen::{self, Options};
use crate::units::Watts;
use crate::wedge::target::{Pattern, TestPatch};

/// The dots of a patch.
pub(super) fn fill_of(request: &Request, patch: &TestPatch, (nx, ny): (usize, usize)) -> Dots {
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
                power: Watts(request.rated_power.0 * patch.dial.power.0),
                speed: patch.dial.speed,
                passes: patch.dial.passes,
                pitch_along: request.grid.along,
                pitch_across: request.grid.across,
                lines: Along::X,
            };
            let burn = crate::mark::Burn::new(request.beam, setting, request.response);
            let options = Options::new(burn, request.grid.along.0, request.grid.across.0);
            let tone = Tone::filled(nx, ny, patch.coverage.0 as f32);
            // A screen that wants the mark gets it through the same number: its patch is then a check of the
            // model (wanted against measured mark), not a step of coverage.
            screen::find(&patch.screen)
                .map_or_else(|| Dots::off(nx, ny), |s| (s.make)(&tone, &options, &Silent))
        }
    }
}
