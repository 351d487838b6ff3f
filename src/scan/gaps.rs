//! Gaps: how the head crosses the blank stretches of a line.
//!
//! Marks are made at the marking speed `v`. Between two of them the head may hurry: it speeds up where the first
//! has ended and has braked again where the next begins, so it gets to `√(v² + a·gap)` at most. That takes a
//! controller that goes through the joints of a straight line at the slower of both feeds and brakes in time for
//! them; how far it sees ahead is the machine's ([`Limits::plans_ahead`], common practice).
//!
//! A gap is crossed at the marking speed where hurrying would ask more of the link or of the controller than they
//! carry, or where the controller would not see far enough ahead to brake.

use std::borrow::Cow;

use super::axis::{Axis, Speech};
use super::limits::Limits;
use super::lines::Run;
use super::load::MOVES_HELD;
use super::motion;
use super::number::thousandths;
use super::sight::Sight;

/// How the gap before a run is crossed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Crossing {
    /// At the marking speed.
    #[default]
    Paced,
    /// Faster: the head speeds up and brakes within the gap.
    Hurried,
    /// By a rapid from rest to rest, with a run-out before it and a run-up behind it.
    Skipped,
}

/// How the gaps of a raster are crossed. Lengths are whole micrometres.
#[derive(Debug, Clone, PartialEq)]
pub struct Gaps {
    /// The shortest gap that a rapid crosses sooner than the marking speed; `u32::MAX`: none is.
    pub skip: u32,
    /// How the head hurries; `None` where it never does.
    pub hurry: Option<Hurry>,
    /// How far the controller sees; `None` where that is not known, or of no meaning as the head stops at every gap.
    pub sight: Option<Sight>,
}

/// How the head hurries across a gap: the beam goes off, `after` is crossed at the marking speed, then the head
/// speeds up and brakes, `before` is crossed at the marking speed, and the beam goes on.
#[derive(Debug, Clone, PartialEq)]
pub struct Hurry {
    /// Feeds of a gap and of a mark, thousandths of a mm/min.
    feeds: [i64; 2],
    /// Their F words as `speech` says them.
    words: [String; 2],
    speech: Speech,
    /// Way after a mark at its speed, µm: a late beam is still on there.
    pub after: i32,
    /// Way before a mark at its speed, µm: an early beam is on there already, or the head's swing dies away.
    pub before: i32,
    /// The shortest gap that is worth it, µm.
    shortest: u32,
    /// The shortest gap that a rapid crosses sooner still, µm; `u32::MAX`: none is.
    skip: u32,
    sight: Sight,
    supply: Supply,
}

/// How long link and controller need for a gap and the run behind it, s; 0 where they set no limit.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Supply {
    paced: f64,
    hurried: f64,
    /// For a run-out, a rapid, a run-up and the run behind it, each.
    turn: [f64; 4],
    /// How long a run-out and a run-up take, s.
    ways: [f64; 2],
    /// What the controller holds in store, s: it is never further behind.
    store: f64,
}

/// What the gaps of a raster depend on.
pub(super) struct Ask<'a> {
    pub limits: &'a Limits,
    pub axis: &'a Axis,
    /// How it says its places where its words are longest.
    pub speech: Speech,
    /// Marking speed, mm/s, and its F word in thousandths of a mm/min.
    pub speed: f64,
    pub feed: i64,
    /// How far marks land along the motion, mm.
    pub lag: f64,
    /// Run-up and run-out, mm.
    pub run_up: f64,
    pub run_out: f64,
    /// Rapids where they save time; hurrying where the controller plans ahead.
    pub skips: bool,
    pub hurries: bool,
    /// Least and greatest value along the line, µm of the program.
    pub span: (i32, i32),
}

/// Speeds that differ by less are not worth the words, as a share.
const WORTH: f64 = 0.02;

fn um(mm: f64) -> u32 {
    (mm * 1000.0).ceil().clamp(0.0, f64::from(u32::MAX)) as u32
}

impl Gaps {
    pub(super) fn new(ask: &Ask<'_>) -> Gaps {
        let rapid = |crossing: &dyn Fn(f64) -> f64| {
            let ways = (ask.run_out, ask.run_up);
            let mm =
                motion::skip_from(crossing, ask.speed, ask.axis.rapid_speed, ask.axis.acceleration, ways);
            let least = (super::raster::um(ask.run_out) + super::raster::um(ask.run_up) + 1).unsigned_abs();
            mm.map_or(u32::MAX, |mm| super::raster::um(mm).unsigned_abs().max(least))
        };
        let rapid = |crossing: &dyn Fn(f64) -> f64| if ask.skips { rapid(crossing) } else { u32::MAX };
        let sight = Sight::new(ask);
        let hurry = sight.and_then(|sight| Hurry::new(ask, sight)).map(|mut hurry| {
            hurry.skip = rapid(&|mm| hurry.seconds(mm * 1000.0));
            hurry
        });
        Gaps { skip: rapid(&|mm| mm / ask.speed), hurry, sight }
    }

    /// How long a gap of so many µm takes between marks at `speed`, mm/s, where link and controller follow, s.
    pub(crate) fn seconds(&self, gap: f64, speed: f64) -> f64 {
        match &self.hurry {
            Some(hurry) if gap >= f64::from(hurry.shortest) => hurry.seconds(gap),
            _ => gap / 1000.0 / speed,
        }
    }

    /// Every gap is crossed by a rapid.
    pub(super) fn all_skipped() -> Gaps {
        Gaps { skip: 1, hurry: None, sight: None }
    }

    /// Settles how the gap before each run of a line is crossed. `behind` is how far link and controller are
    /// behind the head, s; it is carried from line to line. Whether the controller may not see far enough ahead to hold
    /// the marking speed, as far as it is known how far it sees.
    pub(super) fn settle(&self, runs: &mut [Run], behind: &mut f64) -> bool {
        if let Some(hurry) = &self.hurry {
            return hurry.settle(runs, self.skip, behind);
        }
        if self.skip < u32::MAX {
            for i in 1..runs.len() {
                if runs[i - 1].to.abs_diff(runs[i].from) >= self.skip {
                    runs[i].crossing = Crossing::Skipped;
                }
            }
        }
        self.sight.is_some_and(|sight| (0..runs.len()).any(|i| !sight.is_enough(runs, i, 2, (0, 0))))
    }
}

impl Hurry {
    fn new(ask: &Ask<'_>, sight: Sight) -> Option<Hurry> {
        let (v, a, top) = (ask.speed, ask.axis.acceleration, ask.axis.top_speed);
        // A head that is not yet at its speed where the first mark begins has none to keep. Half a micrometre is
        // rounding.
        let enough = ask.run_up.min(ask.run_out) + 0.0005 >= motion::ramp_mm(v, a);
        if !ask.hurries || !enough || top < v * (1.0 + WORTH) {
            return None;
        }
        let after = um(ask.lag.max(0.0)) as i32;
        let before = um((-ask.lag).max(0.0) + ask.limits.gap_settle) as i32;
        let worth = um(((1.0 + WORTH) * (1.0 + WORTH) - 1.0) * v * v / a);
        let feed = (top * 60_000.0).floor() as i64;
        let feeds = [feed, ask.feed];
        let words = f_words(feeds, &ask.speech);
        Some(Hurry {
            supply: Supply::new(ask, &words, (after > 0, before > 0)),
            feeds,
            words,
            speech: ask.speech,
            after,
            before,
            shortest: worth + after.unsigned_abs() + before.unsigned_abs(),
            skip: u32::MAX,
            sight,
        })
    }

    /// The F words of a gap and of a mark, on a line that is said so.
    pub(super) fn feeds_of(&self, speech: &Speech) -> Cow<'_, [String; 2]> {
        if *speech == self.speech {
            Cow::Borrowed(&self.words)
        } else {
            Cow::Owned(f_words(self.feeds, speech))
        }
    }

    /// Speed that is not exceeded in a gap, mm/s.
    pub fn top(&self) -> f64 {
        self.sight.top
    }

    /// How long the head needs to hurry across a gap of so many µm, s.
    pub fn seconds(&self, gap: f64) -> f64 {
        let paced = f64::from(self.after + self.before);
        let hurried = (gap - paced).max(0.0) / 1000.0;
        let Sight { speed, top, acceleration, .. } = self.sight;
        paced / 1000.0 / speed + motion::hurried(hurried, speed, top, acceleration)
    }

    /// Moves of a gap that is hurried across, and of the run behind it.
    fn moves(&self) -> u32 {
        2 + u32::from(self.after > 0) + u32::from(self.before > 0)
    }

    fn settle(&self, runs: &mut [Run], skip: u32, behind: &mut f64) -> bool {
        let (limited, speed) = (self.supply.hurried > 0.0, self.sight.speed);
        // A gap's moves count in what is seen ahead of all joints of so many runs before it.
        let before = self.sight.ahead as usize / 2 + 1;
        let (mut blind_to, mut blind) = (0, false);
        for i in 0..runs.len() {
            let coasts = (self.after.unsigned_abs(), self.before.unsigned_abs());
            if !self.sight.is_enough(runs, i, self.moves(), coasts) {
                blind_to = i + before;
                // Crossed at the marking speed, a gap is one move.
                blind |= !self.sight.is_enough(runs, i, 2, (0, 0));
            }
            let run = f64::from(runs[i].from.abs_diff(runs[i].to)) / 1000.0 / speed;
            if i == 0 {
                *behind = self.supply.behind_a_turn(*behind, run);
                continue;
            }
            let gap = runs[i - 1].to.abs_diff(runs[i].from);
            let seconds = if limited { self.seconds(f64::from(gap)) } else { 0.0 };
            let after = *behind + self.supply.hurried - seconds - run;
            runs[i].crossing = if gap >= self.skip {
                Crossing::Skipped
            } else if gap >= self.shortest && after <= 0.0 && i > blind_to {
                Crossing::Hurried
            } else if gap >= skip {
                Crossing::Skipped
            } else {
                Crossing::Paced
            };
            if limited {
                *behind = match runs[i].crossing {
                    Crossing::Hurried => 0.0,
                    Crossing::Skipped => self.supply.behind_a_turn(*behind, run),
                    Crossing::Paced => {
                        let way = f64::from(gap) / 1000.0 / speed;
                        (*behind + self.supply.paced - way - run).clamp(0.0, self.supply.store)
                    }
                };
            }
        }
        blind
    }
}

/// The F words of feeds.
fn f_words(feeds: [i64; 2], speech: &Speech) -> [String; 2] {
    feeds.map(|feed| format!("F{}", thousandths(speech.feed(feed))))
}

impl Supply {
    fn new(ask: &Ask<'_>, feeds: &[String; 2], coasts: (bool, bool)) -> Supply {
        /// The longest word of the axis across the lines: `A-1234.567`, with the end of its line.
        const ACROSS: u32 = 11;
        // The longest word that a place on the line can have, with the end of its line.
        let (low, high) = (ask.speech.place(ask.span.0), ask.speech.place(ask.span.1));
        let whole = |um: i32| (um.unsigned_abs() / 1000).max(1).ilog10() + 1;
        let place = 1 + u32::from(low < 0) + whole(low).max(whole(high)) + 4 + 1;
        let powers = 2 + 1 + ask.limits.full_scale_s.max(1).ilog10() + 1;
        let coasts = u32::from(coasts.0) + u32::from(coasts.1);
        let feeds = feeds.iter().map(String::len).sum::<usize>() as f64;
        let paced = f64::from(2 * place + powers);
        let hurried = f64::from((2 + coasts) * place + powers) + feeds;
        let (link, moves) = (ask.limits.link_bytes_per_s, ask.limits.moves_per_s);
        let per = |count: f64, rate: Option<f64>| rate.map_or(0.0, |rate| count / rate);
        let each = |bytes: u32| per(f64::from(bytes), link).max(per(1.0, moves));
        let way = |mm: f64| motion::from_rest(mm, ask.speed, ask.axis.acceleration);
        Supply {
            turn: [each(place + 2), each(2 + place + ACROSS), each(2 + place), each(place + powers)],
            ways: [way(ask.run_out), way(ask.run_up)],
            paced: per(paced, link).max(per(2.0, moves)),
            hurried: per(hurried, link).max(per(2.0 + f64::from(coasts), moves)),
            store: per(ask.limits.link_buffer_bytes, link).max(per(MOVES_HELD, moves)),
        }
    }

    /// How far link and controller are behind the head after a turn, or a rapid, and the run behind it, which takes so
    /// long. How long the rapid takes is left out: between neighbouring lines it is next to nothing.
    fn behind_a_turn(&self, behind: f64, run: f64) -> f64 {
        let passed = [self.ways[0], 0.0, self.ways[1], run];
        let moves = self.turn.iter().zip(passed);
        moves.fold(behind, |behind, (needs, passed)| (behind + needs - passed).clamp(0.0, self.store))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ask(limits: &Limits) -> Ask<'_> {
        Ask {
            limits,
            axis: &limits.x,
            speech: limits.x.speech(0.0),
            speed: 12.5,
            feed: 750_000,
            lag: 0.0,
            run_up: 0.7,
            run_out: 0.16,
            skips: true,
            hurries: true,
            span: (0, 99_000),
        }
    }

    fn line(places: &[(i32, i32)]) -> Vec<Run> {
        places.iter().map(|&(from, to)| Run { from, to, level: 9, crossing: Crossing::Paced }).collect()
    }

    fn crossings(gaps: &Gaps, places: &[(i32, i32)]) -> Vec<Crossing> {
        let (mut runs, mut behind) = (line(places), 0.0);
        gaps.settle(&mut runs, &mut behind);
        runs[1..].iter().map(|r| r.crossing).collect()
    }

    use Crossing::{Hurried, Paced, Skipped};

    #[test]
    fn only_a_controller_that_is_known_to_plan_ahead_hurries() {
        let limits = Limits::default();
        let gaps = Gaps::new(&ask(&limits));
        assert_eq!(gaps.hurry, None);
        assert_eq!(crossings(&gaps, &[(0, 100), (200, 300), (40_300, 40_400)]), [Paced, Skipped]);
        let limits = Limits { plans_ahead: Some(15), ..limits };
        let gaps = Gaps::new(&ask(&limits));
        // A rapid is no faster than the head in a hurry, so it is never worth the two stops.
        assert_eq!(crossings(&gaps, &[(0, 100), (200, 300), (40_300, 40_400)]), [Hurried, Hurried]);
        assert_eq!(crossings(&gaps, &[(0, 100), (105, 300)]), [Paced]);
        let slow = Ask { hurries: false, ..ask(&limits) };
        assert_eq!(Gaps::new(&slow).hurry, None);
        let short = Ask { run_up: 0.1, ..ask(&limits) };
        assert_eq!(Gaps::new(&short).hurry, None);
    }

    #[test]
    fn a_rapid_that_is_faster_still_takes_the_longest_gaps() {
        let mut limits = Limits { plans_ahead: Some(15), ..Limits::default() };
        limits.x.top_speed = 20.0;
        let gaps = Gaps::new(&ask(&limits));
        let hurry = gaps.hurry.as_ref().unwrap();
        let skipped = |g: f64| {
            let between = g - 0.16 - 0.7;
            12.5 / 500.0 + 0.86 / 12.5 + motion::rest_to_rest(between, 150.0, 500.0)
        };
        let from = f64::from(hurry.skip) / 1000.0;
        assert!(hurry.seconds(1000.0 * (from + 0.1)) > skipped(from + 0.1));
        assert!(hurry.seconds(1000.0 * (from - 0.1)) < skipped(from - 0.1));
        let far = hurry.skip as i32;
        assert_eq!(crossings(&gaps, &[(0, 100), (99 + far, 999_000)]), [Hurried]);
        assert_eq!(crossings(&gaps, &[(0, 100), (100 + far, 999_000)]), [Skipped]);
    }

    #[test]
    fn a_controller_that_sees_too_little_ahead_keeps_the_speed() {
        // From 12.5 mm/s the head needs 0.157 mm to stop; runs and gaps are 0.03 mm long.
        let fine: Vec<(i32, i32)> = (0..20).map(|i| (60 * i, 60 * i + 30)).collect();
        let hurried = |ahead| {
            let limits = Limits { plans_ahead: Some(ahead), link_bytes_per_s: None, ..Limits::default() };
            let gaps = Gaps::new(&ask(&limits));
            crossings(&gaps, &fine).iter().filter(|&&c| c == Hurried).count()
        };
        // Six moves are 0.15 mm for sure from the start of a run, seven are 0.18 mm.
        for ahead in [1, 2, 3, 6] {
            assert_eq!(hurried(ahead), 0);
        }
        assert_eq!(hurried(7), 19);
        assert_eq!(hurried(64), 19);
    }

    #[test]
    fn a_late_or_early_beam_keeps_its_way_at_the_marking_speed() {
        let limits = Limits { plans_ahead: Some(15), gap_settle: 0.05, ..Limits::default() };
        for (lag, after, before) in [(0.02, 20, 50), (-0.02, 0, 70), (0.0, 0, 50)] {
            let hurry = Gaps::new(&Ask { lag, ..ask(&limits) }).hurry.unwrap();
            assert_eq!((hurry.after, hurry.before), (after, before));
            let kept = f64::from(after + before);
            let want = kept / 12_500.0 + motion::hurried(1.0, 12.5, 150.0, 500.0);
            assert!((hurry.seconds(1000.0 + kept) - want).abs() < 1e-12);
        }
    }

    #[test]
    fn a_slow_link_and_a_slow_controller_keep_the_speed_where_marks_are_dense() {
        let dense: Vec<(i32, i32)> = (0..50).map(|i| (200 * i, 200 * i + 100)).collect();
        let wide: Vec<(i32, i32)> = (0..50).map(|i| (3000 * i, 3000 * i + 100)).collect();
        let plain = Limits { plans_ahead: Some(30), ..Limits::default() };
        // A gap and a run of 0.1 mm each take 16 ms at 12.5 mm/s, and 15 ms in a hurry.
        for (limits, fits) in [
            (plain.clone(), true),
            (Limits { link_bytes_per_s: Some(2000.0), ..plain.clone() }, false),
            (Limits { moves_per_s: Some(120.0), ..plain.clone() }, false),
            (Limits { moves_per_s: Some(140.0), ..plain }, true),
        ] {
            let gaps = Gaps::new(&ask(&limits));
            assert_eq!(crossings(&gaps, &dense).iter().all(|&c| c == Hurried), fits, "{limits:?}");
            assert!(crossings(&gaps, &wide).iter().all(|&c| c == Hurried), "{limits:?}");
        }
    }

    #[test]
    fn what_a_turn_takes_of_the_store_is_made_up_for_before_the_head_hurries() {
        // A turn and a run are 56 bytes, which a link of 300 bytes/s carries in 0.19 s, and take 0.1 s. A gap of 3 mm in
        // a hurry takes 0.11 s, in which its own 32 bytes come and no more.
        let limits = Limits { plans_ahead: Some(30), link_bytes_per_s: Some(300.0), ..Limits::default() };
        let hurried = |gap: i32| crossings(&Gaps::new(&ask(&limits)), &[(0, 100), (100 + gap, 200 + gap)]);
        assert_ne!(hurried(3000), [Hurried]);
        assert_eq!(hurried(20_000), [Hurried]);
    }
}
