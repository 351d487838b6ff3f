//! Cells: what each kind of wedge puts into its grid.

use super::contents::Contents;
use super::request::{DrawError, Request, rounded, sorted_speeds};
use crate::screen;
use crate::units::{Share, short};
use crate::wedge::target::{Dial, Pattern};

/// One cell of the grid: where it lies and what fills it.
pub(super) struct Cell {
    pub column: usize,
    pub row: usize,
    pub dial: Dial,
    pub pattern: Pattern,
    pub coverage: Share,
    pub screen: String,
    pub period: usize,
}

/// What is laid out and what fills it.
pub(super) struct CellPlan {
    pub contents: Contents,
    pub cells: Vec<Cell>,
}

pub(super) fn exposure_plan(request: &Request) -> CellPlan {
    let mut powers: Vec<Share> = request.powers.iter().copied().map(rounded).collect();
    powers.sort_by(|a, b| b.0.total_cmp(&a.0));
    powers.dedup();
    let speeds = sorted_speeds(request);
    let mut cells = Vec::new();
    for (row, &power) in powers.iter().enumerate() {
        for (column, &speed) in speeds.iter().enumerate() {
            cells.push(Cell {
                column,
                row,
                dial: Dial { power, speed, passes: request.chosen.passes },
                pattern: Pattern::Solid,
                coverage: Share(1.0),
                screen: String::new(),
                period: 0,
            });
        }
    }
    let passes = match request.chosen.passes {
        1 => String::new(),
        n => format!(" {n}X"),
    };
    CellPlan {
        contents: Contents {
            rows: powers.len(),
            columns: speeds.len(),
            // A patch of 7 mm holds 300 apertures of grain; a larger one only takes longer.
            most: Some(7.0),
            row_labels: powers.iter().map(|p| p.to_string()).collect(),
            column_labels: speeds.iter().map(|s| short(s.0, 1)).collect(),
            footer: format!("ROWS % COLUMNS mm/s{passes}"),
        },
        cells,
    }
}

pub(super) fn tone_plan(request: &Request) -> Result<CellPlan, DrawError> {
    let mut coverages: Vec<Share> = request.coverages.iter().copied().map(rounded).collect();
    coverages.sort_by(|a, b| a.0.total_cmp(&b.0));
    coverages.dedup();
    if coverages.len() < 3 || request.screens.is_empty() {
        return Err(DrawError::Asked("a tone wedge needs at least one screen and three coverages".into()));
    }
    let columns = coverages.len().max(8);
    let mut cells = Vec::new();
    let base = |column, row| Cell {
        column,
        row,
        dial: request.chosen,
        pattern: Pattern::Solid,
        coverage: Share(1.0),
        screen: String::new(),
        period: 0,
    };
    // Line pairs and dots get 60 % of the power: near half the mark their look tells the beam's width to 1 % to
    // 3 %; at a full mark's power it told 7 % across and 19 % along (covariance of the fit, 0.3 L* of error).
    let fine = Dial { power: rounded(Share(0.6 * request.chosen.power.0)), ..request.chosen };
    let mut row_labels = Vec::new();
    for (row, name) in request.screens.iter().enumerate() {
        if screen::find(name).is_none() {
            let known: Vec<&str> = screen::SCREENS.iter().map(|s| s.name).collect();
            return Err(DrawError::Asked(format!(
                "there is no screen '{name}'; there are {}",
                known.join(", ")
            )));
        }
        row_labels.push(
            name.chars().filter(char::is_ascii_alphanumeric).take(4).collect::<String>().to_uppercase(),
        );
        for (column, &coverage) in coverages.iter().enumerate() {
            let pattern = if coverage.0 >= 1.0 { Pattern::Solid } else { Pattern::Screen };
            cells.push(Cell { pattern, coverage, screen: name.clone(), ..base(column, row) });
        }
    }
    for (i, pattern) in [Pattern::LinesAlong, Pattern::LinesAcross].into_iter().enumerate() {
        let row = request.screens.len() + i;
        row_labels.push(if i == 0 { "ROWS".into() } else { "COLS".into() });
        for period in 1..=6 {
            cells.push(Cell { pattern, period, dial: fine, ..base(period - 1, row) });
        }
        // Isolated dots fill the rest of the two rows: 3 and 4 pitches apart, then 6 and 8.
        for (k, period) in [[3, 4], [6, 8]][i].into_iter().enumerate() {
            cells.push(Cell { pattern: Pattern::Dots, period, dial: fine, ..base(6 + k, row) });
        }
    }
    Ok(CellPlan {
        contents: Contents {
            rows: request.screens.len() + 2,
            columns,
            most: None,
            row_labels,
            column_labels: coverages.iter().map(|c| short(c.0 * 100.0, 1)).collect(),
            footer: format!("COVERAGE % AT {} {}", request.chosen.power, request.chosen.speed),
        },
        cells,
    })
}

pub(super) fn timing_plan(request: &Request) -> CellPlan {
    let speeds = sorted_speeds(request);
    CellPlan {
        contents: Contents {
            rows: speeds.len(),
            columns: 1,
            most: None,
            row_labels: speeds.iter().map(|s| short(s.0, 1)).collect(),
            column_labels: Vec::new(),
            footer: "TIMING COMBS mm/s".into(),
        },
        cells: Vec::new(),
    }
}

/// Column letter and row number.
pub(super) fn cell_name(column: usize, row: usize) -> String {
    let letter = char::from(b'A' + (column % 26) as u8);
    format!("{letter}{}", row + 1)
}
