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
use super::moves::LANES;

/// Rows from the dot's own to the last that its marks weigh on.
pub const DOWN: usize = REACH + 3;
/// The most fields, up to whole lanes of eight; one for each cell tells everything.
pub const FIELDS: usize = 24;
/// What is left out of the field of any cell, as a share of the strongest one (root mean square).
const LEFT_OUT: f64 = 1e-2;
/// The same of one row. With half of it a search takes 3 % more; with twice, dots begin to lie in longer runs.
const LEFT_OUT_OF_ROW: f64 = 4e-3;

/// The fields of a dot's marks.
pub struct Fields {
    /// How many are the same above and below; the others change sign.
    pub even: usize,
    /// All of them.
    pub all: usize,
    /// How much of each a mark of 1 on each cell makes.
    pub shares: [[f32; FIELDS]; AFFECTED_CELLS],
    /// The rows from the dot's own down.
    pub rows: Vec<FieldRow>,
}

/// What the fields are in one row: the further from the dot, the fewer tell it.
pub struct FieldRow {
    /// How many of those that are the same above and below.
    pub even: usize,
    /// Lanes of eight columns that they are told in, the dot's column the first past their middle.
    pub lanes: usize,
    /// The even ones and the ones that change sign, one after the other, each in so many lanes.
    pub fields: Vec<[f32; LANES]>,
}

impl Fields {
    /// The fields for such weights.
    pub fn new(weights: &Autocorrelation) -> Self {
        let columns = if weights.reach == REACH { NARROW } else { TOLD };
        let mut fields =
            Fields { even: 0, all: 0, shares: [[0.0; FIELDS]; AFFECTED_CELLS], rows: Vec::new() };
        let mut found: Vec<Vec<f64>> = Vec::new();
        let mut needed = [[0; DOWN]; 2];
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
            let needed = &mut needed[usize::from(sign < 0.0)];
            let first = fields.all;
            while fields.all < FIELDS {
                for (y, needed) in needed.iter_mut().enumerate() {
                    let largest = left.iter().map(|rest| row_norm(rest, y, columns)).fold(0.0, f64::max);
                    if largest > LEFT_OUT_OF_ROW * strongest {
                        *needed = fields.all - first + 1;
                    }
                }
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
        let (even, odd) = found.split_at(fields.even);
        let cells = AFFECTED.map(|f| weighed(weights, columns, &[(f.dx, f.dy, 1.0)]));
        for y in 0..DOWN {
            let [even, odd] = [&even[..even.len().min(needed[0][y])], &odd[..odd.len().min(needed[1][y])]];
            // As few lanes about the dot as hold all but as much as is left out of a row for any cell.
            let within = |lanes: usize| {
                let aside = (columns - LANES * lanes) / 2;
                y * columns + aside..(y + 1) * columns - aside
            };
            let beyond = |cell: &[f64], lanes: usize| {
                let square = |values: &[f64]| values.iter().map(|v| v * v).sum::<f64>();
                (square(&cell[y * columns..][..columns]) - square(&cell[within(lanes)])).max(0.0).sqrt()
            };
            let all = columns / LANES;
            let enough =
                |&lanes: &usize| cells.iter().all(|cell| beyond(cell, lanes) <= LEFT_OUT_OF_ROW * strongest);
            let lanes = (2..all).filter(|lanes| lanes % 2 == all % 2).find(enough).unwrap_or(all);
            let values = even.iter().chain(odd).flat_map(|field| &field[within(lanes)]);
            let values: Vec<f32> = values.map(|&v| v as f32).collect();
            fields.rows.push(FieldRow { even: even.len(), lanes, fields: values.as_chunks().0.to_vec() });
        }
        fields
    }
}

/// What marks on cells (`dx`, `dy`, mark) weigh, from the dot's row down and in so many columns about it.
fn weighed(weights: &Autocorrelation, columns: usize, marks: &[(isize, isize, f64)]) -> Vec<f64> {
    let before = columns as isize / 2;
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

/// The norm of one row.
fn row_norm(field: &[f64], y: usize, columns: usize) -> f64 {
    field[y * columns..][..columns].iter().map(|v| v * v).sum::<f64>().sqrt()
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
            let (peak, columns) = (weights.at(0, 0), if weights.reach == REACH { NARROW } else { TOLD });
            for (i, f) in AFFECTED.iter().enumerate() {
                for y in 1 - DOWN as isize..DOWN as isize {
                    let row = &fields.rows[y.unsigned_abs()];
                    let aside = (columns - LANES * row.lanes) / 2;
                    for x in 0..columns {
                        let within = (aside..columns - aside).contains(&x);
                        let all = row.fields.as_flattened().chunks_exact(LANES * row.lanes).enumerate();
                        let told: f32 = all
                            .filter(|_| within)
                            .map(|(k, field)| match k.checked_sub(row.even) {
                                None => fields.shares[i][k] * field[x - aside],
                                Some(odd) if y < 0 => -fields.shares[i][fields.even + odd] * field[x - aside],
                                Some(odd) => fields.shares[i][fields.even + odd] * field[x - aside],
                            })
                            .sum();
                        let weight = weights.at(x as isize - columns as isize / 2 - f.dx, y - f.dy);
                        let most = if within { 0.02 } else { 0.03 };
                        assert!((told - weight).abs() < most * peak, "{along}: {told} for {weight}");
                    }
                }
            }
        }
    }
}
