//! The rotary: an axis that turns a round piece under the head.
//!
//! It takes the place of one of the machine's axes; the head follows the other along the piece. The beam then always
//! meets the piece at its highest line.

use serde::{Deserialize, Serialize};

use super::file::{Absurd, unless};
use crate::blank::Mantle;
use crate::placement::Along;
use crate::scan::axis::Axis;
use crate::texts::{self, text};
use crate::units::{Mm, short};

/// What a machine file says of its rotary.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rotary {
    /// The letter of its words: A, B or C, or X or Y where its motor is plugged in there.
    pub letter: String,
    /// Degrees that the piece turns a unit of its words, 0.001 to 360: 1 where they are degrees. Either this or
    /// `mm_per_unit` is there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub degrees_per_unit: Option<f64>,
    /// Millimetres that the surface of the piece moves a unit of its words, 0.001 to 1000: for rollers, which move every
    /// piece alike.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mm_per_unit: Option<f64>,
    /// Motor steps a turn of the piece, gears and micro-steps reckoned in, 10 to 10000000; with `degrees_per_unit`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub steps_per_turn: Option<f64>,
    /// Motor steps a mm of surface, 0.1 to 100000; with `mm_per_unit`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub steps_per_mm: Option<f64>,
    /// The machine's axis that the head follows along the piece. Default x.
    #[serde(default)]
    pub along: Along,
    /// Highest speed, units a second, 0.01 to 1000000.
    pub units_per_s: f64,
    /// Acceleration, units a second squared, 0.01 to 1000000.
    pub units_per_s2: f64,
    /// Its words grow as the unrolled picture goes to the left. Default false: to the right.
    #[serde(default)]
    pub to_the_left: bool,
}

/// A round piece in a rotary.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turned {
    /// What of it passes under the head.
    pub mantle: Mantle,
    /// The axis of the picture that runs round it.
    pub round: Along,
}

impl Turned {
    /// Its girth where it is widest, mm.
    pub fn girth(&self) -> f64 {
        self.mantle.girth()
    }
}

impl Rotary {
    /// A rotary as it may stand in a machine file.
    pub const EXAMPLE: &'static str =
        "letter = 'A', degrees_per_unit = 1, steps_per_turn = 6400, units_per_s = 90, units_per_s2 = 400";

    /// Units of its words a mm of surface where the piece is widest.
    fn units_per_mm(&self, turned: Turned) -> f64 {
        match (self.mm_per_unit, self.degrees_per_unit) {
            (Some(mm), _) => 1.0 / mm,
            (None, degrees) => 360.0 / degrees.unwrap_or(1.0) / turned.girth(),
        }
    }

    /// Motor steps a mm of surface.
    fn steps_per_mm(&self, turned: Turned) -> f64 {
        self.steps_per_mm.unwrap_or_else(|| self.steps_per_turn.unwrap_or(0.0) / turned.girth())
    }

    /// Motor steps a turn of the piece.
    pub fn steps_per_turn(&self, turned: Turned) -> f64 {
        self.steps_per_turn.unwrap_or_else(|| self.steps_per_mm.unwrap_or(0.0) * turned.girth())
    }

    /// The axes x and y of the picture, and where it lies on the bed, from those of the machine without the rotary. It
    /// turns on and on, so no bed ends it.
    pub(super) fn axes(
        &self,
        turned: Turned,
        (x, y): (Axis, Axis),
        on_bed: Option<(f64, f64)>,
    ) -> (Axis, Axis, Option<(f64, f64)>) {
        let units = self.units_per_mm(turned);
        // Where a cone is narrowest the surface is slowest for the same turn: what is planned for there holds all over.
        let fastest = units * turned.mantle.widest() / turned.mantle.narrowest();
        let round = Axis {
            letter: self.letter.bytes().next().unwrap_or(b'A').to_ascii_uppercase(),
            travel: ENDLESS,
            zero: 0.0,
            backwards: self.to_the_left,
            steps_per_mm: self.steps_per_mm(turned),
            acceleration: self.units_per_s2 / fastest,
            top_speed: self.units_per_s / fastest,
            rapid_speed: self.units_per_s / fastest,
            units_per_mm: if units == 1.0 { 1.0 } else { units },
            turns: Some(turned.mantle),
        };
        let (head, at) = match self.along {
            Along::X => (x, on_bed.map(|at| at.0)),
            Along::Y => (y, on_bed.map(|at| at.1)),
        };
        match turned.round {
            Along::X => (round, head, at.map(|at| (ENDLESS / 2.0, at))),
            Along::Y => (head, round, at.map(|at| (at, ENDLESS / 2.0))),
        }
    }

    /// Refuses values that no rotary has, naming the key.
    pub(super) fn check(&self) -> Result<(), Absurd> {
        let head = match self.along {
            Along::X => "X",
            Along::Y => "Y",
        };
        let upper = self.letter.to_ascii_uppercase();
        let letters = ["A", "B", "C", "X", "Y"];
        unless(letters.contains(&upper.as_str()), "letter", text!("job.rotary.letter"))?;
        unless(upper != head, "letter", text!("job.rotary.letter.head", head))?;
        let one = self.degrees_per_unit.is_some() != self.mm_per_unit.is_some();
        unless(one, "degrees_per_unit", text!("job.rotary.unit"))?;
        let (steps, key) = if self.degrees_per_unit.is_some() {
            (self.steps_per_turn.is_some() && self.steps_per_mm.is_none(), "steps_per_turn")
        } else {
            (self.steps_per_mm.is_some() && self.steps_per_turn.is_none(), "steps_per_mm")
        };
        unless(steps, key, text!("job.rotary.steps"))?;
        let ranges = [
            ("degrees_per_unit", self.degrees_per_unit, 0.001, 360.0),
            ("mm_per_unit", self.mm_per_unit, 0.001, 1000.0),
            ("steps_per_turn", self.steps_per_turn, 10.0, 1e7),
            ("steps_per_mm", self.steps_per_mm, 0.1, 1e5),
            ("units_per_s", Some(self.units_per_s), 0.01, 1e6),
            ("units_per_s2", Some(self.units_per_s2), 0.01, 1e6),
        ];
        for (key, value, low, high) in ranges.into_iter().filter_map(|(k, v, l, h)| Some((k, v?, l, h))) {
            unless((low..=high).contains(&value), key, text!("job.must.is-from-to", value, low, high))?;
        }
        Ok(())
    }

    /// Refuses a piece on which its steps, its speed or its acceleration are those of no axis.
    pub(super) fn check_for(&self, turned: Turned) -> Result<(), String> {
        if turned.mantle.is_cone() && self.mm_per_unit.is_some() {
            return Err(text!("job.rotary.rollers-cone").into());
        }
        let (axis, _, _) =
            self.axes(Turned { round: Along::X, ..turned }, (Axis::new(b'X'), Axis::new(b'Y')), None);
        let values = [
            ("steps", axis.steps_per_mm, 0.1, 1e5),
            ("speed", axis.top_speed, 0.1, 1e4),
            ("acceleration", axis.acceleration, 1.0, 1e5),
        ];
        match values.iter().find(|(_, v, low, high)| !(*low..=*high).contains(v)) {
            None => Ok(()),
            Some((what, v, low, high)) => {
                let (across, made) = (Mm(turned.mantle.narrowest()), short(*v, 4));
                Err(texts::filled(
                    &format!("job.rotary.makes.{what}"),
                    &[("across", &across), ("made", &made), ("low", low), ("high", high)],
                ))
            }
        }
    }

    /// The pitch round the piece that is whole motor steps, and how many they are: the nearest to `pitch`; where the seam
    /// is `closed`, the next finer of those that come out even after a turn.
    pub fn whole_steps(&self, turned: Turned, pitch: Mm, closed: bool) -> (Mm, f64) {
        let per_mm = self.steps_per_mm(turned);
        let turn = self.steps_per_turn(turned).round();
        let nearest = (pitch.0 * per_mm).round().max(1.0);
        if !closed {
            return (Mm(nearest / per_mm), nearest);
        }
        // No coarser than wished: lines that lie further apart show.
        let even = |steps: &u32| turn % f64::from(*steps) == 0.0;
        let steps = (1..=nearest as u32).rev().find(even).map_or(1.0, f64::from);
        (Mm(turned.girth() / (turn / steps)), steps)
    }
}

/// What stands for the bed of an axis that turns on and on, mm: the longest that an axis may have.
const ENDLESS: f64 = 10_000.0;

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;

    fn rotary(more: &str) -> Rotary {
        toml::from_str(&format!("letter = 'A'\nunits_per_s = 90\nunits_per_s2 = 400\n{more}")).unwrap()
    }

    fn cylinder(across: f64) -> Mantle {
        Mantle { foot: Mm(across), top: Mm(across), height: Mm(100.0) }
    }

    #[test]
    fn a_cone_is_as_quick_as_where_it_is_narrowest() {
        let mantle = Mantle { foot: Mm(60.0), top: Mm(80.0), height: Mm(100.0) };
        let turned = Turned { mantle, round: Along::X };
        let chuck = rotary("degrees_per_unit = 1\nsteps_per_turn = 6400");
        let (x, _, _) = chuck.axes(turned, (Axis::new(b'X'), Axis::new(b'Y')), None);
        // By hand: 90 degrees a second are a quarter of 60 π mm; 360 degrees are 80 π mm.
        assert!((x.top_speed - 15.0 * PI).abs() < 1e-9 && (x.units_per_mm - 4.5 / PI).abs() < 1e-12);
        let rollers = rotary("mm_per_unit = 1\nsteps_per_mm = 80");
        assert!(rollers.check_for(turned).unwrap_err().contains("runs off to one side"));
        chuck.check_for(turned).unwrap();
    }

    #[test]
    fn a_chuck_turns_degrees_and_rollers_move_the_surface() {
        let turned = Turned { mantle: cylinder(73.0), round: Along::X };
        let chuck = rotary("degrees_per_unit = 1\nsteps_per_turn = 6400");
        let (x, y, _) = chuck.axes(turned, (Axis::new(b'X'), Axis::new(b'Y')), None);
        assert_eq!((x.letter, y.letter), (b'A', b'X'));
        // By hand: a turn is 73 π = 229.336 mm; 360 / 229.336 = 1.569748 degrees a mm, 6400 / 229.336 = 27.9066 steps.
        assert!((x.units_per_mm - 1.569_748).abs() < 1e-6 && (x.steps_per_mm - 27.906_6).abs() < 1e-4);
        assert!((x.top_speed - 90.0 / 1.569_748).abs() < 1e-4);
        let rollers = rotary("mm_per_unit = 1\nsteps_per_mm = 80\nalong = 'y'");
        let (x, y, at) = rollers.axes(turned, (Axis::new(b'X'), Axis::new(b'Y')), Some((3.0, 7.0)));
        assert_eq!((x.units_per_mm, x.steps_per_mm, x.top_speed, y.letter), (1.0, 80.0, 90.0, b'Y'));
        assert_eq!(at, Some((5000.0, 7.0)));
        let up = Turned { round: Along::Y, ..turned };
        let (x, y, _) = chuck.axes(up, (Axis::new(b'X'), Axis::new(b'Y')), None);
        assert_eq!((x.letter, y.letter, y.turns), (b'X', b'A', Some(cylinder(73.0))));
    }

    #[test]
    fn lines_are_whole_steps_apart_and_a_closed_seam_comes_out_even() {
        let turned = Turned { mantle: cylinder(80.0), round: Along::X };
        let chuck = rotary("degrees_per_unit = 1\nsteps_per_turn = 6400");
        // By hand: a step is 80 π / 6400 = 0.0392699 mm; 0.1 mm are 2.546 of them.
        let (pitch, steps) = chuck.whole_steps(turned, Mm(0.1), false);
        assert_eq!(steps, 3.0);
        assert!((pitch.0 - 0.117_809_7).abs() < 1e-7);
        // 6400 divided by 3 leaves a rest, by 2 none.
        let (pitch, steps) = chuck.whole_steps(turned, Mm(0.1), true);
        assert_eq!(steps, 2.0);
        assert!((turned.girth() / pitch.0 - 3200.0).abs() < 1e-9);
    }

    #[test]
    fn what_no_rotary_has_is_refused_by_its_key() {
        for (more, said) in [
            ("degrees_per_unit = 1", "steps_per_turn"),
            ("mm_per_unit = 1\nsteps_per_turn = 6400", "steps_per_mm"),
            ("steps_per_turn = 6400", "degrees_per_unit"),
            ("degrees_per_unit = 0\nsteps_per_turn = 6400", "degrees_per_unit"),
            ("degrees_per_unit = 1\nsteps_per_turn = 1", "steps_per_turn"),
        ] {
            assert_eq!(rotary(more).check().unwrap_err().key, said, "{more}");
        }
        let ok = rotary("degrees_per_unit = 1\nsteps_per_turn = 6400");
        ok.check().unwrap();
        assert_eq!(Rotary { letter: "X".into(), ..ok.clone() }.check().unwrap_err().key, "letter");
        assert_eq!(Rotary { letter: "Q".into(), ..ok.clone() }.check().unwrap_err().key, "letter");
        let slow = Rotary { units_per_s: 0.05, ..ok };
        assert!(
            slow.check_for(Turned { mantle: cylinder(73.0), round: Along::X })
                .unwrap_err()
                .contains("mm/s of surface")
        );
    }
}
