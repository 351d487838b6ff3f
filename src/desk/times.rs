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
        // A share in whole percent that it keeps within.
        let share = (100.0 * rung.time - 1e-6).ceil().clamp(1.0, 100.0);
        json!({
            "seconds": took.total_s * rung.time / own.time,
            "planned_db": likely.planned_db + own.lost_db - rung.lost_db,
            "kind": if i == 0 { "all" } else if i == last { "least" } else { "between" },
            "chosen": chosen,
            "change": if chosen { json!({}) } else { json!({ "burn.time": format!("{share}%") }) },
        })
    });
    Ok(told.collect())
}
