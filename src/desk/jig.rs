//! Jig: how many blanks lie side by side on the bed of the machine.

use std::path::Path;

use serde_json::Value;

use super::home::{Home, Name};
use super::shelf::{self, Kind};
use crate::cli::options::BlankOptions;
use crate::job::Plan;
use crate::order::{Order, Table};
use crate::placement::Along;

/// Between blanks where nothing was asked for, mm.
const GAP: f64 = 5.0;

/// The plan of a piece of the tray, on the blank that the tray names; nothing where it cannot be settled.
pub(super) fn plan(order: &Order, folder: &Path) -> Option<Plan> {
    let mut job = order.piece.clone();
    if let Some(name) = order.blank.as_ref().filter(|b| !b.contains('{')) {
        let named = BlankOptions { blank: Some(name.clone()), ..BlankOptions::default() }.asked().ok()?;
        job.blank = job.blank.over(named);
    }
    job.seen_beside(folder);
    Plan::of(&job).ok()
}

/// Spots for so many pieces, as many as the bed has room for.
pub(super) fn grid(plan: &Plan, order: &Order, count: usize) -> String {
    let (shape, gap) = (plan.blank.shape, order.tray.gap.map_or(GAP, |gap| gap.0));
    let fit = |along: Along, side: f64| {
        let room = plan.machine.axes(along).0.travel - gap;
        ((room / (side + gap)).floor() as usize).clamp(1, 100)
    };
    let columns = fit(Along::X, shape.width()).min(count.max(1));
    let rows = fit(Along::Y, shape.height()).min(count.div_ceil(columns).max(1));
    format!("{columns}x{rows}")
}

/// What is asked of a tray, with room for all of its pieces where nobody says how many lie side by side, or where what was
/// found for the blank, the machine and the gap of before still stands there.
pub(super) fn refitted(home: &Home, name: &Name, asked: Value) -> Value {
    match fitting(home, name, &asked) {
        Some(grid) => with_grid(asked, grid),
        None => asked,
    }
}

/// What is asked with that grid.
pub(super) fn with_grid(mut asked: Value, grid: String) -> Value {
    asked["tray"]["grid"] = grid.into();
    asked
}

fn fitting(home: &Home, name: &Name, asked: &Value) -> Option<String> {
    let kept = shelf::read(home, name).ok().filter(|kept| kept.kind == Kind::Tray)?;
    let now: Order = serde_json::from_value(asked.clone()).ok()?;
    let folder = kept.path.parent()?;
    if now.tray.outlines.is_some() || !now.tray.spots.is_empty() {
        return None;
    }
    let table = home.within(&Order::beside(&kept.path, now.table.as_deref()?)).ok()?;
    let count = Table::read(&table).ok()?.rows.len();
    if let Some(grid) = &now.tray.grid {
        let before: Order = toml::from_str(&kept.text).ok()?;
        let found =
            before.tray.grid.as_ref() == Some(grid) && grid_of(&before, folder, count).as_ref() == Some(grid);
        if !found {
            return None;
        }
    }
    grid_of(&now, folder, count)
}

fn grid_of(order: &Order, folder: &Path, count: usize) -> Option<String> {
    Some(grid(&plan(order, folder)?, order, count))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn order(text: &str) -> Order {
        toml::from_str(text).unwrap()
    }

    #[test]
    fn the_blank_that_the_tray_names_has_room() {
        let of = |text: &str| grid_of(&order(text), Path::new(""), 40).unwrap();
        let tile = of("blank = 'glass-tile-100'");
        assert_eq!(tile, of(""), "the usual one");
        assert_ne!(tile, of("blank = 'metal-tag-60'"));
        // What the piece says of its own blank stands before that, and the gap counts.
        assert_eq!(tile, of("blank = 'metal-tag-60'\n[piece.blank]\nshape = 'rect:100x100mm'"));
        assert_ne!(of("blank = 'metal-tag-60'"), of("blank = 'metal-tag-60'\n[tray]\ngap = '40mm'"));
    }
}
