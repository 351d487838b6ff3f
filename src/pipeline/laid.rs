//! Laid: what is laid down for a wanted mark, dots by a screen or power by levels.

use super::error::PipelineError;
use super::shares::Shares;
use super::wanted::Wanted;
use crate::art::Kind;
use crate::job::Plan;
use crate::job::words::{DotGain, ToneBy};
use crate::mark::LineWork;
use crate::placement::Placement;
use crate::plane::{Dots, Tone};
use crate::progress::Progress;
use crate::scan::{grey, lines};
use crate::screen::{Screen, Wants};
use crate::tone::dot_gain;

/// What is laid down.
#[derive(Debug, Clone)]
pub struct Laid {
    /// The dots, masked; where tones are made by power, all places where the beam is on.
    pub dots: Dots,
    /// The dot-gain curve: coverage and the mark it gives; empty where none was used.
    pub gain: Vec<(f64, f64)>,
    /// The ink of a drawing, to be held against the forecast: only drawings have strokes that may be too thin.
    pub ink: Option<LineWork>,
    /// The powers, where tones are made by them.
    pub powers: Option<Powers>,
}

/// Tones made by power.
#[derive(Debug, Clone)]
pub struct Powers {
    /// The wanted mark of each place.
    pub tone: Tone,
    /// The S word of each level, for wanted marks spread evenly from 0 to 1.
    pub levels: Vec<u32>,
    /// The S word of a solid.
    pub full: u32,
}

impl Powers {
    /// What is scanned: powers where there are any, else dots.
    pub fn marking<'a>(powers: Option<&'a Powers>, dots: &'a Dots) -> lines::Marking<'a> {
        match powers {
            Some(p) => lines::Marking::Grey { tone: &p.tone, levels: &p.levels },
            None => lines::Marking::Dots(dots),
        }
    }
}

impl Laid {
    /// What is scanned.
    pub fn marking(&self) -> lines::Marking<'_> {
        Powers::marking(self.powers.as_ref(), &self.dots)
    }

    /// Dots that something else made.
    pub fn given(dots: Dots) -> Laid {
        Laid { dots, gain: Vec::new(), ink: None, powers: None }
    }

    /// Lays down what is wanted, as the plan says.
    ///
    /// # Errors
    /// See [`PipelineError`]; [`PipelineError::Stopped`] where the person asked for it.
    pub fn new(plan: &Plan, mut wanted: Wanted, progress: &dyn Progress) -> Result<Laid, PipelineError> {
        if plan.scan.tone_by == ToneBy::Power {
            wanted.mask(plan);
            return Ok(Laid::by_power(plan, wanted.tone));
        }
        let placement = &wanted.placement;
        let allowed = |y| placement.rect.allowed(&plan.blank, y);
        let ink = wanted.kind.is_drawn().then(|| LineWork::new(&wanted.tone, allowed));
        let (dots, gain) = dots(plan, plan.dots.screen, wanted.kind, wanted.tone, placement, progress)?;
        Ok(Laid { dots, gain, ink, powers: None })
    }

    /// The beam is on wherever anything is wanted, at the power that gives it.
    fn by_power(plan: &Plan, tone: Tone) -> Laid {
        let full = (plan.process.power.value.0 * plan.machine.program.full_scale_s).round().max(1.0) as u32;
        let levels = grey::levels(&plan.burn, full);
        let mut dots = Dots::off(tone.width(), tone.height());
        for y in 0..tone.height() {
            for (x, &wanted) in tone.row(y).iter().enumerate() {
                if lines::level_of(&levels, wanted) > 0 {
                    dots.set(x, y, true);
                }
            }
        }
        Laid { dots, gain: Vec::new(), ink: None, powers: Some(Powers { tone, levels, full }) }
    }
}

/// Wanted mark of art read as `kind` to masked dots by a screen; also the dot-gain curve that was used.
///
/// # Errors
/// See [`PipelineError`]; [`PipelineError::Stopped`] where the person asked for it.
pub fn dots(
    plan: &Plan,
    screen: &Screen,
    kind: Kind,
    tone: Tone,
    placement: &Placement,
    progress: &dyn Progress,
) -> Result<(Dots, Vec<(f64, f64)>), PipelineError> {
    let mut curve = None;
    if screen.wants == Wants::Coverage {
        progress.begin("dot-gain curve", Shares::of(screen).gain)?;
        curve = gain_curve(plan, screen)?;
    }
    let mut tone = tone;
    if let Some(c) = &curve {
        tone = c.apply(tone);
    }
    if plan.tone.ceiling.0 < 1.0 {
        tone = dot_gain::ceiling(tone, plan.tone.ceiling.0);
    }
    progress.begin("dots", Shares::of(screen).dots)?;
    let mut dots = (screen.make)(&tone, &plan.options(kind), progress);
    progress.go_on(0)?;
    mask(&mut dots, plan, placement);
    let points = curve
        .filter(|c| c.source != dot_gain::GainSource::None)
        .map(|c| c.coverage.iter().zip(&c.mark).map(|(&c, &m)| (f64::from(c), f64::from(m))).collect());
    Ok((dots, points.unwrap_or_default()))
}

/// The dot-gain curve that the plan asks for.
fn gain_curve(plan: &Plan, screen: &Screen) -> Result<Option<dot_gain::GainCurve>, PipelineError> {
    match &plan.tone.dot_gain {
        DotGain::Off => Ok(None),
        DotGain::File(_) => Ok(plan.tone.curve.clone()),
        DotGain::Forecast => Ok(Some(match plan.measured_curve(screen.name) {
            Some(c) => dot_gain::GainCurve::from_points(&c.coverage, &c.mark)?,
            None => dot_gain::forecast(screen, &plan.dots.options),
        })),
    }
}

/// Removes every dot that is not wholly on the blank less its margin.
pub fn mask(dots: &mut Dots, plan: &Plan, placement: &Placement) {
    let width = dots.width();
    for y in 0..dots.height() {
        let keep = placement.rect.allowed(&plan.blank, y);
        if keep != (0..width) {
            dots.keep_only(y, keep);
        }
    }
}
