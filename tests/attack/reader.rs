//! A reader of scan programs written apart: words, modes, moves, and the dots that the moves burn. It shares nothing
//! with the program's own reader, and knows of the program only what its report and its machine file say.

/// A straight move.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Move {
    /// Line of the program, from 1.
    pub line: usize,
    /// A rapid.
    pub rapid: bool,
    /// Where it begins, mm.
    pub from: [f64; 2],
    /// Where it ends, mm.
    pub to: [f64; 2],
    /// The power word while the beam is on, else 0.
    pub power: f64,
    /// Feed, mm/s.
    pub feed: f64,
}

impl Move {
    /// Its length, mm.
    pub fn length(&self) -> f64 {
        (self.to[0] - self.from[0]).hypot(self.to[1] - self.from[1])
    }

    /// Its direction, as a vector of length 1.
    pub fn way(&self) -> [f64; 2] {
        let long = self.length().max(1e-12);
        [(self.to[0] - self.from[0]) / long, (self.to[1] - self.from[1]) / long]
    }
}

/// Reads a program that is at rest at zero in the beginning. Lines in `known` are passed over.
pub fn moves(program: &str, known: &[String]) -> Result<Vec<Move>, String> {
    let (mut at, mut rapid, mut beam, mut power, mut feed) = ([0.0, 0.0], true, false, 0.0, 0.0);
    let mut modes = Vec::new();
    let mut ended = false;
    let mut all = Vec::new();
    for (number, text) in program.lines().enumerate().map(|(n, t)| (n + 1, t)) {
        let fail = |what: &str| Err(format!("line {number} '{text}': {what}"));
        if text.len() > 256 || !text.is_ascii() {
            return fail("longer than 256 characters, or not ASCII");
        }
        if text.starts_with('(') && text.ends_with(')') && text.matches(['(', ')']).count() == 2 {
            continue;
        }
        if known.iter().any(|k| k == text) {
            continue;
        }
        if ended {
            return fail("something after the end");
        }
        let mut to = at;
        let mut rest = text;
        let mut moving = false;
        while let Some(letter) = rest.chars().next() {
            let end = rest[1..].find(|c: char| c.is_ascii_alphabetic()).map_or(rest.len(), |n| n + 1);
            let number = &rest[1..end];
            if number.is_empty() || number.contains(['e', 'E', ' ', '+']) {
                return fail("a number that is none");
            }
            let Ok(value) = number.parse::<f64>() else { return fail("a number that is none") };
            match (letter, value as i64) {
                ('X', _) => (to[0], moving) = (value, true),
                ('Y', _) => (to[1], moving) = (value, true),
                ('F', _) => feed = value / 60.0,
                ('S', _) if value >= 0.0 => power = value,
                ('G', 0) => rapid = true,
                ('G', 1) => rapid = false,
                ('G', 17 | 21 | 90 | 94) => modes.push(value as i64),
                ('M', 3 | 4) => beam = true,
                ('M', 5) => beam = false,
                ('M', 2) => ended = true,
                _ => return fail("a word that does not belong here"),
            }
            rest = &rest[end..];
        }
        if moving {
            if ![17, 21, 90, 94].iter().all(|m| modes.contains(m)) {
                return fail("a move before the modes are stated");
            }
            let power = if beam { power } else { 0.0 };
            if rapid && power > 0.0 {
                return fail("the beam is on in a rapid");
            }
            if !rapid && feed <= 0.0 {
                return fail("a move without a speed");
            }
            if to != at {
                all.push(Move { line: number, rapid, from: at, to, power, feed });
            }
            at = to;
        }
    }
    match (ended, beam && power > 0.0) {
        (true, false) => Ok(all),
        (true, true) => Err("the beam is on at the end".into()),
        (false, _) => Err("it has no end".into()),
    }
}

/// Where the dots lie, mm from the blank's lower left corner, x to the right and y up.
#[derive(Debug, Clone, Copy)]
pub struct Ground {
    /// Left edge of the first column.
    pub left: f64,
    /// Upper edge of the first row.
    pub top: f64,
    /// Distances between dots, along x and y.
    pub pitch: [f64; 2],
    /// Columns and rows.
    pub count: [usize; 2],
    /// By how much each run is shortened at either end, mm.
    pub trim: f64,
    /// How late the beam comes, s.
    pub lag: f64,
    /// Index of the axis that lines run along.
    pub along: usize,
}

/// How many times each dot was burnt, row by row from the top; `moves` are in the blank's coordinates.
pub fn burnt(moves: &[Move], g: &Ground) -> Result<Vec<u32>, String> {
    /// How exactly a program says a place: half a thousandth of a mm at either end, twice.
    const EXACT: f64 = 0.0021;
    let mut dots = vec![0; g.count[0] * g.count[1]];
    // Burns that join, at whatever powers, are one run: only its two ends are shortened.
    let mut runs: Vec<Move> = Vec::new();
    for m in moves.iter().filter(|m| m.power > 0.0) {
        match runs.last_mut() {
            Some(run) if run.to == m.from && run.way()[g.along] * m.way()[g.along] > 0.0 => run.to = m.to,
            _ => runs.push(*m),
        }
    }
    for m in &runs {
        let fail = |what: &str| Err(format!("line {}: {what}: {m:?}", m.line));
        let way = m.way();
        let across = 1 - g.along;
        if way[across].abs() > 1e-9 {
            return fail("a burn that is not along its line");
        }
        // The mark lands further on, as the beam is late; both ends alike.
        let shift = g.lag * m.feed * way[g.along];
        let ends = [m.from[g.along] + shift, m.to[g.along] + shift];
        let (low, high) = (ends[0].min(ends[1]) - g.trim, ends[0].max(ends[1]) + g.trim);
        // In dots from the first; rows count downwards.
        let place = |axis: usize, v: f64| {
            if axis == 0 { (v - g.left) / g.pitch[0] } else { (g.top - v) / g.pitch[1] }
        };
        let exact = |axis: usize| EXACT / g.pitch[axis];
        let line = place(across, m.from[across]) - 0.5;
        if (line - line.round()).abs() > exact(across) {
            return fail("a burn between two lines");
        }
        let mut cells = [place(g.along, low), place(g.along, high)];
        cells.sort_by(f64::total_cmp);
        if cells.iter().any(|c| (c - c.round()).abs() > exact(g.along) + 1e-6) {
            return fail("a burn that ends inside a dot");
        }
        for cell in cells[0].round() as i64..cells[1].round() as i64 {
            let (x, y) = if g.along == 0 { (cell, line.round() as i64) } else { (line.round() as i64, cell) };
            let inside = (0..g.count[0] as i64).contains(&x) && (0..g.count[1] as i64).contains(&y);
            if !inside {
                return fail("a burn outside the dots");
            }
            dots[y as usize * g.count[0] + x as usize] += 1;
        }
    }
    Ok(dots)
}
