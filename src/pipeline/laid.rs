//! Laid: what is laid down for a wanted mark, dots by a screen or power by levels.

use super::error::PipelineError;
use super::pace::{Pace, Work};
use super::shares::Shares;
use super::wanted::Wanted;
use crate::art::Kind;
use crate::job::Plan;
use crate::job::process::ToneCurve;
use crate::job::words::{DotGain, ToneBy};
use crate::mark::{Forecast, LineWork};
use crate::placement::Placement;
use crate::plane::{Dots, Tone};
use crate::progress::{Progress, Silent};
use crate::scan::{grey, lines};
use crate::screen::threshold::THRESHOLD;
use crate::screen::{Screen, Wants};
use crate::texts::text;
use crate::tone::dot_gain::{self, GainCurve, GainSource, MeasuredStep};

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
    /// What was settled for the sake of time.
    pub pace: Pace,
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
        Laid { dots, gain: Vec::new(), ink: None, powers: None, pace: Pace::ALL_LINES }
    }

    /// Lays down what is wanted, as the plan says; `exact` where all of it is drawn at the dots themselves.
    ///
    /// # Errors
    /// See [`PipelineError`]; [`PipelineError::Stopped`] where the person asked for it.
    pub fn new(
        plan: &Plan,
        (mut wanted, exact): (Wanted, bool),
        progress: &dyn Progress,
    ) -> Result<Laid, PipelineError> {
        if plan.scan.tone_by == ToneBy::Power {
            wanted.mask(plan);
            return Ok(Laid::by_power(plan, wanted.tone));
        }
        let placement = &wanted.placement;
        let allowed = |y| placement.rect.allowed(&plan.blank, y);
        let ink = wanted.kind.is_drawn().then(|| LineWork::new(&wanted.tone, allowed));
        let ink = if exact { ink.map(|ink| ink.with_hairlines(&wanted.tone, allowed)) } else { ink };
        let (dots, gain, pace) =
            paced(plan, plan.dots.screen, wanted.kind, wanted.tone, (placement, None), progress)?;
        Ok(Laid { dots, gain, ink, powers: None, pace })
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
        let powers = Some(Powers { tone, levels, full });
        Laid { dots, gain: Vec::new(), ink: None, powers, pace: Pace::ALL_LINES }
    }
}

/// Wanted mark of art read as `kind` to masked dots by a screen; also the dot-gain curve that was used.
///
/// # Errors
/// See [`PipelineError`]; [`PipelineError::Stopped`] where the person asked for it.
pub fn dots(
    plan: &Plan,
    screen: &'static Screen,
    kind: Kind,
    tone: Tone,
    placement: &Placement,
    progress: &dyn Progress,
) -> Result<(Dots, Vec<(f64, f64)>), PipelineError> {
    paced(plan, screen, kind, tone, (placement, None), progress).map(|(dots, gain, _)| (dots, gain))
}

/// Dots with their dot-gain curve.
type Paced = (Dots, Vec<(f64, f64)>, Pace);

/// The same with what was settled for the sake of time, or with as much `barred` as is given.
pub(super) fn paced(
    plan: &Plan,
    screen: &'static Screen,
    kind: Kind,
    tone: Tone,
    (placement, barred): (&Placement, Option<f32>),
    progress: &dyn Progress,
) -> Result<Paced, PipelineError> {
    let (tone, curve) = asked(plan, screen, tone, progress)?;
    progress.begin(text!("pipeline.stage.dots"), Shares::of(screen).dots)?;
    let options = plan.options(kind);
    let work = Work { plan, screen, options: &options, tone: &tone, placement };
    let (dots, pace) = match barred {
        Some(barred) => (work.dots(barred, progress)?, Pace { barred, ..Pace::ALL_LINES }),
        None => work.paced(kind, progress)?,
    };
    let points = curve
        .filter(|c| c.source != GainSource::None)
        .map(|c| c.coverage.iter().zip(&c.mark).map(|(&c, &m)| (f64::from(c), f64::from(m))).collect());
    Ok((dots, points.unwrap_or_default(), pace))
}

/// What a wanted mark asks of a screen, and the dot-gain curve by which it does.
fn asked(
    plan: &Plan,
    screen: &'static Screen,
    mut tone: Tone,
    progress: &dyn Progress,
) -> Result<(Tone, Option<GainCurve>), PipelineError> {
    let mut curve = None;
    if screen.wants == Wants::Coverage {
        progress.begin(text!("pipeline.stage.dot-gain"), Shares::of(screen).gain)?;
        curve = gain_curve(plan, screen)?;
    } else if plan.tone.dot_gain == DotGain::Forecast {
        curve = plan.measured_curve(screen.name).map(|c| marks_kept(plan, c));
    }
    if let Some(c) = &curve {
        tone = c.apply(tone);
    }
    if plan.tone.ceiling.0 < 1.0 {
        tone = dot_gain::ceiling(tone, plan.tone.ceiling.0);
    }
    Ok((tone, curve))
}

/// Burn times that a photo can be had for, as windows of its wanted mark tell, from the longest to the least; that with which
/// its dots were `laid` is among them. None where the screen does not search or no line can be spared.
///
/// # Errors
/// See [`PipelineError`].
pub fn times(
    plan: &Plan,
    kind: Kind,
    tone: Tone,
    placement: &Placement,
    laid: &Pace,
) -> Result<Vec<Pace>, PipelineError> {
    if kind != Kind::Photo {
        return Ok(Vec::new());
    }
    worked(plan, kind, tone, placement, |work| work.rungs(Some(laid.barred)))
}

/// The time of the burn by the plan's screen as a share of that of other dots, see [`Work::against`].
pub(super) fn against(
    plan: &Plan,
    kind: Kind,
    tone: Tone,
    placement: &Placement,
    (others, times): (&Dots, usize),
) -> Result<f64, PipelineError> {
    worked(plan, kind, tone, placement, |work| work.against(kind, others, times))
}

fn worked<T>(
    plan: &Plan,
    kind: Kind,
    tone: Tone,
    placement: &Placement,
    of: impl FnOnce(Work) -> Result<T, PipelineError>,
) -> Result<T, PipelineError> {
    let screen = plan.dots.screen;
    let (tone, _) = asked(plan, screen, tone, &Silent)?;
    of(Work { plan, screen, options: &plan.options(kind), tone: &tone, placement })
}

/// The dot-gain curve that the plan asks for.
fn gain_curve(plan: &Plan, screen: &Screen) -> Result<Option<GainCurve>, PipelineError> {
    match &plan.tone.dot_gain {
        DotGain::Off => Ok(None),
        DotGain::File(_) => Ok(plan.tone.curve.clone()),
        DotGain::Forecast => Ok(Some(forecast_or_measured(plan, screen)?)),
    }
}

/// The forecast curve, moved to where a tone wedge measured it. A screen that does not keep tones has no forecast: its
/// measured curve stands alone.
fn forecast_or_measured(plan: &Plan, screen: &Screen) -> Result<GainCurve, PipelineError> {
    let forecast = dot_gain::forecast(screen, &plan.dots.options);
    let Some(c) = plan.measured_curve(screen.name) else { return Ok(forecast) };
    let solid = solid_of(plan);
    if forecast.source == GainSource::None {
        let marks: Vec<f64> = steps_of(c).iter().map(|s| s.mark * solid).collect();
        return Ok(GainCurve::from_points(&c.coverage, &marks)?);
    }
    Ok(forecast.moved_to(&steps_of(c), solid))
}

/// What a screen that sees to the dot gain itself was measured to make of the marks that it was given.
fn marks_kept(plan: &Plan, curve: &ToneCurve) -> GainCurve {
    let solid = solid_of(plan);
    let mut steps = steps_of(curve);
    steps.iter_mut().for_each(|s| s.coverage *= solid);
    GainCurve::own(solid).moved_to(&steps, solid)
}

/// Mean over the dot rectangle of what is wanted of a photo, as far as a solid reaches it: what the dots' mean mark should
/// be. `None` where it is meant to be another: strokes grow by the beam, a ceiling holds tones back, power makes tones
/// without dots, and a threshold keeps none.
pub fn reachable(plan: &Plan, wanted: &Wanted) -> Option<f64> {
    let dots = plan.scan.tone_by == ToneBy::Dots && plan.tone.ceiling.0 >= 1.0;
    let keeps = plan.dots.screen.name != THRESHOLD.name;
    (wanted.kind == Kind::Photo && dots && keeps)
        .then(|| wanted.mean_up_to(plan, Forecast::new(&plan.burn).solid().mark))
}

/// The mark of a solid, as a share of a full mark.
fn solid_of(plan: &Plan) -> f64 {
    f64::from(Forecast::new(&plan.burn).solid().mark)
}

/// The steps of a measured curve, as shares of its solid.
fn steps_of(curve: &ToneCurve) -> Vec<MeasuredStep> {
    let end = curve.mark.last().copied().unwrap_or(1.0).max(1e-6);
    let points = curve.coverage.iter().zip(&curve.mark).enumerate();
    let sigma = |i: usize| curve.sigma.get(i).copied().unwrap_or(0.0);
    points
        .map(|(i, (&coverage, &mark))| MeasuredStep { coverage, mark: mark / end, sigma: sigma(i) })
        .collect()
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
