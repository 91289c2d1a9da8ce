//! The hash tree over the entries: RFC 9162 §2.1.1, with SHA-256.
//!
//! What lives here: hashes of leaves and nodes, and the right edge of a growing tree. No database, no clock.
//! What does not: the bytes of a leaf (`entry`); proofs of inclusion and consistency (`proof`), which need more than the edge.
//!
//! ```text
//! root of no leaf     = SHA-256("")
//! leaf of d           = SHA-256(0x00 ‖ d)
//! root of n leaves    = SHA-256(0x01 ‖ root of the first k ‖ root of the rest), k the largest power of two below n
//! ```
//! The prefixes 0x00 and 0x01 keep a leaf from being taken for a node.
//!
//! **The edge.** With n in binary, the tree is a row of full subtrees, one for each bit that is 1, the largest first. A new
//! leaf is a full subtree of one; as long as the last two are equally large they become one, like a carry in n + 1. The root
//! folds the row from its right end. So an append costs O(log n) and needs none of the old leaves.

use super::digest::Digest;

/// The hash of a leaf that holds `data`.
pub fn leaf(data: &[u8]) -> Digest {
    Digest::of_parts(&[&[0x00], data])
}

/// The hash of an inner node over two subtrees.
pub fn node(left: &Digest, right: &Digest) -> Digest {
    Digest::of_parts(&[&[0x01], left.as_bytes(), right.as_bytes()])
}

/// The right edge of a tree: the roots of its full subtrees, the largest first.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Frontier {
    size: u64,
    peaks: Vec<Digest>,
}

impl Frontier {
    /// The edge of the empty tree.
    pub fn new() -> Self {
        Self::default()
    }

    /// The edge of a tree of `size` leaves from its bytes, 32 for each bit of `size` that is 1; `None` if their number differs.
    pub fn from_bytes(size: u64, bytes: &[u8]) -> Option<Self> {
        if bytes.len() != 32 * size.count_ones() as usize {
            return None;
        }
        let peaks = bytes.chunks_exact(32).map(Digest::from_bytes).collect::<Option<Vec<_>>>()?;
        Some(Self { size, peaks })
    }

    /// The roots of the full subtrees, the largest first, end to end.
    pub fn to_bytes(&self) -> Vec<u8> {
        self.peaks.iter().flat_map(|peak| *peak.as_bytes()).collect()
    }

    /// How many leaves the tree has.
    pub const fn size(&self) -> u64 {
        self.size
    }

    /// Adds one leaf at the right.
    pub fn push(&mut self, leaf: Digest) {
        self.push_telling(leaf, |_, _, _| ());
    }

    /// Adds one leaf at the right and tells of every full subtree above leaves that it completes: its level (it has
    /// 2^level leaves), how many of that level stand to its left, and its root.
    pub fn push_telling(&mut self, leaf: Digest, mut complete: impl FnMut(u32, u64, &Digest)) {
        let mut peak = leaf;
        for level in 0..self.size.trailing_ones() {
            // One peak stands for each bit that is 1, so there is one for every carry.
            if let Some(left) = self.peaks.pop() {
                peak = node(&left, &peak);
                complete(level + 1, self.size >> (level + 1), &peak);
            }
        }
        self.peaks.push(peak);
        self.size += 1;
    }

    /// The root of the whole tree.
    pub fn root(&self) -> Digest {
        let folded = self.peaks.iter().copied().rev().reduce(|right, left| node(&left, &right));
        folded.unwrap_or_else(|| Digest::of(b""))
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// The definition of RFC 9162 §2.1.1, word for word and slow.
    pub(in crate::ledger) fn defined(leaves: &[Digest]) -> Digest {
        match leaves {
            [] => Digest::of(b""),
            [one] => *one,
            many => {
                let k = 1 << (usize::BITS - 1 - (many.len() - 1).leading_zeros());
                node(&defined(&many[..k]), &defined(&many[k..]))
            }
        }
    }

    /// What the leaves of the published tree of eight hold.
    pub(in crate::ledger) const PUBLISHED: [&[u8]; 8] = [
        b"",
        &[0x00],
        &[0x10],
        &[0x20, 0x21],
        &[0x30, 0x31],
        &[0x40, 0x41, 0x42, 0x43],
        &[0x50, 0x51, 0x52, 0x53, 0x54, 0x55, 0x56, 0x57],
        b"`abcdefghijklmno",
    ];

    #[test]
    fn roots_are_the_published_ones() {
        let begins = [
            "e3b0c442", "6e340b9c", "fac54203", "aeb6bcfe", "d37ee418", "4e3bbb1f", "76e67dad", "ddb89be4", "5dc9da79",
        ];
        let mut edge = Frontier::new();
        assert!(edge.root().to_string().starts_with(begins[0]));
        for (data, begin) in PUBLISHED.iter().zip(&begins[1..]) {
            edge.push(leaf(data));
            assert!(edge.root().to_string().starts_with(begin), "size {}", edge.size());
        }
        assert_eq!(edge.root().to_string(), "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328");
    }

    #[test]
    fn the_edge_leads_to_the_defined_root() {
        let mut edge = Frontier::new();
        let mut leaves = Vec::new();
        for n in 0..=300_u32 {
            assert_eq!(edge.root(), defined(&leaves), "{n} leaves");
            assert_eq!(Frontier::from_bytes(edge.size(), &edge.to_bytes()), Some(edge.clone()), "{n} leaves");
            let next = leaf(&n.to_be_bytes());
            edge.push(next);
            leaves.push(next);
        }
    }

    #[test]
    fn every_full_subtree_is_told_once() {
        let leaves: Vec<Digest> = (0..100_u32).map(|n| leaf(&n.to_be_bytes())).collect();
        let mut edge = Frontier::new();
        let mut told = 0;
        for leaf in &leaves {
            edge.push_telling(*leaf, |level, index, root| {
                let (begin, end) = ((index as usize) << level, (index as usize + 1) << level);
                assert_eq!(*root, defined(&leaves[begin..end]), "level {level}, {index}");
                told += 1;
            });
        }
        assert_eq!(told, 50 + 25 + 12 + 6 + 3 + 1);
    }

    #[test]
    fn an_edge_of_the_wrong_length_is_refused() {
        assert_eq!(Frontier::from_bytes(3, &[0; 32]), None);
        assert_eq!(Frontier::from_bytes(1, &[0; 33]), None);
        assert_eq!(Frontier::from_bytes(0, &[]), Some(Frontier::new()));
    }

    #[test]
    fn a_leaf_is_no_node() {
        let (left, right) = (leaf(b"a"), leaf(b"b"));
        let inside: Vec<u8> = [*left.as_bytes(), *right.as_bytes()].concat();
        assert_ne!(leaf(&inside), node(&left, &right));
    }
}
