//! The machine: laser, beam, motion, and what its controller knows.

use serde::{Deserialize, Serialize};

use super::file::{Absurd, unless};
use super::process::Standing;
use crate::blank::parse_size;
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
    /// Extra run-up in which the head settles after speeding up. Default 0.5 mm.
    #[serde(default = "settle")]
    pub settle: Mm,
    /// How far opposite directions are apart because the beam answers late, in milliseconds. Default 0.
    #[serde(default)]
    pub lag_ms: f64,
    /// How exactly a blank can be laid into its place. Default 0.5 mm.
    #[serde(default = "tolerance")]
    pub placement_tolerance: Mm,
    /// Where the blank's lower left corner lies on the bed, `0x0mm` unless said otherwise.
    #[serde(default = "origin")]
    pub origin: String,
}

fn settle() -> Mm {
    Mm(0.5)
}

fn tolerance() -> Mm {
    Mm(0.5)
}

fn origin() -> String {
    "0x0mm".to_string()
}

/// How the power word is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PowerMode {
    /// The power stays as said whatever the speed (M3).
    Constant,
    /// The controller scales the power with the speed of the moment (M4; controller practice, in no standard).
    SpeedScaled,
}

/// What the controller knows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Controller {
    /// The S word that means 100 % power, 1 to 1000000.
    pub full_scale_s: f64,
    /// How the power word is meant.
    pub power_mode: PowerMode,
    /// Whether S may change from one G1 to the next without a stop.
    #[serde(default = "yes")]
    pub s_inside_moves: bool,
    /// Bytes a second the link carries; 115200 baud 8N1 carries 11520. 0: a file on the machine, no link.
    #[serde(default)]
    pub link_bytes_per_s: f64,
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

fn yes() -> bool {
    true
}

impl Machine {
    /// The bed's width and height in mm.
    pub fn bed(&self) -> (f64, f64) {
        parse_size(&self.motion.bed).map_or((0.0, 0.0), |(w, h)| (w.0, h.0))
    }

    /// Where the blank's lower left corner lies, mm from the machine's zero.
    pub fn origin(&self) -> (f64, f64) {
        parse_offset(&self.motion.origin).unwrap_or((0.0, 0.0))
    }

    /// Refuses values that no machine has, naming the key.
    pub fn check(&self) -> Result<(), Absurd> {
        let l = &self.laser;
        unless(l.power.0 > 0.0 && l.power.0 <= 200.0, "power", "must be above 0 W and at most 200 W")?;
        unless((200.0..=11_000.0).contains(&l.wavelength_nm), "wavelength_nm", "must be from 200 to 11000")?;
        for (key, v) in [("beam_along", l.beam_along), ("beam_across", l.beam_across)] {
            unless((0.005..=2.0).contains(&v.0), key, format!("is {v}; a beam is from 0.005 mm to 2 mm"))?;
        }
        let m = &self.motion;
        parse_size(&m.bed).map_err(|why| Absurd { key: "bed", why: format!("is wrong: {why}") })?;
        parse_offset(&m.origin).map_err(|why| Absurd { key: "origin", why })?;
        for (key, v) in [("steps_per_mm_x", m.steps_per_mm_x), ("steps_per_mm_y", m.steps_per_mm_y)] {
            unless((1.0..=10_000.0).contains(&v), key, format!("is {v}; it must be from 1 to 10000"))?;
        }
        let a = m.acceleration_mm_per_s2;
        let why = format!("is {a}; it must be from 1 to 100000");
        unless((1.0..=100_000.0).contains(&a), "acceleration_mm_per_s2", why)?;
        for (key, v) in [("top_speed", m.top_speed), ("rapid_speed", m.rapid_speed)] {
            unless(
                v.0 > 0.0 && v.0 <= 5000.0,
                key,
                format!("is {v}; it must be above 0 and at most 5000 mm/s"),
            )?;
        }
        unless((0.0..=50.0).contains(&m.settle.0), "settle", "must be from 0 mm to 50 mm")?;
        unless((-50.0..=50.0).contains(&m.lag_ms), "lag_ms", "must be from -50 to 50")?;
        let t = m.placement_tolerance.0;
        unless((0.0..=20.0).contains(&t), "placement_tolerance", "must be from 0 mm to 20 mm")?;
        let c = &self.program;
        let s = c.full_scale_s;
        unless((1.0..=1e6).contains(&s), "full_scale_s", format!("is {s}; it must be from 1 to 1000000"))?;
        let link = c.link_bytes_per_s;
        unless((0.0..=1e9).contains(&link), "link_bytes_per_s", "must be from 0 (no link) to 1000000000")?;
        Ok(())
    }
}

/// Parses `12x30mm` where either may be zero or negative.
fn parse_offset(text: &str) -> Result<(f64, f64), String> {
    let wrong = || format!("is '{text}'; write for example 0x0mm or 20x35mm");
    let (a, b) = text.split_once('x').ok_or_else(wrong)?;
    let b: Mm = b.parse().map_err(|_| wrong())?;
    let a: Mm = a.trim().parse().or_else(|_| format!("{}mm", a.trim()).parse()).map_err(|_| wrong())?;
    Ok((a.0, b.0))
}
