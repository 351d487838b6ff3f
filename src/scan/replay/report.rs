//! What a program does, in figures.

use serde::Serialize;

use crate::scan::reader::OddWord;
use crate::scan::rebuilt::Difference;

/// Lines of the program at which something happens.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Places {
    /// How often.
    pub count: u64,
    /// The first twenty lines.
    pub lines: Vec<u64>,
    /// Length of the moves, mm (of rests: 0).
    pub mm: f64,
}

impl Places {
    #[cold]
    pub(super) fn add(&mut self, line: u64, mm: f64) {
        self.count += 1;
        self.mm += mm;
        if self.lines.len() < 20 && self.lines.last() != Some(&line) {
            self.lines.push(line);
        }
    }
}

/// What a program does.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Replay {
    /// Lines of the program.
    pub lines: u64,
    /// Its size.
    pub bytes: u64,
    /// Moves.
    pub moves: u64,
    /// Time of the whole program, s.
    pub seconds: f64,
    /// Length of all moves, mm.
    pub travel_mm: f64,
    /// Length of the moves with the beam on, mm.
    pub burning_mm: f64,
    /// Left, bottom, right, top of all moves, mm of the program; a first rapid's start is not counted.
    pub extents_mm: Option<[f64; 4]>,
    /// Highest S word with the beam on.
    pub highest_s: f64,
    /// The S word that is the machine's full power.
    pub full_scale_s: u32,
    /// That of the machine that the program was written for, as far as its comments say.
    pub written_for_full_scale_s: Option<u32>,
    /// The power of the laser that the program was written for, as its comments say, and of the machine's, W; where they differ.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub other_laser_w: Option<[f64; 2]>,
    /// First line that asks for more than the machine's full power with the beam on.
    pub over_full_power: Option<u64>,
    /// Highest feed of a G1 move with the beam on, mm/s; of any where it never is.
    pub highest_speed: f64,
    /// M4 is used: power scaled with speed.
    pub speed_scaled: bool,
    /// Moves with the beam on during which the head is not within 1 % of the feed, and over how many mm: where it
    /// speeds up, brakes or hurries, with the lag reckoned in.
    pub beam_on_off_speed: Places,
    /// First line that asks for a stop at every joint (G61 or G61.1).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub exact_stops: Option<u64>,
    /// Moves by G0 with the beam on.
    pub beam_on_in_rapid: Places,
    /// Rests (G4) with the beam on.
    pub beam_on_at_rest: Places,
    /// Moves with the beam on that leave the blank.
    pub beam_on_outside_blank: Places,
    /// How far the path leaves the bed, mm; 0 where it does not.
    pub off_bed_mm: f64,
    /// Words that the standard does not know: the first twenty.
    pub not_in_standard: Vec<OddWord>,
    /// How many there are.
    pub not_in_standard_count: u64,
    /// The beam was on, with power, when the program ended.
    pub power_left_on: bool,
    /// Dots that are on, where it is known where they lie.
    pub dots_on: Option<u64>,
    /// Dots swept again: their number times the passes beyond the first.
    pub dots_again: u64,
    /// Length of beam-on moves that pass between the lines of dots or beside them, mm.
    pub off_grid_mm: f64,
    /// How the dots differ from those wanted, where some were given.
    pub difference: Option<Difference>,
}

impl Replay {
    /// An S word with the beam on that is above all before it.
    #[cold]
    pub(super) fn higher_s(&mut self, power: f64, line: u64) {
        self.highest_s = power;
        if power > f64::from(self.full_scale_s) && self.over_full_power.is_none() {
            self.over_full_power = Some(line);
        }
    }
}
