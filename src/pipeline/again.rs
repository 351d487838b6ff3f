//! Again: the job carried through once more with one change, up to its dots, for the findings to try.

use std::cell::OnceCell;
use std::ops::Range;

use super::laid::paced;
use super::shown::{Shown, wanted};
use super::wanted::Wanted;
use crate::findings::change::Change;
use crate::findings::remedies::window;
use crate::findings::trial::Remade;
use crate::job::Plan;
use crate::plane::Dots;
use crate::progress::{Progress, Within};

/// Jobs of up to this many dots are tried whole: they are worked through in a blink.
const TRIED_WHOLE: usize = 8_000_000;
/// Side of the window of larger ones, dots.
const WINDOW: usize = 1024;

/// What the job's dots are made from.
#[derive(Clone, Copy)]
pub(super) enum Source<'a> {
    /// Art, which can be drawn and screened anew.
    Shown(Shown<'a>),
    /// Dots that something else made: another pitch or ceiling needs the art, which is not at hand.
    Dots(&'a Dots),
}

/// A job that can be carried through again.
pub(super) struct Again<'a> {
    /// The job.
    pub plan: &'a Plan,
    /// What its dots are made from.
    pub source: Source<'a>,
    /// Told of the work, which is within another's.
    pub progress: Within<'a>,
    /// Where the burn is at its worst, as shares of the dots' width and height.
    worst: (f64, f64),
    /// As much as the job's dots are barred.
    barred: f32,
    /// The wanted mark, drawn again only once, and only when there is anything to mend.
    drawn: OnceCell<Option<Wanted>>,
}

impl<'a> Again<'a> {
    /// A job with its source.
    pub fn new(
        plan: &'a Plan,
        source: Source<'a>,
        (worst, barred): ((f64, f64), f32),
        progress: &'a dyn Progress,
    ) -> Self {
        Again { plan, source, progress: Within(progress), worst, barred, drawn: OnceCell::new() }
    }

    /// The same job with a change; of a large one only a window around the place where the burn is at its worst, for there
    /// a change must help first. `None` where it cannot be carried through or is to stop.
    pub fn with(&self, change: Change) -> Option<Remade> {
        let plan = self.plan.with(change).ok()?;
        let remade = |dots| Some(Remade { dots, grid: plan.grid, burn: plan.burn });
        let shown = match self.source {
            Source::Shown(shown) => shown,
            Source::Dots(dots) if change.keeps_dots() => {
                let window = self.window(dots.width(), dots.height());
                return remade(
                    window.map_or_else(|| dots.clone(), |(columns, rows)| dots.part(columns, rows)),
                );
            }
            Source::Dots(_) => return None,
        };
        let mut wanted = self.wanted(&plan, shown)?;
        if let Some((columns, rows)) = self.window(wanted.tone.width(), wanted.tone.height()) {
            wanted = wanted.part(columns, rows);
        }
        let as_laid = (&wanted.placement, Some(self.barred));
        let (dots, ..) =
            paced(&plan, plan.dots.screen, wanted.kind, wanted.tone, as_laid, &self.progress).ok()?;
        remade(dots)
    }

    /// Whether the job is so large that changes are tried on a part of it first.
    pub fn is_large(&self, dots: &Dots) -> bool {
        dots.width() * dots.height() > TRIED_WHOLE
    }

    /// The window in which a change is tried; `None` for all of it.
    fn window(&self, width: usize, height: usize) -> Option<(Range<usize>, Range<usize>)> {
        let at = |share: f64, of: usize| ((share * of as f64) as usize).min(of.saturating_sub(1));
        let worst = (at(self.worst.0, width), at(self.worst.1, height));
        (width * height > TRIED_WHOLE).then(|| window((width, height), worst, WINDOW))
    }

    /// Whether `plan`, which is the job with a change, has its dots elsewhere: at another pitch, or where another speed lets
    /// the beam switch more or less finely; or other tones to make of them.
    pub fn moves_dots(&self, plan: &Plan) -> bool {
        plan.grid != self.plan.grid || plan.tone.shape != self.plan.tone.shape
    }

    /// The wanted mark of `plan`, which is the job with a change: only dots that lie elsewhere, or have other tones, need it
    /// drawn anew. `None` where it cannot be drawn or is to stop.
    pub fn wanted(&self, plan: &Plan, shown: Shown<'_>) -> Option<Wanted> {
        if self.moves_dots(plan) {
            return wanted(plan, shown, &self.progress).ok();
        }
        self.drawn.get_or_init(|| wanted(self.plan, shown, &self.progress).ok()).clone()
    }
}
