//! The machine: laser, beam, motion, and what its controller knows.

use serde::{Deserialize, Serialize};

use super::file::{Absurd, unless};
use super::kit;
use super::process::Standing;
use super::rotary::{Rotary, Turned};
use super::words::{Along, PowerMode};
use crate::blank::parse_size;
use crate::said::Said;
use crate::scan::axis::Axis;
use crate::scan::limits::{BeamLag, Limits, LimitsError};
use crate::texts::text;
use crate::units::{Mm, MmPerS, Watts};

/// A machine file: one machine's numbers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Machine {
    /// What the maker calls it.
    pub name: String,
    /// Whether the numbers are common practice (`assumed`) or stated by the maker (`given`).
    #[serde(default = "given")]
    pub standing: Standing,
    /// Where the numbers come from.
    #[serde(default)]
    pub source: String,
    /// The laser and its beam.
    pub laser: Laser,
    /// How the head moves.
    pub motion: Motion,
    /// What the controller knows.
    pub program: Controller,
    /// The rotary that turns round pieces, where there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rotary: Option<Rotary>,
    /// The piece that it turns; of a job, not of the machine file.
    #[serde(skip)]
    pub turned: Option<Turned>,
}

fn given() -> Standing {
    Standing::Given
}

/// The laser and its beam.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Laser {
    /// Optical power at 100 %, above 0 W and at most 200 W.
    pub power: Watts,
    /// Wavelength in nm, 200 to 11000: the eyewear must be made for it.
    pub wavelength_nm: f64,
    /// 1/e² diameter along the scan on the work (what it marks, not the maker's claimed spot), 0.005 to 2 mm.
    pub beam_along: Mm,
    /// 1/e² diameter across the scan.
    pub beam_across: Mm,
    /// How long the laser takes to come on or go off, in milliseconds, 0 to 10. Default 0.1: common practice for the
    /// driver of a diode.
    #[serde(default = "switch_ms", skip_serializing_if = "is_usual_switch")]
    pub switch_ms: f64,
}

impl Laser {
    /// The shortest that the beam can well be on or off, s: the laser takes a fifth of that at most to answer.
    pub fn briefest(&self) -> f64 {
        5.0 * self.switch_ms / 1000.0
    }

    /// Whether nobody said how long it takes to come on or go off.
    pub fn switch_is_assumed(&self) -> bool {
        is_usual_switch(&self.switch_ms)
    }
}

fn switch_ms() -> f64 {
    0.1
}

fn is_usual_switch(ms: &f64) -> bool {
    *ms == switch_ms()
}

/// How the head moves.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Motion {
    /// Size of the bed, `400x400mm`.
    pub bed: String,
    /// Motor steps a millimetre along x.
    pub steps_per_mm_x: f64,
    /// Motor steps a millimetre along y.
    pub steps_per_mm_y: f64,
    /// Acceleration in mm/s², 1 to 100000.
    pub acceleration_mm_per_s2: f64,
    /// Highest speed while marking.
    pub top_speed: MmPerS,
    /// Speed of moves that do not mark.
    pub rapid_speed: MmPerS,
    /// Acceleration along y in mm/s², where it differs: the same range.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub acceleration_y_mm_per_s2: Option<f64>,
    /// Highest speed while marking along y, where it differs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub top_speed_y: Option<MmPerS>,
    /// Speed along y of moves that do not mark, where it differs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rapid_speed_y: Option<MmPerS>,
    /// Run-up beyond `v²/(2a)`, in which the head settles after it turned round: see
    /// [`crate::scan::limits::Limits::settle`]. Default 0.1 mm (assumed).
    #[serde(default = "settle")]
    pub settle: Mm,
    /// Way before each mark in which the head already goes at the marking speed after it hurried across a gap
    /// between marks. Default 0 mm.
    #[serde(default = "no_way", skip_serializing_if = "is_no_way")]
    pub gap_settle: Mm,
    /// How late the beam answers, in milliseconds: opposite directions lie twice this times the speed apart.
    /// Default 0.
    #[serde(default)]
    pub lag_ms: f64,
    /// How exactly a blank can be laid into its place. Default 0.5 mm.
    #[serde(default = "tolerance")]
    pub placement_tolerance: Mm,
    /// Where the program's zero lies, seen from the blank's lower left corner. Default `0x0mm`.
    #[serde(default = "zero")]
    pub zero: String,
    /// X grows to the left. Default false.
    #[serde(default)]
    pub x_to_the_left: bool,
    /// Y grows downwards, towards the maker. Default false.
    #[serde(default)]
    pub y_downwards: bool,
    /// Where the blank's lower left corner lies on the bed, `20x35mm`. Absent: taken to lie in the middle.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub blank_on_bed: Option<String>,
}

fn settle() -> Mm {
    Mm(Limits::default().settle)
}

fn no_way() -> Mm {
    Mm(0.0)
}

fn is_no_way(way: &Mm) -> bool {
    way.0 == 0.0
}

fn tolerance() -> Mm {
    Mm(0.5)
}

fn zero() -> String {
    "0x0mm".to_string()
}

/// What the controller knows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Controller {
    /// The S word that means 100 % power, 1 to 100000.
    pub full_scale_s: f64,
    /// How the power word is meant.
    pub power_mode: PowerMode,
    /// Whether S may change from one G1 to the next without a stop.
    #[serde(default = "yes")]
    pub s_inside_moves: bool,
    /// Bytes a second the link carries; 115200 baud 8N1 carries 11520. 0: a file on the machine, no link.
    #[serde(default)]
    pub link_bytes_per_s: f64,
    /// Bytes the controller holds ahead of the move it runs. Default 128.
    #[serde(default = "buffer")]
    pub link_buffer_bytes: f64,
    /// Moves that the controller looks ahead beyond the one it runs: the head then hurries across gaps between
    /// marks. Default 0: not known, and the head keeps one speed along each line.
    #[serde(default, skip_serializing_if = "is_unknown")]
    pub plans_ahead: f64,
    /// Moves a second that the controller takes in. Default 0: not known, no limit.
    #[serde(default, skip_serializing_if = "is_unknown")]
    pub moves_per_s: f64,
    /// Lines before the first move.
    #[serde(default)]
    pub header: Vec<String>,
    /// Lines after the last move.
    #[serde(default)]
    pub footer: Vec<String>,
    /// Power for walking the outline, as a share of full power; only where the maker knows it to be safe.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pointer_power: Option<crate::units::Share>,
}

fn buffer() -> f64 {
    128.0
}

fn is_unknown(number: &f64) -> bool {
    *number == 0.0
}

fn yes() -> bool {
    true
}

/// Bytes of a move on the link: `X-123.456S1000` and the line's end.
const A_MOVE: f64 = 15.0;

impl Machine {
    /// What it is called in the language of the page: of the kit's, or as its maker calls it.
    pub fn called(&self) -> &str {
        kit::spoken(&self.name)
    }

    /// The bed's width and height in mm.
    pub fn bed(&self) -> (f64, f64) {
        parse_size(&self.motion.bed).map_or((0.0, 0.0), |(w, h)| (w.0, h.0))
    }

    /// The numbers that the scan program needs.
    pub fn limits(&self) -> Limits {
        let (m, c) = (&self.motion, &self.program);
        let (width, height) = self.bed();
        let zero = parse_offset(&m.zero).unwrap_or((0.0, 0.0));
        let x = Axis {
            letter: b'X',
            travel: width,
            zero: zero.0,
            backwards: m.x_to_the_left,
            steps_per_mm: m.steps_per_mm_x,
            acceleration: m.acceleration_mm_per_s2,
            top_speed: m.top_speed.0,
            rapid_speed: m.rapid_speed.0,
            ..Axis::new(b'X')
        };
        let y = Axis {
            letter: b'Y',
            travel: height,
            zero: zero.1,
            backwards: m.y_downwards,
            steps_per_mm: m.steps_per_mm_y,
            acceleration: m.acceleration_y_mm_per_s2.unwrap_or(m.acceleration_mm_per_s2),
            top_speed: m.top_speed_y.unwrap_or(m.top_speed).0,
            rapid_speed: m.rapid_speed_y.unwrap_or(m.rapid_speed).0,
            ..Axis::new(b'Y')
        };
        let on_bed = m.blank_on_bed.as_deref().and_then(|t| parse_offset(t).ok());
        let (x, y, on_bed) = match (&self.rotary, self.turned) {
            (Some(rotary), Some(turned)) => rotary.axes(turned, (x, y), on_bed),
            _ => (x, y, on_bed),
        };
        Limits {
            x,
            y,
            on_bed,
            full_scale_s: c.full_scale_s.round() as u32,
            power_mode: c.power_mode,
            power_in_motion: c.s_inside_moves,
            header: c.header.clone(),
            footer: c.footer.clone(),
            link_bytes_per_s: (c.link_bytes_per_s > 0.0).then_some(c.link_bytes_per_s),
            link_buffer_bytes: c.link_buffer_bytes,
            plans_ahead: (c.plans_ahead > 0.0).then_some(c.plans_ahead as u32),
            moves_per_s: (c.moves_per_s > 0.0).then_some(c.moves_per_s),
            settle: m.settle.0,
            gap_settle: m.gap_settle.0,
            // Switched at rest, a late beam still begins where the head stood: in 2 ms at 500 mm/s² that goes 0.001 mm.
            lag: BeamLag::Seconds(if c.s_inside_moves { m.lag_ms / 1000.0 } else { 0.0 }),
            pointer: c.pointer_power.map(|p| p.0),
        }
    }

    /// The machine with a round piece in its rotary.
    ///
    /// # Errors
    /// Where it has none, or none that can turn such a piece.
    pub fn turning(&self, turned: Turned) -> Result<Machine, Said> {
        let Some(rotary) = &self.rotary else {
            let lacks = text!("job.no-rotary", machine = self.name);
            return Err(Said::from(lacks)
                .line(text!("job.no-rotary.line", example = Rotary::EXAMPLE))
                .page(text!("job.no-rotary.page")));
        };
        rotary.check_for(turned)?;
        Ok(Machine { turned: Some(turned), ..self.clone() })
    }

    /// The highest speed at which dots of this pitch can be marked one by one along x, as far as laser, link, controller and
    /// axis carry them; and as far as the controller sees ahead, where that is known.
    pub fn dots_up_to(&self, pitch: Mm) -> (MmPerS, MmPerS) {
        let (axis, c) = (self.axes(Along::X).0, &self.program);
        let carried = |rate: f64, needs: f64| if rate > 0.0 { rate * pitch.0 / needs } else { f64::INFINITY };
        let briefest = self.laser.briefest();
        let lit = if briefest > 0.0 { pitch.0 / briefest } else { f64::INFINITY };
        let switched = [carried(c.moves_per_s, 1.0), carried(c.link_bytes_per_s, A_MOVE), lit];
        let switched = switched.into_iter().fold(axis.top_speed, f64::min);
        let stops = (2.0 * axis.acceleration * c.plans_ahead * pitch.0).sqrt();
        let seen = if c.plans_ahead > 0.0 { stops.min(switched) } else { switched };
        (MmPerS(switched), MmPerS(seen))
    }

    /// Whether the beam can be switched every so many seconds on end: the laser takes a fifth of that at most to answer,
    /// and controller and link carry a move for each.
    pub fn switches_within(&self, seconds: f64) -> bool {
        let c = &self.program;
        let carries = |rate: f64, needs: f64| rate <= 0.0 || needs <= rate * seconds;
        self.laser.briefest() <= seconds && carries(c.moves_per_s, 1.0) && carries(c.link_bytes_per_s, A_MOVE)
    }

    /// The axis that lines run along, and the one across them.
    pub fn axes(&self, lines: Along) -> (Axis, Axis) {
        let limits = self.limits();
        lines.swap((limits.x, limits.y))
    }

    /// Refuses values that no machine has, naming the key.
    ///
    /// # Errors
    /// The first value that is out of its range, a place or size that cannot be read, or a line of header or footer that
    /// may not stand there.
    pub fn check(&self) -> Result<(), Absurd> {
        let l = &self.laser;
        unless(
            l.power.0 > 0.0 && l.power.0 <= 200.0,
            "power",
            text!("job.must.above-to", low = "0 W", high = "200 W"),
        )?;
        unless(
            (200.0..=11_000.0).contains(&l.wavelength_nm),
            "wavelength_nm",
            text!("job.must.from-to", low = 200, high = 11000),
        )?;
        for (key, v) in [("beam_along", l.beam_along), ("beam_across", l.beam_across)] {
            unless((0.005..=2.0).contains(&v.0), key, text!("job.machine.beam", beam = v))?;
        }
        let m = &self.motion;
        parse_size(&m.bed).map_err(|why| Absurd { key: "bed", why: text!("job.machine.bed", why) })?;
        parse_offset(&m.zero).map_err(|why| Absurd { key: "zero", why })?;
        if let Some(place) = &m.blank_on_bed {
            parse_offset(place).map_err(|why| Absurd { key: "blank_on_bed", why })?;
        }
        for (key, v) in [("steps_per_mm_x", m.steps_per_mm_x), ("steps_per_mm_y", m.steps_per_mm_y)] {
            unless(
                (1.0..=10_000.0).contains(&v),
                key,
                text!("job.must.is-from-to", value = v, low = 1, high = 10000),
            )?;
        }
        let accelerations = [
            ("acceleration_mm_per_s2", Some(m.acceleration_mm_per_s2)),
            ("acceleration_y_mm_per_s2", m.acceleration_y_mm_per_s2),
        ];
        for (key, a) in accelerations.into_iter().filter_map(|(key, a)| Some((key, a?))) {
            let why = text!("job.must.is-from-to", value = a, low = 1, high = 100000);
            unless((1.0..=100_000.0).contains(&a), key, why)?;
        }
        let speeds = [
            ("top_speed", Some(m.top_speed)),
            ("rapid_speed", Some(m.rapid_speed)),
            ("top_speed_y", m.top_speed_y),
            ("rapid_speed_y", m.rapid_speed_y),
        ];
        for (key, v) in speeds.into_iter().filter_map(|(key, v)| Some((key, v?))) {
            unless(v.0 > 0.0 && v.0 <= 5000.0, key, text!("job.machine.speed", speed = v))?;
        }
        let switch = self.laser.switch_ms;
        unless(
            (0.0..=10.0).contains(&switch),
            "switch_ms",
            text!("job.must.is-from-to", value = switch, low = 0, high = 10),
        )?;
        unless(
            (0.0..=50.0).contains(&m.settle.0),
            "settle",
            text!("job.must.from-to", low = "0 mm", high = "50 mm"),
        )?;
        unless(
            (0.0..=50.0).contains(&m.gap_settle.0),
            "gap_settle",
            text!("job.must.from-to", low = "0 mm", high = "50 mm"),
        )?;
        unless(
            (-50.0..=50.0).contains(&m.lag_ms),
            "lag_ms",
            text!("job.must.from-to", low = -50, high = 50),
        )?;
        let t = m.placement_tolerance.0;
        unless(
            (0.0..=20.0).contains(&t),
            "placement_tolerance",
            text!("job.must.from-to", low = "0 mm", high = "20 mm"),
        )?;
        let c = &self.program;
        let s = c.full_scale_s;
        let whole = s.fract() == 0.0 && (1.0..=1e5).contains(&s);
        unless(whole, "full_scale_s", text!("job.machine.full-scale", value = s))?;
        let link = c.link_bytes_per_s;
        unless((0.0..=1e9).contains(&link), "link_bytes_per_s", text!("job.machine.link"))?;
        let ahead = c.plans_ahead;
        let whole = ahead.fract() == 0.0 && (0.0..=10_000.0).contains(&ahead);
        unless(whole, "plans_ahead", text!("job.machine.plans-ahead", value = ahead))?;
        let rate = c.moves_per_s;
        let why = text!("job.machine.moves");
        unless(rate == 0.0 || (1.0..=1e6).contains(&rate), "moves_per_s", why)?;
        if let Some(rotary) = &self.rotary {
            rotary.check()?;
        }
        self.limits().check(None).map_err(|e| match e {
            LimitsError::Line { key, line, why } => Absurd { key, why: text!("job.machine.line", line, why) },
            e => Absurd { key: "machine", why: text!("job.machine.limits", why = e) },
        })
    }
}

/// Parses `12x30mm` where either may be zero or negative.
fn parse_offset(text: &str) -> Result<(f64, f64), String> {
    let wrong = || text!("job.machine.place", text);
    let (a, b) = text.split_once('x').ok_or_else(wrong)?;
    let b: Mm = b.parse().map_err(|_| wrong())?;
    let a: Mm = a.trim().parse().or_else(|_| format!("{}mm", a.trim()).parse()).map_err(|_| wrong())?;
    Ok((a.0, b.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::kit;

    #[test]
    fn dots_are_marked_as_fast_as_link_and_controller_carry_them() {
        let mut m = kit::machine("diode-5w").unwrap();
        // 11520 bytes/s are 768 dots of 0.0875 mm; 15 of them are 1.3125 mm, in which 500 mm/s² stop 36.2 mm/s.
        let (switched, seen) = m.dots_up_to(Mm(0.0875));
        assert!(
            (switched.0 - 67.2).abs() < 1e-9 && (seen.0 - 1312.5f64.sqrt()).abs() < 1e-9,
            "{switched} {seen}"
        );
        m.program.link_bytes_per_s = 960.0;
        let (switched, seen) = m.dots_up_to(Mm(0.0875));
        assert!((switched.0 - 5.6).abs() < 1e-9 && seen == switched, "{switched} {seen}");
        (m.program.link_bytes_per_s, m.program.plans_ahead, m.laser.switch_ms) = (0.0, 0.0, 0.0);
        assert_eq!(m.dots_up_to(Mm(0.0875)), (m.motion.top_speed, m.motion.top_speed));
    }

    #[test]
    fn a_beam_that_is_switched_at_rest_is_late_at_no_place() {
        let mut m = kit::machine("diode-5w").unwrap();
        m.motion.lag_ms = 2.0;
        assert_eq!(m.limits().lag, BeamLag::Seconds(0.002));
        m.program.s_inside_moves = false;
        assert_eq!(m.limits().lag, BeamLag::Seconds(0.0));
    }
}
