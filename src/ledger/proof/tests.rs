//! Proofs against published vectors, against the definitions of RFC 9162 taken word for word, and against damage.

use std::convert::Infallible;

use proptest::prelude::*;

use super::*;
use crate::ledger::tree::leaf;
use crate::ledger::tree::tests::{PUBLISHED, defined};

/// A tree that keeps all its leaves and nothing else.
struct Leaves(Vec<Digest>);

impl Leaves {
    fn new(count: u32) -> Self {
        Self((0..count).map(|n| leaf(&n.to_be_bytes())).collect())
    }

    fn root(&self, size: u64) -> Digest {
        defined(&self.0[..size as usize])
    }
}

impl Subtrees for Leaves {
    type Error = Infallible;

    fn subtree(&self, level: u32, index: u64) -> Result<Digest, Infallible> {
        let begin = (index as usize) << level;
        Ok(defined(&self.0[begin..begin + (1 << level)]))
    }
}

fn split(n: usize) -> usize {
    1 << (usize::BITS - 1 - (n - 1).leading_zeros())
}

/// PATH(m, D_n) of RFC 9162 §2.1.3.1, word for word.
fn path(m: usize, d: &[Digest]) -> Vec<Digest> {
    if d.len() == 1 {
        return Vec::new();
    }
    let k = split(d.len());
    let (mut path, other) =
        if m < k { (path(m, &d[..k]), defined(&d[k..])) } else { (path(m - k, &d[k..]), defined(&d[..k])) };
    path.push(other);
    path
}

/// SUBPROOF(m, D_n, b) of RFC 9162 §2.1.4.1, word for word.
fn subproof(m: usize, d: &[Digest], b: bool) -> Vec<Digest> {
    if m == d.len() {
        return if b { Vec::new() } else { vec![defined(d)] };
    }
    let k = split(d.len());
    let (mut proof, other) = if m <= k {
        (subproof(m, &d[..k], b), defined(&d[k..]))
    } else {
        (subproof(m - k, &d[k..], false), defined(&d[..k]))
    };
    proof.push(other);
    proof
}

fn digests(texts: &[&str]) -> Vec<Digest> {
    texts.iter().map(|text| Digest::parse(text).unwrap()).collect()
}

const A: &str = "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d";
const B: &str = "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7";
const AB: &str = "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125";
const CD: &str = "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e";
const ABCD: &str = "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7";
const E: &str = "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b";
const EF: &str = "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a";
const G: &str = "b08693ec2e721597130641e8211e7eedccb4c26413963eee6c1e2ed16ffb1a5f";
const GH: &str = "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0";
const EFGH: &str = "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4";

fn published() -> Leaves {
    Leaves(PUBLISHED.iter().map(|data| leaf(data)).collect())
}

/// The vectors of the certificate transparency reference implementations, over the tree of eight leaves whose roots `tree`
/// repeats: github.com/transparency-dev/merkle, proof/verify_test.go (Apache 2.0). Its leaves count from 1.
#[test]
fn proofs_are_the_published_ones() {
    let tree = published();
    let inclusions: [(u64, u64, &[&str]); 5] =
        [(1, 1, &[]), (1, 8, &[B, CD, EFGH]), (6, 8, &[E, GH, ABCD]), (3, 3, &[AB]), (2, 5, &[A, CD, E])];
    for (number, size, expected) in inclusions {
        let made = inclusion(&tree, number - 1, size).unwrap();
        assert_eq!(made, digests(expected), "leaf {number} of {size}");
        let own = tree.0[number as usize - 1];
        assert_eq!(check_inclusion(&own, number - 1, size, &made, &tree.root(size)), Ok(()));
    }
    let consistencies: [(u64, u64, &[&str]); 5] =
        [(1, 1, &[]), (1, 8, &[B, CD, EFGH]), (6, 8, &[EF, GH, ABCD]), (2, 5, &[CD, E]), (6, 7, &[EF, G, ABCD])];
    for (old, size, expected) in consistencies {
        let made = consistency(&tree, old, size).unwrap();
        assert_eq!(made, digests(expected), "{old} of {size}");
        assert_eq!(check_consistency(old, &tree.root(old), size, &tree.root(size), &made), Ok(()));
    }
}

/// The worked example of RFC 9162 §2.1.5: seven leaves d0 to d6, whose nodes it names a to l.
#[test]
fn the_worked_example_of_the_standard() {
    let tree = Leaves(Leaves::new(7).0);
    let d = &tree.0;
    let (a, b, c, e, f, j) = (d[0], d[1], d[2], d[4], d[5], d[6]);
    let dd = d[3];
    let (g, h, i) = (node(&a, &b), node(&c, &dd), node(&e, &f));
    let (k, l) = (node(&g, &h), node(&i, &j));
    let of = |index| inclusion(&tree, index, 7).unwrap();
    assert_eq!(of(0), [b, h, l]);
    assert_eq!(of(3), [c, g, l]);
    assert_eq!(of(4), [f, j, k]);
    assert_eq!(of(6), [i, k]);
    let from = |old| consistency(&tree, old, 7).unwrap();
    assert_eq!(from(3), [c, dd, g, l]);
    assert_eq!(from(4), [l]);
    assert_eq!(from(6), [i, j, k]);
}

#[test]
fn every_proof_of_small_trees_is_that_of_the_definition() {
    let tree = Leaves::new(130);
    for size in 1..=130_u64 {
        let d = &tree.0[..size as usize];
        let root = defined(d);
        for index in 0..size {
            let made = inclusion(&tree, index, size).unwrap();
            assert_eq!(made, path(index as usize, d), "leaf {index} of {size}");
            assert_eq!(check_inclusion(&d[index as usize], index, size, &made, &root), Ok(()));
        }
        for old in 1..=size {
            let made = consistency(&tree, old, size).unwrap();
            assert_eq!(made, subproof(old as usize, d, true), "{old} of {size}");
            assert_eq!(check_consistency(old, &tree.root(old), size, &root, &made), Ok(()));
        }
    }
}

/// Every way of a proof that is not the one made: each hash changed, left out, doubled, and one more at either end.
fn damaged(path: &[Digest]) -> Vec<Vec<Digest>> {
    let mut all = Vec::new();
    for at in 0..path.len() {
        for byte in 0..32 {
            let mut bytes = *path[at].as_bytes();
            bytes[byte] ^= 1 << (byte % 8);
            let mut one = path.to_vec();
            one[at] = Digest::from_bytes(&bytes).unwrap();
            all.push(one);
        }
        let mut without = path.to_vec();
        without.remove(at);
        all.push(without);
        let mut twice = path.to_vec();
        twice.insert(at, path[at]);
        all.push(twice);
        if at > 0 && path[at] != path[at - 1] {
            let mut swapped = path.to_vec();
            swapped.swap(at, at - 1);
            all.push(swapped);
        }
    }
    for more in [Digest::of(b""), leaf(b"more")] {
        all.push([path, &[more]].concat());
        all.push([&[more], path].concat());
    }
    all
}

#[test]
fn nothing_but_the_proof_itself_holds() {
    let tree = Leaves::new(40);
    let other = leaf(b"another");
    for size in 1..=40_u64 {
        let root = tree.root(size);
        for index in 0..size {
            let own = &tree.0[index as usize];
            let made = inclusion(&tree, index, size).unwrap();
            for bad in damaged(&made) {
                assert!(check_inclusion(own, index, size, &bad, &root).is_err(), "leaf {index} of {size}: {bad:?}");
            }
            assert!(check_inclusion(&other, index, size, &made, &root).is_err());
            assert!(check_inclusion(own, index, size, &made, &other).is_err());
            for elsewhere in (0..size).filter(|at| *at != index) {
                assert!(check_inclusion(own, elsewhere, size, &made, &root).is_err(), "{index} at {elsewhere}/{size}");
            }
        }
        for old in 1..=size {
            let old_root = tree.root(old);
            let made = consistency(&tree, old, size).unwrap();
            for bad in damaged(&made) {
                assert!(check_consistency(old, &old_root, size, &root, &bad).is_err(), "{old} of {size}: {bad:?}");
            }
            assert!(check_consistency(old, &other, size, &root, &made).is_err());
            assert!(check_consistency(old, &old_root, size, &other, &made).is_err());
        }
    }
}

#[test]
fn what_lies_outside_is_neither_proven_nor_believed() {
    let tree = Leaves::new(4);
    let root = tree.root(4);
    for (index, size) in [(4, 4), (0, 0), (u64::MAX, 4)] {
        assert!(matches!(inclusion(&tree, index, size), Err(CannotProve::Outside { .. })), "{index} {size}");
        assert!(check_inclusion(&root, index, size, &[], &root).is_err());
    }
    for (old, size) in [(0, 4), (5, 4), (0, 0), (u64::MAX, 4)] {
        assert!(matches!(consistency(&tree, old, size), Err(CannotProve::Outside { .. })), "{old} {size}");
        assert!(check_consistency(old, &root, size, &root, &[]).is_err());
    }
    let long = vec![root; LONGEST + 1];
    assert_eq!(check_inclusion(&root, 0, u64::MAX, &long, &root), Err(BadProof::Length { found: 65 }));
    assert_eq!(check_consistency(3, &root, u64::MAX, &root, &long), Err(BadProof::Length { found: 65 }));
}

proptest! {
    #[test]
    fn no_numbers_and_hashes_make_a_check_panic(
        (a, b) in (any::<u64>(), any::<u64>()),
        hashes in proptest::collection::vec(any::<[u8; 32]>(), 0..70),
    ) {
        let path: Vec<Digest> = hashes.iter().map(|bytes| Digest::from_bytes(bytes).unwrap()).collect();
        let root = leaf(b"root");
        for (small, large) in [(a, b), (b, a), (a, a), (a, a.saturating_add(1)), (a & 0xff, b & 0xff)] {
            prop_assert!(check_inclusion(&root, small, large, &path, &leaf(b"x")).is_err());
            prop_assert!(check_consistency(small, &root, large, &leaf(b"x"), &path).is_err());
        }
    }
}
