//! Replay: what a program would do, from its moves alone.
//!
//! Independent of the writer: it knows the words ([`super::reader`]), the machine and the place of the
//! dots, and rebuilds dots, times and the path. It streams: memory is that of the dots and the picture.

mod report;

use std::io::BufRead;

pub use self::report::{Places, Replay};

use super::axis::Axis;
use super::backplot::{Backplot, PlotView};
use super::comments::said::Heard;
use super::course::{Course, LONGEST, Rules};
use super::limits::{BeamLag, Limits};
use super::motion;
use super::program::Program;
use super::reader::{self, AxisWords, Event, Hear, Move, ReadError, Reader};
use super::rebuilt::{Inside, Lane, RebuiltDots, compare};
use super::toolpath::{Moves, Toolpath};
use crate::blank::Blank;
use crate::placement::DotRect;
use crate::plane::Dots;
use crate::units::Watts;

/// Where the dots of a program lie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ground {
    /// Their rectangle.
    pub rect: DotRect,
    /// The blank.
    pub blank: Blank,
}

/// How a program is replayed.
#[derive(Debug, Clone)]
pub struct ReplayOptions<'a> {
    /// The machine.
    pub limits: &'a Limits,
    /// Where the dots lie; `None` takes what the program's comments say, if they do.
    pub ground: Option<Ground>,
    /// How late the beam follows the head; `None` takes what the program's comments say, else 0.
    pub lag: Option<BeamLag>,
    /// The power of the machine's laser, where what the program's comments say of it is to be held against it.
    pub laser: Option<Watts>,
    /// Keep the S word of each dot too.
    pub levels: bool,
    /// Draw the path, this many pixels wide or high.
    pub picture: Option<usize>,
}

impl<'a> ReplayOptions<'a> {
    /// Replay on `head`, all else from the program's comments, without a picture.
    pub fn new(limits: &'a Limits) -> Self {
        ReplayOptions { limits, ground: None, lag: None, laser: None, levels: false, picture: None }
    }

    /// Replay of a program of one's own: what its comments say is known. Dots are rebuilt where all of them
    /// lie on one raster.
    pub fn of(program: &'a Program<'_>) -> Self {
        let ground = match program.parts.as_slice() {
            [Toolpath { moves: Moves::Raster(path, _), .. }] => {
                Some(Ground { rect: path.rect, blank: path.blank })
            }
            _ => None,
        };
        // A late beam shifts where marks begin and end. A contour keeps its beam on from end to end, and
        // there the head rests: what it lights is where the head goes.
        let rasters = program.parts.iter().any(|part| matches!(part.moves, Moves::Raster(..)));
        let lag = if rasters { program.limits.lag } else { BeamLag::Mm(0.0) };
        ReplayOptions { ground, lag: Some(lag), ..ReplayOptions::new(&program.limits) }
    }
}

/// Lasers whose powers differ by no more than this share are the same: comments round.
const SAME_LASER: f64 = 0.01;

/// A replay with what it rebuilt.
#[derive(Debug, Clone)]
pub struct Replayed {
    /// What the program does.
    pub report: Replay,
    /// Where the dots lie, as given or as the comments say.
    pub ground: Option<Ground>,
    /// The dots.
    pub dots: Option<Dots>,
    /// The S word of each dot, row after row, where it was asked for; 0 = beam off.
    pub levels: Option<Vec<f32>>,
    /// The path.
    pub plot: Option<Backplot>,
}

impl Replayed {
    /// Compares with the dots wanted and keeps the difference in the report. `false` where the sizes
    /// differ or it is not known where the dots lie.
    pub fn against(&mut self, wanted: &Dots) -> bool {
        self.report.difference = self.dots.as_ref().and_then(|found| compare(wanted, found));
        self.report.difference.is_some()
    }
}

/// Replays a program.
///
/// # Errors
/// The first line that cannot be read, with its number; a program without an end.
pub fn replay(input: impl BufRead, options: &ReplayOptions<'_>) -> Result<Replayed, ReadError> {
    let mut playback = Playback::new(options);
    reader::pieces(input, |piece| playback.push(piece))?;
    playback.finish()
}

/// Replays a program that comes piece by piece.
#[derive(Debug)]
pub struct Playback<'a>(Reader<Player<'a>>);

impl<'a> Playback<'a> {
    /// At the start of a program.
    pub fn new(options: &'a ReplayOptions<'a>) -> Self {
        Playback(Reader::on(AxisWords::of(options.limits), Player::new(options)))
    }

    /// The next piece, of any length.
    ///
    /// # Errors
    /// The first line that cannot be read, with its number.
    pub fn push(&mut self, piece: &[u8]) -> Result<(), ReadError> {
        self.0.push(piece)
    }

    /// The program has come to its end.
    ///
    /// # Errors
    /// A last line that cannot be read; a program without an end.
    pub fn finish(self) -> Result<Replayed, ReadError> {
        self.0.finish().map(|(ending, player)| player.finish(ending))
    }
}

/// Moves in one direction, run from rest to rest: at one speed, or at any where the controller plans ahead.
#[derive(Debug, Clone, Copy)]
struct Chain {
    from: (f64, f64),
    to: (f64, f64),
    direction: (f64, f64),
    rapid: bool,
    /// The feed of those with the beam on, once there are some.
    speed: f64,
    power: f64,
    /// What turns a coordinate of the program into one of the blank: it is added to the signed coordinate.
    shift: (f64, f64),
}

/// A chain along one axis at the feed, as long as it goes on: what most moves of a raster need, worked out once.
#[derive(Debug, Clone, Copy)]
struct LineUnderWay {
    upright: bool,
    /// 1 where the program's values grow along it, -1 where they fall.
    way: f64,
    /// The feed of moves with the beam on.
    speed: f64,
    /// Moves with the beam off may have another feed: the controller plans ahead.
    planned: bool,
    /// The only power that it may have, where the controller cannot change power in motion.
    power: Option<f64>,
    /// How far it has come, mm of the program.
    to: f64,
    lane: Option<Lane>,
    /// From where to where it may lie to be on the blank, mm of the program.
    inside: Option<(f64, f64)>,
}

impl LineUnderWay {
    /// Whether a move goes on along it.
    #[inline(always)]
    fn goes_on(&self, m: &Move, upright: bool, way: f64) -> bool {
        self.upright == upright
            && way * self.way > 0.0
            && !m.rapid
            && (m.speed == self.speed || self.planned && m.power <= 0.0)
            && self.power.is_none_or(|p| p == m.power)
    }
}

#[derive(Debug)]
struct Player<'a> {
    options: &'a ReplayOptions<'a>,
    /// Signs that turn program coordinates into the blank's.
    sign: (f64, f64),
    lag: BeamLag,
    said: Heard,
    ground: Option<Ground>,
    inside: Option<Inside>,
    cells: Option<RebuiltDots>,
    plot: Option<Backplot>,
    chain: Option<Chain>,
    line: Option<LineUnderWay>,
    course: Course,
    /// Highest feed of moves with the beam on, and of all.
    fastest: (f64, f64),
    began: bool,
    /// The head stops at every joint.
    exact: bool,
    extents: [f64; 4],
    report: Replay,
}

impl Hear for Player<'_> {
    #[inline(always)]
    fn hear(&mut self, event: Event<'_>) {
        match event {
            Event::Move(m) => self.step(&m),
            Event::Switch => self.end_chain(),
            Event::Joints { exact, line } => {
                self.end_chain();
                self.exact = exact;
                if exact {
                    self.report.exact_stops.get_or_insert(line);
                }
            }
            Event::Dwell { seconds, power, line } => {
                self.end_chain();
                self.report.seconds += seconds;
                if power > 0.0 && seconds > 0.0 {
                    self.report.beam_on_at_rest.add(line, 0.0);
                }
            }
            Event::Comment(text) => {
                if !self.began {
                    self.said.hear(text);
                }
            }
        }
    }

    #[inline(always)]
    fn straight(&mut self, m: &Move, upright: bool) {
        let (from, to) = if upright { (m.from.1, m.to.1) } else { (m.from.0, m.to.0) };
        match &mut self.line {
            Some(line) if line.goes_on(m, upright, to - from) && self.course.len() < LONGEST => {
                line.to = to;
                self.report.moves += 1;
                self.course.push((to - from).abs(), m.speed, m.power > 0.0, m.line);
                if m.power > 0.0 {
                    self.burn_on(m, from, to);
                }
                if let Some(plot) = &mut self.plot {
                    plot.add(m.from, m.to, m.rapid, m.power > 0.0);
                }
            }
            _ => self.step(m),
        }
    }
}

impl<'a> Player<'a> {
    fn new(options: &'a ReplayOptions<'a>) -> Self {
        let sign = |axis: &Axis| if axis.backwards { -1.0 } else { 1.0 };
        Player {
            options,
            sign: (sign(&options.limits.x), sign(&options.limits.y)),
            lag: BeamLag::Mm(0.0),
            said: Heard::default(),
            ground: None,
            inside: None,
            cells: None,
            plot: None,
            chain: None,
            line: None,
            course: Course::default(),
            fastest: (0.0, 0.0),
            began: false,
            exact: false,
            extents: [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY],
            report: Replay { full_scale_s: options.limits.full_scale_s, ..Replay::default() },
        }
    }

    /// Settles where the dots lie, once the first move comes: by then the comments are read.
    #[cold]
    fn begin(&mut self, first: &Move) {
        self.began = true;
        if !first.rapid {
            // Only a first move by G1 starts where no move has ended.
            self.reach(first.from);
        }
        let said = self.said.rect.zip(self.said.blank).map(|(rect, blank)| Ground { rect, blank });
        self.ground = self.options.ground.or(said);
        self.lag = self.options.lag.unwrap_or(self.said.lag);
        self.report.written_for_full_scale_s = self.said.full_scale_s;
        let lasers = self.said.laser.zip(self.options.laser);
        self.report.other_laser_w = lasers
            .filter(|(written, here)| (written.0 - here.0).abs() > SAME_LASER * here.0)
            .map(|(written, here)| [written.0, here.0]);
        self.cells = self.ground.map(|g| RebuiltDots::new(g.rect, &g.blank, self.options.levels));
        let blank = self.ground.map(|g| g.blank).or(self.said.blank);
        self.inside = blank.map(|b| Inside::new(&b));
        let limits = self.options.limits;
        self.plot = self.options.picture.and_then(|pixels| {
            // The blank with the run-ups beside it, else the bed.
            let (low, high) = match blank {
                Some(b) => {
                    let edge = self.said.run_up + 2.0;
                    ((-edge, -edge), (b.shape.width() + edge, b.shape.height() + edge))
                }
                None => ((0.0, 0.0), (limits.x.travel, limits.y.travel)),
            };
            let (p, q) = (limits.to_program(low), limits.to_program(high));
            Backplot::new(PlotView { mm: [p.0.min(q.0), p.1.min(q.1), p.0.max(q.0), p.1.max(q.1)], pixels })
        });
    }

    fn reach(&mut self, (x, y): (f64, f64)) {
        let e = &mut self.extents;
        *e = [e[0].min(x), e[1].min(y), e[2].max(x), e[3].max(y)];
    }

    #[inline(always)]
    fn step(&mut self, m: &Move) {
        if !self.began {
            self.begin(m);
        }
        self.report.moves += 1;
        let (dx, dy) = (m.to.0 - m.from.0, m.to.1 - m.from.1);
        // Most moves run along an axis: their length needs no root.
        let (length, direction) = if dy == 0.0 {
            (dx.abs(), (1f64.copysign(dx), 0.0))
        } else if dx == 0.0 {
            (dy.abs(), (0.0, 1f64.copysign(dy)))
        } else {
            let length = libm::hypot(dx, dy);
            (length, (dx / length, dy / length))
        };
        if length == 0.0 {
            return self.reach(m.to);
        }
        let shift = match &mut self.chain {
            Some(c) if c.goes_on(m, direction, self.options.limits) && self.course.len() < LONGEST => {
                c.to = m.to;
                if m.power > 0.0 && m.speed != c.speed {
                    self.change_speed(m, direction)
                } else {
                    if let Some(line) = &mut self.line {
                        line.to = if line.upright { m.to.1 } else { m.to.0 };
                    }
                    c.shift
                }
            }
            _ => self.begin_chain(m, direction),
        };
        self.course.push(length, m.speed, m.power > 0.0, m.line);
        if m.power > 0.0 {
            self.burn(m, shift, length);
        }
        if let Some(plot) = &mut self.plot {
            plot.add(m.from, m.to, m.rapid, m.power > 0.0);
        }
    }

    fn begin_chain(&mut self, m: &Move, direction: (f64, f64)) -> (f64, f64) {
        self.end_chain();
        let shift = self.take_aim(m, direction);
        self.chain = Some(Chain {
            from: m.from,
            to: m.to,
            direction,
            rapid: m.rapid,
            speed: m.speed,
            power: m.power,
            shift,
        });
        shift
    }

    /// The beam goes on at another feed than before in the chain: its marks are shifted by another length.
    #[cold]
    fn change_speed(&mut self, m: &Move, direction: (f64, f64)) -> (f64, f64) {
        let shift = self.take_aim(m, direction);
        if let Some(c) = &mut self.chain {
            (c.speed, c.shift) = (m.speed, shift);
        }
        shift
    }

    /// Where marks at the feed of a move land, and the line that they are on.
    fn take_aim(&mut self, m: &Move, direction: (f64, f64)) -> (f64, f64) {
        let limits = self.options.limits;
        let lag = self.lag.shift(m.speed);
        let shift = |axis: &Axis, sign: f64, along: f64| along * lag * sign + axis.zero;
        let shift = (shift(&limits.x, self.sign.0, direction.0), shift(&limits.y, self.sign.1, direction.1));
        let upright = direction.0 == 0.0;
        if !m.rapid && (upright || direction.1 == 0.0) {
            self.line = Some(self.line_under_way(m, upright, direction, shift));
        }
        shift
    }

    fn line_under_way(
        &self,
        m: &Move,
        upright: bool,
        direction: (f64, f64),
        shift: (f64, f64),
    ) -> LineUnderWay {
        let (x, y) =
            ((m.to.0, shift.0, self.sign.0, direction.0), (m.to.1, shift.1, self.sign.1, direction.1));
        let ((to, shift, sign, way), (fixed, off, other, _)) = if upright { (y, x) } else { (x, y) };
        let fixed = fixed * other + off;
        // The blank's edges as the program counts.
        let counted = |(low, high): (f64, f64)| {
            let (a, b) = ((low - shift) * sign, (high - shift) * sign);
            (a.min(b), a.max(b))
        };
        let nowhere = (f64::INFINITY, f64::NEG_INFINITY);
        LineUnderWay {
            upright,
            way,
            speed: m.speed,
            planned: self.options.limits.plans_ahead.is_some(),
            power: (!self.options.limits.power_in_motion).then_some(m.power),
            to,
            lane: self.cells.as_ref().map(|cells| cells.lane(upright, fixed, sign, shift)),
            inside: self.inside.as_ref().map(|inside| inside.span(upright, fixed).map_or(nowhere, counted)),
        }
    }

    fn end_chain(&mut self) {
        let Some(mut c) = self.chain.take() else { return };
        if let Some(line) = self.line.take() {
            *(if line.upright { &mut c.to.1 } else { &mut c.to.0 }) = line.to;
        }
        let (dx, dy) = (c.to.0 - c.from.0, c.to.1 - c.from.1);
        let length = libm::hypot(dx, dy);
        let pace = self.options.limits.pace(dx, dy);
        let speed = if c.rapid { pace.rapid_speed } else { c.speed.min(pace.top_speed) };
        self.report.travel_mm += length;
        // Who sees no move ahead of the one that it runs stops at the end of each.
        let ahead = if self.exact { Some(0) } else { self.options.limits.plans_ahead };
        let planned = ahead.filter(|_| !c.rapid);
        if planned.is_none() {
            self.report.seconds += motion::rest_to_rest(length, speed, pace.acceleration);
        }
        if !c.rapid {
            let rules =
                Rules { ahead: planned, top: pace.top_speed, acceleration: pace.acceleration, lag: self.lag };
            let off = &mut self.report.beam_on_off_speed;
            let passage = self.course.run(&rules, |line, mm| off.add(line, mm));
            let (lit, any) = passage.fastest;
            self.fastest = (self.fastest.0.max(lit), self.fastest.1.max(any));
            if planned.is_some() {
                self.report.seconds += passage.seconds;
            }
        }
        self.course.clear();
        self.reach(c.to);
        if let Some(plot) = &mut self.plot {
            plot.end_chain(c.from, c.to, speed, pace.acceleration);
        }
    }

    /// A move with the beam on.
    fn burn(&mut self, m: &Move, shift: (f64, f64), length: f64) {
        self.report.burning_mm += length;
        if m.power > self.report.highest_s {
            self.report.higher_s(m.power, m.line);
        }
        if m.rapid {
            self.report.beam_on_in_rapid.add(m.line, length);
        }
        let place = |p: (f64, f64)| (p.0 * self.sign.0 + shift.0, p.1 * self.sign.1 + shift.1);
        let (from, to) = (place(m.from), place(m.to));
        if let Some(inside) = &self.inside
            && !inside.holds(from, to)
        {
            self.report.beam_on_outside_blank.add(m.line, length);
        }
        if let Some(cells) = &mut self.cells {
            cells.sweep(from, to, m.power);
        }
    }

    /// A move with the beam on along the line under way.
    #[inline(always)]
    fn burn_on(&mut self, m: &Move, from: f64, to: f64) {
        let Some(line) = &self.line else { return };
        let length = (to - from).abs();
        self.report.burning_mm += length;
        if m.power > self.report.highest_s {
            self.report.higher_s(m.power, m.line);
        }
        if let Some((low, high)) = line.inside
            && !(from >= low && to >= low && from <= high && to <= high)
        {
            self.report.beam_on_outside_blank.add(m.line, length);
        }
        if let (Some(cells), Some(lane)) = (&mut self.cells, &line.lane) {
            cells.sweep_lane(lane, from, to, length, m.power);
        }
    }

    fn finish(mut self, ending: reader::Ending) -> Replayed {
        self.end_chain();
        let mut report = self.report;
        report.highest_speed = if self.fastest.0 > 0.0 { self.fastest.0 } else { self.fastest.1 };
        if report.moves > 0 {
            report.extents_mm = Some(self.extents);
            let blank = self.ground.map(|g| g.blank).or(self.said.blank);
            report.off_bed_mm = self.options.limits.off_bed(blank.as_ref(), self.extents);
        }
        report.lines = ending.lines;
        report.bytes = ending.bytes;
        report.speed_scaled = ending.speed_scaled;
        report.not_in_standard = ending.odd;
        report.not_in_standard_count = ending.odd_count;
        report.power_left_on = ending.power_left_on;
        let (mut dots, mut levels) = (None, None);
        if let Some(cells) = self.cells {
            let rebuilt = cells.finish();
            (report.dots_again, report.off_grid_mm) = (rebuilt.again, rebuilt.off_grid_mm);
            report.dots_on = Some(rebuilt.dots.count());
            (dots, levels) = (Some(rebuilt.dots), rebuilt.levels);
        }
        Replayed { report, ground: self.ground, dots, levels, plot: self.plot }
    }
}

impl Chain {
    /// Whether the head need not stop before a move.
    #[inline(always)]
    fn goes_on(&self, m: &Move, direction: (f64, f64), limits: &Limits) -> bool {
        (self.direction.0 - direction.0).abs() < 1e-6
            && (self.direction.1 - direction.1).abs() < 1e-6
            && self.rapid == m.rapid
            && (self.speed == m.speed || !m.rapid && limits.plans_ahead.is_some())
            && (limits.power_in_motion || self.power == m.power)
    }
}

#[cfg(test)]
mod tests;
