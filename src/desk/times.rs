//! Times: what the burn of a piece can take, against its likeness, for a person to pick from.

use serde_json::{Value, json};

use super::exact::Exact;
use super::says::Says;
use crate::pipeline;

/// The burn times of a run, the longest first: estimates that are held against the run's own, which is one of them; an
/// empty list where there is nothing to pick.
///
/// # Errors
/// Only when memory runs out.
pub(super) fn times(exact: &Exact) -> Result<Value, Says> {
    let (plan, stages) = (&exact.piece.plan, &exact.outcome.stages);
    let (Some(took), Some(likely), Some(wanted)) =
        (&exact.outcome.report.times, stages.likely, exact.wanted())
    else {
        return Ok(json!([]));
    };
    let rungs = pipeline::times(plan, exact.piece.kind(), wanted.clone(), &stages.placement, &stages.pace)?;
    let Some(own) = rungs.iter().find(|r| r.barred == stages.pace.barred) else { return Ok(json!([])) };
    let last = rungs.len() - 1;
    let told = rungs.iter().enumerate().map(|(i, rung)| {
        let chosen = rung == own;
        let (seconds, planned_db) = rung.beside(own, (took.total_s, likely.planned_db));
        json!({
            "seconds": seconds,
            "planned_db": planned_db,
            "kind": match i {
                0 => "all",
                _ if rung.lines_show() => "lines",
                _ if i == last => "least",
                _ => "between",
            },
            "chosen": chosen,
            "change": if chosen { json!({}) } else { json!({ "burn.time": pipeline::asking_for(rung.time) }) },
        })
    });
    Ok(told.collect())
}
