//! Again: the job carried through once more with one change, up to its dots, for the findings to try.

use std::cell::OnceCell;

use super::laid::dots;
use super::wanted::{Wanted, wanted};
use crate::art::Art;
use crate::findings::change::Change;
use crate::findings::trial::Remade;
use crate::job::Plan;
use crate::plane::Dots;
use crate::progress::{Progress, Within};

/// What the job's dots are made from.
#[derive(Clone, Copy)]
pub(super) enum Source<'a> {
    /// Art, which can be drawn and screened anew.
    Art(&'a Art),
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
    /// The wanted mark, drawn again only once, and only when there is anything to mend.
    drawn: OnceCell<Option<Wanted>>,
}

impl<'a> Again<'a> {
    /// A job with its source.
    pub fn new(plan: &'a Plan, source: Source<'a>, progress: &'a dyn Progress) -> Self {
        Again { plan, source, progress: Within(progress), drawn: OnceCell::new() }
    }

    /// The same job with a change; `None` where it cannot be carried through or is to stop.
    pub fn with(&self, change: Change) -> Option<Remade> {
        let plan = self.plan.with(change).ok()?;
        let remade = |dots| Some(Remade { dots, grid: plan.grid, burn: plan.burn });
        let art = match (self.source, change) {
            (Source::Art(art), _) => art,
            (Source::Dots(dots), Change::Power(_) | Change::Speed(_)) => return remade(dots.clone()),
            (Source::Dots(_), Change::Pitch(_) | Change::Ceiling(_)) => return None,
        };
        let wanted = self.wanted(&plan, art, change)?;
        let (dots, _) =
            dots(&plan, plan.dots.screen, wanted.kind, wanted.tone, &wanted.placement, &self.progress)
                .ok()?;
        remade(dots)
    }

    /// The wanted mark of `plan`, which is the job with a change: only another pitch needs it drawn anew. `None` where it
    /// cannot be drawn or is to stop.
    pub fn wanted(&self, plan: &Plan, art: &Art, change: Change) -> Option<Wanted> {
        match change {
            Change::Pitch(_) => wanted(plan, art, &self.progress).ok(),
            Change::Power(_) | Change::Speed(_) | Change::Ceiling(_) => {
                self.drawn.get_or_init(|| wanted(self.plan, art, &self.progress).ok()).clone()
            }
        }
    }
}
