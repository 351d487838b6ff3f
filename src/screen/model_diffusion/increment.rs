//! What a dot would add to the forecast, given the dots decided before it.
//!
//! Of the 32 half cells that feel a dot, 16 feel only dots of the row above and of its own row: those below it,
//! and the lower halves of its own row. What the dot adds to them stands ready in a table by eleven such dots.
//! Only the other 16 are looked up one by one.

use super::super::fitted::mark_table::{AFFECTED, Affected, CODES, MarkTable, each_affected};

/// Rows in the rings: five are in work; with eight a column is a vector.
pub(super) const RING: usize = 8;
/// Cells below a dot that feel it: five in the next row, then three two rows below.
pub(super) const UNDER: usize = 8;
/// Dots of the row above that the ready sums are by, from three behind to three ahead; and dots behind in the
/// dot's own row.
const ABOVE: usize = 7;
const PAST: usize = 4;
const SETS: usize = 1 << (ABOVE + PAST);

/// Codes of a dot's five columns of cells, all rows of the ring in each; a cell's lower half in the upper
/// sixteen bits.
pub(super) type Columns = [Column; 5];

/// One of them. Aligned, so that none lies across two lines of the cache: what is stored is wanted by the next dot.
#[derive(Debug, Clone, Copy)]
#[repr(align(32))]
pub(super) struct Column(pub [u32; RING]);

/// What one dot would add.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Increment {
    /// To cells whose own dot is decided, and to its own.
    pub past: f32,
    /// To all others.
    pub booked: f32,
    /// To the next two cells of its row.
    pub next: [f32; 2],
    /// To the cells below, in the direction of the walk.
    pub under: [f32; UNDER],
}

impl Increment {
    /// All of it.
    #[inline(always)]
    pub fn sum(&self) -> f32 {
        self.past + self.booked
    }
}

/// The part that stands ready, the same for both directions.
pub(super) struct Increments {
    increment: Box<[([f32; UNDER], [f32; 4]); SETS]>,
}

impl Increments {
    pub fn new(table: &MarkTable) -> Self {
        let at = |bit: usize| match bit {
            b if b < ABOVE => (3 - b as isize, -1),
            b => (-1 - (b - ABOVE) as isize, 0),
        };
        let more =
            |code: u16, bit: u16| table.halves[usize::from(code | bit)] - table.halves[usize::from(code)];
        let mut increment = Box::new([([0.0; UNDER], [0.0; 4]); SETS]);
        for Affected { dx, dy, upper, lower } in AFFECTED.iter().filter(|f| f.dy >= 0) {
            // Bits that each dot makes in the halves of this cell; then those of a set, which are its lowest dot's and
            // those of the set without it.
            let bits: [(u16, u16); ABOVE + PAST] = std::array::from_fn(|bit| {
                let (x, y) = at(bit);
                let felt = AFFECTED.iter().find(|g| (g.dx, g.dy) == (dx - x, dy - y));
                felt.map_or((0, 0), |g| (g.upper, g.lower))
            });
            let mut codes = [(0u16, 0u16); SETS];
            for set in 1..SETS {
                let (others, lowest) = (codes[set & (set - 1)], bits[set.trailing_zeros() as usize]);
                codes[set] = (others.0 | lowest.0, others.1 | lowest.1);
            }
            for ((under, [past, next, after, _]), codes) in increment.iter_mut().zip(codes) {
                let below = more(codes.1, *lower) + if *dy > 0 { more(codes.0, *upper) } else { 0.0 };
                match (dy, dx) {
                    (2, _) => under[(6 + dx) as usize] = below,
                    (1, _) => under[(2 + dx) as usize] = below,
                    (_, 1) => *next = below,
                    (_, 2) => *after = below,
                    _ => *past += below,
                }
            }
        }
        for (under, [.., booked]) in increment.iter_mut() {
            *booked = under.iter().sum::<f32>();
        }
        Increments { increment }
    }

    /// The increment of a dot all of whose cells lie on the plane, in row `row` of the ring. `above` holds the dots
    /// of the row above, the lowest bit three ahead; `past` those of its own row, the lowest bit one behind.
    #[inline(always)]
    pub fn increment<const FORWARD: bool>(
        &self,
        halves: &[f32; CODES],
        codes: &Columns,
        row: usize,
        above: u32,
        past: u32,
    ) -> Increment {
        let by = (above as usize & ((1 << ABOVE) - 1)) | (past as usize & ((1 << PAST) - 1)) << ABOVE;
        let (under, near) = &self.increment[by];
        let mut next = [near[1], near[2]];
        // Those of cells whose own dot is decided, in the order of the cells.
        let mut marks = [0.0f32; 16];
        let mut count = 0;
        each_affected!(F, {
            const C: usize = (F.dx + 2) as usize;
            if F.dy <= 0 {
                let code = codes[C].0[row.wrapping_add_signed(F.dy) % RING];
                let (upper, lower) = (code as u16, (code >> 16) as u16);
                let way = if FORWARD { F.dx } else { -F.dx };
                if F.upper != 0 {
                    let mark = halves[usize::from(upper | F.upper)] - halves[usize::from(upper)];
                    if F.dy == 0 && way > 0 {
                        next[way as usize - 1] += mark;
                    } else {
                        marks[count] = mark;
                        count += 1;
                    }
                }
                if F.dy < 0 && F.lower != 0 {
                    marks[count] = halves[usize::from(lower | F.lower)] - halves[usize::from(lower)];
                    count += 1;
                }
            }
        });
        marks[count] = near[0];
        // A tree: the next dot waits for this sum.
        let eight: [f32; 8] = std::array::from_fn(|i| marks[2 * i] + marks[2 * i + 1]);
        let past =
            ((eight[0] + eight[1]) + (eight[2] + eight[3])) + ((eight[4] + eight[5]) + (eight[6] + eight[7]));
        let booked = near[3] + (next[0] + next[1]);
        Increment { past, booked, next, under: *under }
    }
}

/// The increment of any dot, looked up cell by cell; `inside` says which of the 5 × 5 cells lie on the plane.
pub(super) fn at_edge<const FORWARD: bool>(
    halves: &[f32; CODES],
    codes: &Columns,
    row: usize,
    inside: impl Fn(isize, isize) -> bool,
) -> Increment {
    let mut increment = Increment::default();
    for f in AFFECTED.iter().filter(|f| inside(f.dx, f.dy)) {
        let code = codes[(f.dx + 2) as usize].0[row.wrapping_add_signed(f.dy) % RING];
        let more = |code: u16, bit: u16| halves[usize::from(code | bit)] - halves[usize::from(code)];
        let mark = more(code as u16, f.upper) + more((code >> 16) as u16, f.lower);
        let way = if FORWARD { f.dx } else { -f.dx };
        match (f.dy, way) {
            (2, _) => increment.under[(6 + way) as usize] = mark,
            (1, _) => increment.under[(2 + way) as usize] = mark,
            (0, 1..) => increment.next[way as usize - 1] = mark,
            _ => {
                increment.past += mark;
                continue;
            }
        }
        increment.booked += mark;
    }
    increment
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mark::Burn;

    #[test]
    fn the_ready_part_agrees_with_looking_up_every_cell() {
        let mut state = 7u32;
        let mut chance = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            state >> 16 & 1 == 1
        };
        for beam in [1.0, 1.5, 2.0] {
            let table = MarkTable::new(&Burn::plain(beam, beam));
            let ready = Increments::new(&table);
            for forward in [true, false] {
                for place in 0..RING {
                    // Dots of the four rows above and those behind in the own row, by how they lie to the dot.
                    let mut codes: Columns = [Column([0; RING]); 5];
                    let (mut above, mut past) = (0, 0);
                    for (y, i) in (-4..=0).flat_map(|y| (-4..=4).map(move |i| (y, i))) {
                        if !(chance() && (y < 0 || i < 0)) {
                            continue;
                        }
                        let x = if forward { i } else { -i };
                        for f in &AFFECTED {
                            let (cx, cy) = (x + f.dx, y + f.dy);
                            if cx.abs() <= 2 && cy.abs() <= 2 {
                                let row = place.wrapping_add_signed(cy) % RING;
                                codes[(cx + 2) as usize].0[row] |=
                                    u32::from(f.upper) | u32::from(f.lower) << 16;
                            }
                        }
                        match y {
                            0 => past |= 1 << (-1 - i),
                            -1 if i <= 3 => above |= 1 << (3 - i),
                            _ => {}
                        }
                    }
                    let halves = &table.halves;
                    let (quick, whole) = if forward {
                        (
                            ready.increment::<true>(halves, &codes, place, above, past),
                            at_edge::<true>(halves, &codes, place, |_, _| true),
                        )
                    } else {
                        (
                            ready.increment::<false>(halves, &codes, place, above, past),
                            at_edge::<false>(halves, &codes, place, |_, _| true),
                        )
                    };
                    let all = |w: &Increment| [&[w.past, w.booked][..], &w.next, &w.under].concat();
                    for (a, b) in all(&quick).iter().zip(all(&whole)) {
                        assert!((a - b).abs() < 1e-6, "beam {beam}, forward {forward}: {quick:?}, {whole:?}");
                    }
                    assert!(whole.sum() > 0.1, "a dot adds something: {whole:?}");
                }
            }
        }
    }
}
