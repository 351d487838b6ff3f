//! Disjoint sets of numbered things: which of them hang together.

/// Things numbered from 0, each in one set. A set is known by its least number, its root.
#[derive(Debug, Default)]
pub(crate) struct Sets {
    /// For each thing one of its set with a lower number; itself for a root.
    parent: Vec<u32>,
}

impl Sets {
    /// Takes in one more thing, in a set of its own, and returns its number.
    pub fn add(&mut self) -> u32 {
        let new = self.parent.len() as u32;
        self.parent.push(new);
        new
    }

    /// Takes in the things of `other`, their numbers raised by the number that is returned.
    pub fn append(&mut self, other: Sets) -> u32 {
        let shift = self.parent.len() as u32;
        self.parent.extend(other.parent.iter().map(|p| p + shift));
        shift
    }

    /// The root of a thing's set. Every second step of the way is shortened (Tarjan and van Leeuwen 1984, halving).
    pub fn root(&mut self, mut thing: u32) -> u32 {
        while self.parent[thing as usize] != thing {
            let up = self.parent[self.parent[thing as usize] as usize];
            self.parent[thing as usize] = up;
            thing = up;
        }
        thing
    }

    /// Makes the sets of two things one. Returns the root that stays and the one that is dropped; `None` when they
    /// were one set before.
    pub fn join(&mut self, a: u32, b: u32) -> Option<(u32, u32)> {
        let (a, b) = (self.root(a), self.root(b));
        let (keep, drop) = (a.min(b), a.max(b));
        self.parent[drop as usize] = keep;
        (keep != drop).then_some((keep, drop))
    }

    /// The roots, in rising order.
    pub fn roots(&self) -> impl Iterator<Item = u32> {
        self.parent.iter().zip(0..).filter(|&(&p, i)| p == i).map(|(_, i)| i)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_set_is_known_by_its_least_number() {
        let mut sets = Sets::default();
        (0..6).for_each(|i| assert_eq!(sets.add(), i));
        assert_eq!(sets.join(5, 3), Some((3, 5)));
        assert_eq!(sets.join(1, 4), Some((1, 4)));
        assert_eq!(sets.join(4, 5), Some((1, 3)));
        assert_eq!(sets.join(3, 4), None);
        assert_eq!(sets.roots().collect::<Vec<_>>(), [0, 1, 2]);
        assert_eq!([3, 4, 5, 2].map(|i| sets.root(i)), [1, 1, 1, 2]);
    }

    #[test]
    fn appended_things_keep_their_sets() {
        let mut below = Sets::default();
        (0..3).for_each(|_| _ = below.add());
        below.join(0, 2);
        let mut sets = Sets::default();
        sets.add();
        assert_eq!(sets.append(below), 1);
        assert_eq!(sets.root(3), 1);
        assert_eq!(sets.roots().collect::<Vec<_>>(), [0, 1, 2]);
    }
}
