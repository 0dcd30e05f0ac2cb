//! The arithmetic of sets: each has a first, and others that are held against the first one by one. As many sets as can be, then
//! the least sum; in whole numbers, so that "least" is exact.

/// Places beside the first that are alike.
#[derive(Debug, Clone)]
pub struct Kind {
    /// So many of them in a set.
    pub count: usize,
    /// What each costs beside each first; `None`: they do not go together. No pickup can take places of two kinds.
    pub cost: Vec<Vec<Option<i64>>>,
}

/// What sets could be made of.
#[derive(Debug, Clone)]
pub struct Stars {
    /// Pickups, by number from 0.
    pub pickups: usize,
    pub kinds: Vec<Kind>,
}

/// Sets, none of them sharing a pickup.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Packing {
    /// The first, then those of each kind in turn.
    pub sets: Vec<Vec<usize>>,
    pub cost: i64,
}

/// What no other choice betters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bound {
    pub sets: usize,
    /// Of as many sets as were found.
    pub cost: i64,
}

impl Packing {
    pub fn is_better(&self, other: &Packing) -> bool {
        (other.sets.len(), self.cost) < (self.sets.len(), other.cost)
    }
}

impl Stars {
    /// Pickups of a set.
    pub fn size(&self) -> usize {
        1 + self.kinds.iter().map(|k| k.count).sum::<usize>()
    }

    /// What a set costs; `None`: it is none.
    pub fn cost(&self, set: &[usize]) -> Option<i64> {
        let (first, mut others) = set.split_first()?;
        let mut sum = 0;
        for kind in &self.kinds {
            let (own, rest) = others.split_at_checked(kind.count)?;
            others = rest;
            for j in own {
                sum += kind.cost[*first][*j]?;
            }
        }
        others.is_empty().then_some(sum)
    }

    /// The sets with what they cost; `None` where one of them is none.
    pub fn packed(&self, sets: Vec<Vec<usize>>) -> Option<Packing> {
        let cost = sets.iter().map(|s| self.cost(s)).sum::<Option<i64>>()?;
        Some(Packing { sets, cost })
    }

    /// No more sets than this, by counting who can take which place.
    pub fn most(&self) -> usize {
        let all = 0..self.pickups;
        let fits = |k: &Kind, i: usize| k.cost[i].iter().flatten().count() >= k.count;
        let first = |i: &usize| self.kinds.iter().all(|k| fits(k, *i));
        let other = |k: &Kind, j: usize| k.cost.iter().any(|row| row[j].is_some());
        let firsts = all.clone().filter(first).count();
        let of_kind = |k: &Kind| all.clone().filter(|j| other(k, *j)).count() / k.count.max(1);
        let others = self.kinds.iter().map(of_kind);
        let any = |j: &usize| first(j) || self.kinds.iter().any(|k| other(k, *j));
        others.fold(firsts.min(all.clone().filter(any).count() / self.size()), usize::min)
    }

    /// The same question of these pickups alone.
    pub fn of(&self, pickups: &[usize]) -> Stars {
        let some = |kind: &Kind| Kind {
            count: kind.count,
            cost: pickups
                .iter()
                .map(|i| pickups.iter().map(|j| kind.cost[*i][*j]).collect())
                .collect(),
        };
        Stars {
            pickups: pickups.len(),
            kinds: self.kinds.iter().map(some).collect(),
        }
    }

    /// The least of what two cost that go together.
    pub fn between(&self, i: usize, j: usize) -> Option<i64> {
        let each = self.kinds.iter().flat_map(|k| [k.cost[i][j], k.cost[j][i]]);
        each.flatten().min()
    }

    /// One set more is worth more than all that sets can cost together.
    pub fn worth(&self) -> i64 {
        let all = self.kinds.iter().flat_map(|k| k.cost.iter().flatten().flatten());
        1 + all.copied().max().unwrap_or(0) * self.pickups as i64
    }
}
