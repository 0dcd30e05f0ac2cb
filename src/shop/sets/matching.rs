//! The heaviest matching of any graph: who goes with whom, each once, so that the weights together are greatest.
//!
//! Edmonds' primal-dual method with blossoms (J. Edmonds, J. Res. NBS 69B (1965) 125; Z. Galil, ACM Computing Surveys 18 (1986) 23,
//! section 4; both recalled from memory). A forest of alternating trees grows from all who are alone. Vertices have duals u, blossoms
//! duals z, all at least 0; an edge has the slack u + u - 2 w, which never falls below 0 and is 0 for edges in use. Whole numbers
//! throughout, so that the answer is exact. Time goes with the cube of the number of vertices.

type Edge = (usize, usize);

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
enum Label {
    #[default]
    Free,
    /// At an even distance from the root of its tree: what may be matched anew.
    Even,
    Odd,
}

/// A vertex, or a blossom: an odd cycle of nodes that is treated as one.
#[derive(Debug, Clone, Default)]
struct Node {
    /// Of a blossom, round the cycle from the one that is matched outside; of a vertex none.
    children: Vec<usize>,
    /// From each child to the next.
    joints: Vec<Edge>,
    parent: Option<usize>,
    label: Label,
    /// By which its label came, from the tree into this node; of a root none.
    entry: Option<Edge>,
    /// Of least slack, from another even node into this one.
    near: Option<Edge>,
}

/// What happens first as the duals change.
enum Event {
    End,
    /// The node's nearest edge becomes tight.
    Near(usize),
    /// The odd blossom's dual comes to 0.
    Open(usize),
}

struct Forest<'a> {
    weight: &'a [Vec<i64>],
    /// Of vertices, then of blossoms.
    dual: Vec<i64>,
    nodes: Vec<Node>,
    mate: Vec<Option<usize>>,
    /// Of each vertex the node that is in no other.
    outer: Vec<usize>,
    spare: Vec<usize>,
}

/// Of each vertex the one that it goes with. `weight` is symmetric; 0 or less: they cannot go together.
pub fn heaviest(weight: &[Vec<i64>]) -> Vec<Option<usize>> {
    let n = weight.len();
    let most = weight.iter().flatten().copied().max().unwrap_or(0).max(0);
    let mut forest = Forest {
        weight,
        dual: vec![most; n],
        nodes: vec![Node::default(); n],
        mate: vec![None; n],
        outer: (0..n).collect(),
        spare: Vec::new(),
    };
    while forest.augmented() {}
    forest.mate
}

impl Forest<'_> {
    /// One pair more, by way of others that change partners; false where that makes it no heavier.
    fn augmented(&mut self) -> bool {
        self.plant();
        loop {
            let (delta, event) = self.next();
            self.adjust(delta);
            match event {
                Event::End => return false,
                Event::Open(b) => self.open(b),
                Event::Near(b) => match (self.nodes[b].near, self.nodes[b].label) {
                    (Some(edge), Label::Free) => self.grow(edge),
                    (Some(edge), _) if self.meet(edge) => return true,
                    _ => {}
                },
            }
        }
    }

    fn plant(&mut self) {
        for node in &mut self.nodes {
            (node.label, node.entry, node.near) = (Label::Free, None, None);
        }
        for b in self.tops() {
            if self.mate[self.base(b)].is_none() {
                self.make_even(b, None);
            }
        }
    }

    fn is_blossom(&self, b: usize) -> bool {
        b >= self.mate.len()
    }

    fn tops(&self) -> Vec<usize> {
        let top = |b: &usize| {
            let node = &self.nodes[*b];
            node.parent.is_none() && !(self.is_blossom(*b) && node.children.is_empty())
        };
        (0..self.nodes.len()).filter(top).collect()
    }

    /// The vertex of a node that is matched outside it.
    fn base(&self, mut b: usize) -> usize {
        while let Some(child) = self.nodes[b].children.first() {
            b = *child;
        }
        b
    }

    fn vertices(&self, b: usize) -> Vec<usize> {
        let (mut open, mut out) = (vec![b], Vec::new());
        while let Some(b) = open.pop() {
            match self.is_blossom(b) {
                true => open.extend(&self.nodes[b].children),
                false => out.push(b),
            }
        }
        out
    }

    /// Which child of a blossom holds the vertex.
    fn child(&self, b: usize, v: usize) -> usize {
        let mut c = v;
        while let Some(p) = self.nodes[c].parent.filter(|p| *p != b) {
            c = p;
        }
        self.nodes[b].children.iter().position(|x| *x == c).unwrap_or(0)
    }

    fn label_at(&self, v: usize) -> Label {
        self.nodes[self.outer[v]].label
    }

    fn slack(&self, (v, w): Edge) -> i64 {
        self.dual[v] + self.dual[w] - 2 * self.weight[v][w]
    }

    fn offer(&mut self, b: usize, edge: Edge) {
        if self.nodes[b].near.is_none_or(|e| self.slack(edge) < self.slack(e)) {
            self.nodes[b].near = Some(edge);
        }
    }

    fn make_even(&mut self, b: usize, entry: Option<Edge>) {
        let node = &mut self.nodes[b];
        (node.label, node.entry, node.near) = (Label::Even, entry, None);
        for v in self.vertices(b) {
            for w in 0..self.mate.len() {
                let other = self.outer[w];
                if other == b || self.weight[v][w] <= 0 {
                    continue;
                }
                self.offer(other, (v, w));
                if self.nodes[other].label == Label::Even {
                    self.offer(b, (w, v));
                }
            }
        }
    }

    /// How far the duals may change, and what stops them.
    fn next(&self) -> (i64, Event) {
        let even = (0..self.mate.len()).filter(|v| self.label_at(*v) == Label::Even);
        // Where nobody is alone, nothing is left to do.
        let mut first = (even.map(|v| self.dual[v]).min().unwrap_or(0), Event::End);
        for b in self.tops() {
            let node = &self.nodes[b];
            let near = node.near.map(|e| self.slack(e));
            let stop = match node.label {
                Label::Free => near.map(|s| (s, Event::Near(b))),
                // Both its ends change.
                Label::Even => near.map(|s| (s / 2, Event::Near(b))),
                Label::Odd => self.is_blossom(b).then(|| (self.dual[b] / 2, Event::Open(b))),
            };
            if let Some(stop) = stop.filter(|s| s.0 < first.0) {
                first = stop;
            }
        }
        first
    }

    fn adjust(&mut self, delta: i64) {
        for v in 0..self.mate.len() {
            match self.label_at(v) {
                Label::Even => self.dual[v] -= delta,
                Label::Odd => self.dual[v] += delta,
                Label::Free => {}
            }
        }
        for b in self.tops() {
            match self.nodes[b].label {
                Label::Even if self.is_blossom(b) => self.dual[b] += 2 * delta,
                Label::Odd if self.is_blossom(b) => self.dual[b] -= 2 * delta,
                _ => {}
            }
        }
    }

    /// A node that was in no tree joins one, and its mate after it.
    fn grow(&mut self, edge: Edge) {
        let b = self.outer[edge.1];
        (self.nodes[b].label, self.nodes[b].entry) = (Label::Odd, Some(edge));
        let base = self.base(b);
        if let Some(mate) = self.mate[base] {
            self.make_even(self.outer[mate], Some((base, mate)));
        }
    }

    /// From a node to the root of its tree.
    fn path(&self, mut b: usize) -> Vec<usize> {
        let mut out = vec![b];
        while let Some((from, _)) = self.nodes[b].entry {
            b = self.outer[from];
            out.push(b);
        }
        out
    }

    /// Two even nodes: of two trees they make a pair more, of one a blossom.
    fn meet(&mut self, (v, w): Edge) -> bool {
        let (mut left, mut right) = (self.path(self.outer[v]), self.path(self.outer[w]));
        if left.last() != right.last() {
            self.flip(v, w);
            self.flip(w, v);
            return true;
        }
        let mut common = self.outer[v];
        while let (Some(a), Some(b)) = (left.last(), right.last())
            && a == b
        {
            common = *a;
            left.pop();
            right.pop();
        }
        left.reverse();
        let down = left.iter().filter_map(|b| self.nodes[*b].entry);
        let up = right
            .iter()
            .filter_map(|b| self.nodes[*b].entry.map(|(from, to)| (to, from)));
        let joints = down.chain([(v, w)]).chain(up).collect();
        let children: Vec<usize> = [common].into_iter().chain(left.iter().chain(&right).copied()).collect();
        self.contract(children, joints);
        false
    }

    fn contract(&mut self, children: Vec<usize>, joints: Vec<Edge>) {
        let b = self.spare.pop().unwrap_or_else(|| {
            self.nodes.push(Node::default());
            self.dual.push(0);
            self.nodes.len() - 1
        });
        self.dual[b] = 0;
        let entry = children.first().and_then(|base| self.nodes[*base].entry);
        for child in &children {
            self.nodes[*child].parent = Some(b);
            for v in self.vertices(*child) {
                self.outer[v] = b;
            }
        }
        self.nodes[b] = Node {
            children,
            joints,
            ..Node::default()
        };
        self.make_even(b, entry);
    }

    /// The children of an odd blossom stand alone again: those on the even way from where the tree enters to where it leaves stay in
    /// the tree.
    fn open(&mut self, b: usize) {
        let Node {
            children,
            joints,
            entry,
            ..
        } = std::mem::take(&mut self.nodes[b]);
        self.spare.push(b);
        for child in &children {
            let node = &mut self.nodes[*child];
            (node.parent, node.label, node.entry, node.near) = (None, Label::Free, None, None);
            for v in self.vertices(*child) {
                self.outer[v] = *child;
            }
        }
        let Some((_, into)) = entry else { return };
        let count = children.len();
        let k = children.iter().position(|c| *c == self.outer[into]).unwrap_or(0);
        let way: Vec<usize> = match k % 2 {
            0 => (0..=k).rev().collect(),
            _ => (k..=count).collect(),
        };
        let steps = way.windows(2).map(|s| match s[1] < s[0] {
            true => (joints[s[1]].1, joints[s[1]].0),
            false => joints[s[0]],
        });
        let entries: Vec<Edge> = entry.into_iter().chain(steps).collect();
        let on_way = |i: usize| children[way[i] % count];
        for i in (0..way.len()).step_by(2) {
            let node = &mut self.nodes[on_way(i)];
            (node.label, node.entry) = (Label::Odd, Some(entries[i]));
        }
        for i in (1..way.len()).step_by(2) {
            self.make_even(on_way(i), Some(entries[i]));
        }
        for child in children {
            if self.nodes[child].label == Label::Free {
                self.look(child);
            }
        }
    }

    /// What is nearest to a node that is in no tree.
    fn look(&mut self, b: usize) {
        for v in self.vertices(b) {
            for s in 0..self.mate.len() {
                if self.weight[s][v] > 0 && self.label_at(s) == Label::Even {
                    self.offer(b, (s, v));
                }
            }
        }
    }

    /// v goes with w now, and all up to the root of its tree change partners.
    fn flip(&mut self, mut v: usize, mut w: usize) {
        loop {
            let b = self.outer[v];
            let up = self.nodes[b].entry;
            self.rematch(b, v, w);
            let Some((odd, _)) = up else { return };
            let t = self.outer[odd];
            let Some((x, y)) = self.nodes[t].entry else { return };
            self.rematch(t, y, x);
            (v, w) = (x, y);
        }
    }

    /// A node is matched outside by its vertex v, to w; inside a blossom the pairs move round the cycle.
    fn rematch(&mut self, b: usize, v: usize, w: usize) {
        if !self.is_blossom(b) {
            self.mate[v] = Some(w);
            return;
        }
        let k = self.child(b, v);
        let (children, joints) = (self.nodes[b].children.clone(), self.nodes[b].joints.clone());
        let count = children.len();
        let (from, to) = if k.is_multiple_of(2) { (0, k) } else { (k + 1, count) };
        for i in (from..to).step_by(2) {
            let (p, q) = joints[i];
            self.rematch(children[i], p, q);
            self.rematch(children[(i + 1) % count], q, p);
        }
        self.rematch(children[k], v, w);
        self.nodes[b].children.rotate_left(k);
        self.nodes[b].joints.rotate_left(k);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::{Rng, SeedableRng};

    fn graph(rng: &mut ChaCha8Rng, n: usize, (share, most): (u32, i64)) -> Vec<Vec<i64>> {
        let mut weight = vec![vec![0; n]; n];
        for i in 0..n {
            for j in 0..i {
                if rng.next_u32() % 100 < share {
                    let w = 1 + i64::from(rng.next_u32()) % most;
                    (weight[i][j], weight[j][i]) = (w, w);
                }
            }
        }
        weight
    }

    /// By another way: the best of every subset of the vertices, from small ones to large.
    fn by_subsets(weight: &[Vec<i64>]) -> i64 {
        let n = weight.len();
        let mut best = vec![0; 1 << n];
        for mask in 1..1usize << n {
            let low = mask.trailing_zeros() as usize;
            let rest = mask & (mask - 1);
            let pairs = (low + 1..n).filter(|j| rest >> j & 1 == 1 && weight[low][*j] > 0);
            best[mask] = pairs
                .map(|j| weight[low][j] + best[rest & !(1 << j)])
                .fold(best[rest], i64::max);
        }
        best[(1 << n) - 1]
    }

    fn total(weight: &[Vec<i64>], mate: &[Option<usize>]) -> i64 {
        let each = mate.iter().enumerate().filter_map(|(v, m)| {
            let w = (*m)?;
            assert_eq!(mate[w], Some(v), "{mate:?}");
            assert!(weight[v][w] > 0);
            Some(weight[v][w])
        });
        each.sum::<i64>() / 2
    }

    #[test]
    fn nothing_is_heavier_in_any_graph_of_up_to_fourteen() {
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        for round in 0..3000 {
            let n = round % 15;
            // Few weights make ties, and with them blossoms in blossoms.
            let kind = [(100, 3), (60, 1000), (35, 4), (100, 1 << 40), (50, 1)][round / 15 % 5];
            let weight = graph(&mut rng, n, kind);
            assert_eq!(total(&weight, &heaviest(&weight)), by_subsets(&weight), "{weight:?}");
        }
    }

    /// A triangle with a tail, and two triangles in a row: greedy pairs and bipartite methods fail on both.
    #[test]
    fn odd_cycles_are_gone_round() {
        let of = |n: usize, edges: &[(usize, usize, i64)]| {
            let mut weight = vec![vec![0; n]; n];
            for (i, j, w) in edges.iter().copied() {
                (weight[i][j], weight[j][i]) = (w, w);
            }
            total(&weight, &heaviest(&weight))
        };
        assert_eq!(of(4, &[(0, 1, 9), (1, 2, 9), (0, 2, 9), (2, 3, 8)]), 17);
        let rows = [
            (0, 1, 8),
            (0, 2, 9),
            (1, 2, 10),
            (2, 3, 7),
            (3, 4, 10),
            (3, 5, 9),
            (4, 5, 8),
        ];
        assert_eq!(of(6, &rows), 8 + 7 + 8);
        assert_eq!(of(0, &[]), 0);
        assert_eq!(of(1, &[]), 0);
    }
}
