//! What a changed dot weighs on the cells around it, told in a few sums.
//!
//! The marks that a toggle adds to 21 cells are each weighed on some thousand cells around. Weights change little from cell
//! to cell and are the same above as below, so the sum over the 21 is put together from fewer fields: those that are the same
//! above and below and those that change sign, each kind orthogonal (Gram and Schmidt's method, the largest rest first),
//! until what is left out is under [`LEFT_OUT`] of the whole. Only one half of the rows is kept and worked out.
//!
//! A tile's correlation is worked out afresh at each of its turns, so what is left out does not add up: with a hundredth or
//! with a thousandth left out, four photos score the same within 0.03 dB, and a search that told each cell by itself took a
//! fifth longer.

use super::autocorrelation::{Autocorrelation, NARROW, REACH, TOLD};
use super::mark_table::{AFFECTED, AFFECTED_CELLS, Affected};

/// Rows from the dot's own to the last that its marks weigh on.
pub const DOWN: usize = REACH + 3;
/// The most fields, up to whole lanes of eight; one for each cell tells everything.
pub const FIELDS: usize = 24;
/// What is left out of the field of any cell, as a share of the strongest one (root mean square).
const LEFT_OUT: f64 = 1e-2;

/// The fields of a dot's marks.
pub struct Fields {
    /// How many are the same above and below; the others change sign.
    pub even: usize,
    /// All of them.
    pub all: usize,
    /// How much of each a mark of 1 on each cell makes.
    pub shares: [[f32; FIELDS]; AFFECTED_CELLS],
    /// For each row from the dot's own down, the fields one after the other, each in [`NARROW`] or [`TOLD`] columns.
    pub rows: Vec<f32>,
}

impl Fields {
    /// The fields for such weights.
    pub fn new(weights: &Autocorrelation) -> Self {
        let columns = if weights.reach == REACH { NARROW } else { TOLD };
        let mut fields =
            Fields { even: 0, all: 0, shares: [[0.0; FIELDS]; AFFECTED_CELLS], rows: Vec::new() };
        let mut found: Vec<Vec<f64>> = Vec::new();
        let strongest = norm(&weighed(weights, columns, &[(0, 0, 1.0)]));
        for sign in [1.0, -1.0] {
            // Pairs of cells above and below; those of the dot's own row are their own.
            let pairs: Vec<(usize, usize)> = (0..AFFECTED_CELLS)
                .filter(|&i| AFFECTED[i].dy > 0 || AFFECTED[i].dy == 0 && sign > 0.0)
                .map(|i| {
                    let mirrored = |f: &Affected| (f.dx, f.dy) == (AFFECTED[i].dx, -AFFECTED[i].dy);
                    (i, AFFECTED.iter().position(mirrored).unwrap_or(i))
                })
                .collect();
            let mut left: Vec<Vec<f64>> = pairs
                .iter()
                .map(|&(below, above)| {
                    let cell = |i: usize, mark: f64| (AFFECTED[i].dx, AFFECTED[i].dy, mark);
                    weighed(weights, columns, &[cell(below, 0.5), cell(above, 0.5 * sign)])
                })
                .collect();
            while fields.all < FIELDS {
                let largest = (0..left.len()).max_by(|&a, &b| norm(&left[a]).total_cmp(&norm(&left[b])));
                let Some(largest) = largest.filter(|&i| norm(&left[i]) > LEFT_OUT * strongest) else { break };
                let length = norm(&left[largest]);
                let field: Vec<f64> = left[largest].iter().map(|v| v / length).collect();
                for (rest, &(below, above)) in left.iter_mut().zip(&pairs) {
                    let share = half_product(rest, &field, columns);
                    rest.iter_mut().zip(&field).for_each(|(r, f)| *r -= share * f);
                    fields.shares[below][fields.all] = share as f32;
                    fields.shares[above][fields.all] = (sign * share) as f32;
                }
                found.push(field);
                fields.all += 1;
            }
            if sign > 0.0 {
                fields.even = fields.all;
            }
        }
        for y in 0..DOWN {
            for field in &found {
                fields.rows.extend(field[y * columns..][..columns].iter().map(|&v| v as f32));
            }
        }
        fields
    }
}

/// What marks on cells (`dx`, `dy`, mark) weigh, from the dot's row down and from two columns before its reach on.
fn weighed(weights: &Autocorrelation, columns: usize, marks: &[(isize, isize, f64)]) -> Vec<f64> {
    let before = weights.reach as isize + 2;
    (0..DOWN * columns)
        .map(|i| {
            let (x, y) = ((i % columns) as isize - before, (i / columns) as isize);
            marks.iter().map(|&(dx, dy, mark)| mark * f64::from(weights.at(x - dx, y - dy))).sum()
        })
        .collect()
}

/// The product of two fields over all rows, the ones above included.
fn half_product(a: &[f64], b: &[f64], columns: usize) -> f64 {
    let rows = a.chunks_exact(columns).zip(b.chunks_exact(columns)).enumerate();
    rows.map(|(y, (a, b))| {
        let row: f64 = a.iter().zip(b).map(|(a, b)| a * b).sum();
        if y == 0 { row } else { 2.0 * row }
    })
    .sum()
}

fn norm(field: &[f64]) -> f64 {
    half_product(field, field, field.len() / DOWN).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fields_tell_what_each_cell_weighs_on_those_around() {
        let pitch = 25.4 / 300.0;
        for along in [1.0, 0.5, 1.0 / 3.0] {
            let weights = Autocorrelation::new(along * pitch, pitch, 300.0);
            let fields = Fields::new(&weights);
            assert!(fields.all <= AFFECTED_CELLS && fields.even < fields.all);
            let (before, peak) = (weights.reach as isize + 2, weights.at(0, 0));
            let columns = fields.rows.len() / (DOWN * fields.all);
            for (i, f) in AFFECTED.iter().enumerate() {
                for y in 1 - DOWN as isize..DOWN as isize {
                    for x in 0..columns {
                        let row = &fields.rows[y.unsigned_abs() * fields.all * columns..];
                        let told: f32 = (0..fields.all)
                            .map(|k| {
                                let sign = if y < 0 && k >= fields.even { -1.0 } else { 1.0 };
                                sign * fields.shares[i][k] * row[k * columns + x]
                            })
                            .sum();
                        let weight = weights.at(x as isize - before - f.dx, y - f.dy);
                        assert!((told - weight).abs() < 0.02 * peak, "{along}: {told} for {weight}");
                    }
                }
            }
        }
    }
}
