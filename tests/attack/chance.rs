//! Chance that can be repeated: SplitMix64 (Steele, Lea and Flood 2014).

/// A stream of numbers from a start.
pub struct Chance(pub u64);

impl Chance {
    /// The next number.
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number below `end`; 0 where there is none.
    pub fn below(&mut self, end: usize) -> usize {
        if end == 0 { 0 } else { (self.next() % end as u64) as usize }
    }

    /// One of these.
    pub fn of<'a, T>(&mut self, all: &'a [T]) -> &'a T {
        &all[self.below(all.len())]
    }
}

/// How many rounds are wanted, and where chance begins: the same every time unless `DOTWRIGHT_ATTACK` asks for more.
pub fn rounds(usual: usize) -> (usize, u64) {
    match std::env::var("DOTWRIGHT_ATTACK").ok().and_then(|n| n.parse().ok()) {
        Some(n) => {
            let now = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).expect("after 1970");
            (n, now.as_nanos() as u64)
        }
        None => (usual, 1),
    }
}
