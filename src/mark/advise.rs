//! Which distance between lines suits a beam and a machine, and how even a solid then comes out.

use super::exposure::stamped;
use super::response::{Burn, Response, Setting};
use crate::placement::Along;
use crate::scan::limits::Limits;
use crate::texts::text;
use crate::units::{JoulesPerMm2, Mm, MmPerS, short};

/// The advised pitch as a share of the beam's 1/e² diameter across (common practice): the dose then
/// ripples by 11 % and solids hold together, while neighbouring dots still stand apart.
pub const ADVISED_SHARE: f64 = 0.7;
/// Under this share of the mark on the lines, the mark between them shows as lines.
pub const LINES_SHOW: f64 = 0.9;

/// The dose across the lines of a wide solid, relative to its mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ripple {
    /// On a line.
    pub on: f64,
    /// Half way between two lines.
    pub between: f64,
}

impl Ripple {
    /// The ripple of lines under a beam whose 1/e² diameter across is `across` line pitches: the sum of
    /// the beam's profile over all lines that reach there.
    pub fn new(across: f64) -> Self {
        let far = (2.0 * across).ceil() as i64 + 2;
        let at = |y: f64| (-far..=far).map(|j| stamped(across, y - j as f64)).sum();
        Ripple { on: at(0.0), between: at(0.5) }
    }

    /// Greatest over least dose, 1 where it is flat.
    pub fn ratio(&self) -> f64 {
        self.on / self.between
    }
}

/// How the lines of a solid come out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LinePair {
    /// Dose on and between the lines.
    pub ripple: Ripple,
    /// Mark fraction on a line.
    pub mark_on: f64,
    /// Mark fraction half way between two lines.
    pub mark_between: f64,
}

impl LinePair {
    /// The lines of a solid under a burn.
    pub fn new(burn: &Burn) -> Self {
        let ripple = Ripple::new(burn.across);
        LinePair { ripple, mark_on: burn.mark(ripple.on), mark_between: burn.mark(ripple.between) }
    }

    /// Whether the lines will show in a solid: the mark between them is under 90 % of that on them.
    /// Judged on the rise alone, so that lines charred pale do not pass as even.
    pub fn apart(&self, burn: &Burn) -> bool {
        let rise = |e: f64| burn.response.rise_at(e * burn.x_solid);
        rise(self.ripple.between) < LINES_SHOW * rise(self.ripple.on)
    }
}

/// `Some` where the lines of a solid lie so far apart that they show.
pub fn lines_apart(burn: &Burn) -> Option<LinePair> {
    let lines = LinePair::new(burn);
    lines.apart(burn).then_some(lines)
}

/// The greatest pitch (mm) at which the lines no longer show, whole motor steps, at the same dose; `None`
/// where even one step is too far. For the remedy of lines that lie apart.
pub fn closest_even_pitch(
    beam_across: Mm,
    setting: &Setting,
    response: &Response,
    steps_per_mm: f64,
) -> Option<Mm> {
    let most = (setting.pitch_across.0 * steps_per_mm).floor().min(1e5) as u32;
    (1..=most).rev().map(|n| Mm(f64::from(n) / steps_per_mm)).find(|&pitch| {
        let beam = super::beam::Beam { along: beam_across, across: beam_across };
        lines_apart(&Burn::new(beam, Setting { pitch_across: pitch, ..*setting }, *response)).is_none()
    })
}

/// `Some(pitch over beam radius)` where lines lie closer than half the beam's radius across: nothing is
/// gained, time is lost, dose and heat stack up.
pub fn lines_crowded(beam_across: Mm, pitch: Mm) -> Option<f64> {
    let share = pitch.0 / (beam_across.0 / 2.0);
    (share < 0.5 - 1e-9).then_some(share)
}

/// The whole number of motor steps nearest to 0.7 of the beam across, in mm. A machine without a known
/// number of steps (0 or less, or not a number) gets 0.7 of the beam itself.
pub fn recommended_pitch(beam: Mm, steps_per_mm: f64) -> Mm {
    let wished = ADVISED_SHARE * beam.0;
    if !(steps_per_mm.is_finite() && steps_per_mm > 0.0) {
        return Mm(wished);
    }
    Mm((wished * steps_per_mm).round().max(1.0) / steps_per_mm)
}

/// What is asked of [`pitches`].
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// 1/e² beam diameters along and across.
    pub beam: super::beam::Beam,
    /// The coating.
    pub response: Response,
    /// Motor steps per mm across the lines.
    pub steps_per_mm: f64,
    /// Least and greatest pitch to list.
    pub range: (Mm, Mm),
    /// Size of the piece (along, across) for the time.
    pub size: (Mm, Mm),
    /// What moves the head, and along which axis the lines run; `None` leaves run-ups and turns out of the time.
    pub head: Option<(Limits, Along)>,
}

impl Question {
    /// Seconds for the size in so many passes, every line scanned in full, as the forecast of a program reckons them; the way
    /// from the program's zero and back to it is left out.
    fn seconds(&self, setting: &Setting) -> f64 {
        let ((along, across), pitch) = (self.size, setting.pitch_across.0);
        let lines = (across.0 / pitch).round().max(1.0) * f64::from(setting.passes);
        let speed = setting.speed.0;
        let (line, turn) = match &self.head {
            None => (along.0 / speed, 0.0),
            Some((limits, axis)) => limits.line_seconds(*axis, speed, (along.0, pitch)),
        };
        lines * line + (lines - 1.0) * turn
    }
}

/// One pitch and what it comes to.
#[derive(Debug, Clone, PartialEq)]
pub struct Advice {
    /// Distance between lines.
    pub pitch: Mm,
    /// Speed while marking.
    pub speed: MmPerS,
    /// Whole motor steps a line.
    pub steps: u32,
    /// Lines that fit into a beam's diameter across.
    pub lines_a_beam: f64,
    /// Overlap of neighbouring lines, share of the beam's diameter: `1 − pitch/beam`, negative where
    /// they lie clear of each other.
    pub overlap: f64,
    /// Dose and mark on and between lines.
    pub lines: LinePair,
    /// Mean dose of a solid.
    pub dose: JoulesPerMm2,
    /// Effective exposure of a solid's mean, J/mm².
    pub exposure: f64,
    /// Whether a solid is over-burnt on the lines (char of 5 % and more).
    pub over_burnt: bool,
    /// Seconds for the size asked about, every line scanned in full.
    pub seconds: f64,
    /// How much of a full mark a solid reaches, where it falls short of one.
    pub reached: Option<f64>,
    /// Lines will show in solids.
    pub lines_apart: bool,
    /// Closer than half the beam's radius.
    pub lines_crowded: bool,
    /// The one that is advised.
    pub recommended: bool,
    /// In words, with numbers: why it is advised, or what speaks against it; empty where nothing does.
    pub words: String,
}

impl Advice {
    /// Whether `prepare` would find something in a solid, be it of its lines or of its exposure.
    pub fn is_spoilt(&self) -> bool {
        self.lines_apart || self.lines_crowded || self.over_burnt || self.reached.is_some()
    }
}

/// All pitches of whole motor steps in the range (at most 200, the coarsest first), with their figures
/// at the setting that each starts from (`start`; its pitches are set here), and one advised: nearest to 0.7
/// of the beam across among those that neither show lines, nor crowd them, nor over-burn or under-burn; none where none is left.
pub fn pitches(question: &Question, start: &dyn Fn(Mm) -> Setting) -> Vec<Advice> {
    let q = question;
    let steps_per_mm = q.steps_per_mm;
    if !(steps_per_mm.is_finite() && steps_per_mm > 0.0) {
        return Vec::new();
    }
    let first = (q.range.0.0 * steps_per_mm - 1e-9).ceil().max(1.0) as u32;
    let last = (q.range.1.0 * steps_per_mm + 1e-9).floor().max(0.0) as u32;
    let mut list: Vec<Advice> =
        (first..=last).rev().take(200).map(|steps| candidate(q, steps, start)).collect();
    let fit = |a: &Advice| !a.is_spoilt();
    let best = nearest(q, &list, &fit);
    for (i, advice) in list.iter_mut().enumerate() {
        advice.recommended = Some(i) == best;
        advice.words = words(q, advice);
    }
    list
}

/// The pitch nearest to 0.7 of the beam across among those that are `fit`.
pub(super) fn nearest(q: &Question, list: &[Advice], fit: &dyn Fn(&Advice) -> bool) -> Option<usize> {
    let far = |i: usize| (list[i].pitch.0 / q.beam.across.0 - ADVISED_SHARE).abs();
    (0..list.len()).filter(|&i| fit(&list[i])).min_by(|&a, &b| far(a).total_cmp(&far(b)))
}

fn candidate(q: &Question, steps: u32, start: &dyn Fn(Mm) -> Setting) -> Advice {
    let pitch = Mm(f64::from(steps) / q.steps_per_mm);
    let setting = Setting { pitch_along: pitch, pitch_across: pitch, ..start(pitch) };
    let burn = Burn::new(q.beam, setting, q.response);
    let lines = LinePair::new(&burn);
    Advice {
        pitch,
        speed: setting.speed,
        steps,
        lines_a_beam: burn.across,
        overlap: 1.0 - pitch.0 / q.beam.across.0,
        lines,
        dose: setting.solid_dose(),
        exposure: burn.x_solid,
        over_burnt: lines.ripple.on >= burn.over_burn_from(),
        seconds: q.seconds(&setting),
        reached: burn.response.shortfall(burn.x_solid),
        lines_apart: lines.apart(&burn),
        lines_crowded: lines_crowded(q.beam.across, pitch).is_some(),
        recommended: false,
        words: String::new(),
    }
}

fn words(q: &Question, a: &Advice) -> String {
    let share = short(a.pitch.0 / q.beam.across.0, 2);
    let swing = short((a.lines.ripple.ratio() - 1.0) * 100.0, 1);
    let mut said = Vec::new();
    if a.recommended {
        let (steps, beam) = (a.steps, q.beam.across);
        said.push(if steps == 1 {
            text!("mark.advised.one", share, beam, swing)
        } else {
            text!("mark.advised.many", steps, share, beam, swing)
        });
    }
    if a.lines_apart {
        said.push(text!(
            "mark.lines-show",
            between = short(a.lines.mark_between * 100.0, 0),
            on = short(a.lines.mark_on * 100.0, 0)
        ));
    }
    if a.lines_crowded {
        said.push(text!("mark.lines-crowd", distance = short(a.pitch.0 / q.beam.across.0 * 2.0, 2)));
    }
    if a.over_burnt {
        said.push(text!("mark.over-burn", dose = a.dose));
    }
    if let Some(reached) = a.reached {
        said.push(text!("mark.under-burn", reached = short(reached * 100.0, 0)));
    }
    said.join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mark::beam::Beam;
    use crate::mark::response::tests::{POSTER_PAINT, setting};

    /// The advice at one speed for all pitches.
    fn pitches(question: &Question, watts: f64) -> Vec<Advice> {
        super::pitches(question, &|_| setting(watts, 304.0))
    }

    fn question() -> Question {
        Question {
            beam: Beam { along: Mm(0.12), across: Mm(0.12) },
            response: POSTER_PAINT,
            steps_per_mm: 80.0,
            range: (Mm(0.02), Mm(0.2)),
            size: (Mm(85.0), Mm(85.0)),
            head: None,
        }
    }

    #[test]
    fn ripple_agrees_with_the_poisson_sum() {
        // check values B08, B09, B10 (computed: closed form and brute force agree); pitch over radius w.
        let cases = [
            (0.5, 1.000000010701152),
            (0.75, 1.0006196364899043),
            (1.0, 1.0291873574070083),
            (1.25, 1.1857865161974381),
            (1.5, 1.574132326317366),
            (2.0, 3.6970063855988253),
        ];
        for (pitch, want) in cases {
            assert!((Ripple::new(2.0 / pitch).ratio() - want).abs() < 1e-6, "{pitch}");
        }
        for (pitch, want) in [
            (0.75, 1.000309722287338),
            (1.0, 1.0143837720622289),
            (1.5, 1.2234179681312234),
            (2.0, 1.5968397634118905),
        ] {
            assert!((Ripple::new(2.0 / pitch).on - want).abs() < 1e-6, "{pitch}");
        }
        assert!((Ripple::new(2.0 / 1.17741).ratio() - 1.1206529).abs() < 1e-5);
    }

    #[test]
    fn a_solid_is_hotter_than_a_line() {
        // check value B11 (computed): fill maximum over the peak of a single line.
        for (pitch, want) in [(0.5, 2.5066282880429056), (1.0, 1.2713415221890154), (1.5, 1.022218023536444)]
        {
            let across = 2.0 / pitch;
            assert!((Ripple::new(across).on / stamped(across, 0.0) - want).abs() < 1e-6, "{pitch}");
        }
    }

    #[test]
    fn the_advised_pitch_is_whole_steps_near_seven_tenths_of_the_beam() {
        // 0.7 * 0.12 mm * 80 steps/mm = 6.72 steps: 7, so 0.0875 mm.
        assert_eq!(recommended_pitch(Mm(0.12), 80.0), Mm(0.0875));
        assert_eq!(recommended_pitch(Mm(0.001), 80.0), Mm(1.0 / 80.0));
        assert_eq!(recommended_pitch(Mm(0.1), f64::NAN), Mm(0.06999999999999999));
        let list = pitches(&question(), 4.5);
        assert_eq!(list.iter().filter(|a| a.recommended).count(), 1);
        let best = list.iter().find(|a| a.recommended).unwrap();
        assert_eq!((best.steps, best.pitch), (7, Mm(0.0875)));
        assert!(best.words.contains("7 motor steps") && best.words.contains("ripples by"), "{}", best.words);
        // 85 mm at 0.0875 mm: 971 lines of 6.8 s.
        assert!((best.seconds - 971.0 * 6.8).abs() < 1e-6);
        assert_eq!((list[0].steps, list.last().unwrap().steps), (16, 2));
    }

    #[test]
    fn the_time_is_that_of_the_scan_with_its_run_ups_and_turns() {
        // check values M03, M05 (computed): 1017 lines of 85 mm and the turns between them.
        let limits = Limits { settle: 0.0, ..Limits::default() };
        let steps_per_mm = 304.0 / 25.4;
        let at = |limits: &Limits, passes| {
            let head = Some((limits.clone(), Along::X));
            let q = Question { steps_per_mm, range: (Mm(0.08), Mm(0.09)), head, ..question() };
            super::pitches(&q, &|_| Setting { speed: MmPerS(12.5), passes, ..setting(4.5, 304.0) })[0].seconds
        };
        let once = at(&limits, 1);
        assert!((once - 6992.717501634249).abs() < 1e-3, "{once}");
        // A tenth of a millimetre to settle at either end of a line; of two passes there is a turn between them too.
        let settled = at(&Limits { settle: 0.1, plans_ahead: None, ..limits.clone() }, 1);
        assert!((settled - once - 1017.0 * 0.2 / 12.5).abs() < 1e-3, "{settled}");
        let turn = 2.0 * (25.4f64 / 304.0 / 500.0).sqrt();
        assert!((at(&limits, 2) - 2.0 * once - turn).abs() < 1e-3);
    }

    #[test]
    fn wide_pitches_show_lines_and_narrow_ones_crowd_and_over_burn() {
        let list = pitches(&question(), 4.5);
        let of = |steps: u32| list.iter().find(|a| a.steps == steps).unwrap();
        assert!(of(16).lines_apart && !of(7).lines_apart && !of(7).lines_crowded);
        assert!(of(2).lines_crowded && of(2).over_burnt && !of(3).lines_crowded);
        assert!(of(16).words.contains("lines will show"));
        let burn = Burn::new(question().beam, setting(4.5, 180.0), POSTER_PAINT);
        let apart = lines_apart(&burn).unwrap();
        assert!(apart.mark_between < 0.9 * apart.mark_on);
        let even = closest_even_pitch(Mm(0.12), &setting(4.5, 180.0), &POSTER_PAINT, 80.0).unwrap();
        assert!(even.0 < 25.4 / 180.0 && (even.0 * 80.0).fract().abs() < 1e-9);
        assert_eq!(lines_crowded(Mm(0.12), Mm(0.03)), None);
        assert!((lines_crowded(Mm(0.12), Mm(0.024)).unwrap() - 0.4).abs() < 1e-12);
    }

    #[test]
    fn a_pitch_at_which_solids_stay_pale_is_not_advised() {
        // A little under the exposure of a full mark: 93 % and the like.
        let list = pitches(&question(), 2.9);
        let pale: Vec<&Advice> = list.iter().filter(|a| a.reached.is_some()).collect();
        assert!(!pale.is_empty());
        for a in pale {
            assert!(!a.recommended && a.words.contains("solids under-burn: they reach"), "{}", a.words);
        }
        assert!(!POSTER_PAINT.chars_before_full());
        assert!(Response { x_char: 1.2 * POSTER_PAINT.x_half, ..POSTER_PAINT }.chars_before_full());
        assert!(!Response { x_char: f64::INFINITY, ..POSTER_PAINT }.chars_before_full());
    }

    #[test]
    fn where_every_pitch_over_burns_none_is_advised_and_the_words_say_why() {
        let list = pitches(&question(), 40.0);
        for a in &list {
            assert!(!a.recommended && a.over_burnt && a.words.contains("over-burn"), "{}", a.words);
        }
        assert!(pitches(&Question { steps_per_mm: 0.0, ..question() }, 4.5).is_empty());
    }
}
