//! Proofs over the hash tree: RFC 9162 §2.1.3 (an entry is in it) and §2.1.4 (one tree is the beginning of another).
//!
//! What lives here: making proofs from the roots of full subtrees, wherever those are kept, and checking them. A check
//! takes anything for hashes and sizes and says yes or why not; it never panics and never works longer than the tree is high.
//! What does not: the tree itself (`tree`), where subtrees are kept (`store`), and who signed a root (`note`).

use super::digest::Digest;
use super::tree::node;

/// No tree of up to 2^64 leaves needs more hashes in a proof.
pub const LONGEST: usize = 64;

/// Something that knows the roots of full subtrees.
pub trait Subtrees {
    /// Why a root could not be had.
    type Error;

    /// The root of the leaves from `index` · 2^`level` on, 2^`level` of them. Asked only for what lies within the tree.
    fn subtree(&self, level: u32, index: u64) -> Result<Digest, Self::Error>;
}

/// Why a proof cannot be made.
#[derive(Debug, thiserror::Error)]
pub enum CannotProve<E> {
    /// There is no such leaf or size in a tree of this size.
    #[error("there is nothing to prove of {asked} in a tree of {size}")]
    Outside {
        /// The leaf's index, from 0, or the size of the smaller tree.
        asked: u64,
        /// The size of the tree.
        size: u64,
    },
    /// A hash could not be had.
    #[error(transparent)]
    Store(#[from] E),
}

/// Why a proof does not hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum BadProof {
    /// The index or the smaller size lies outside the tree.
    #[error("{asked} lies outside a tree of {size}")]
    Outside {
        /// The index or the smaller size.
        asked: u64,
        /// The size of the tree.
        size: u64,
    },
    /// There are more or fewer hashes than a tree of this size asks for.
    #[error("it has {found} hashes, which is not what a tree of this size asks for")]
    Length {
        /// How many there are.
        found: usize,
    },
    /// The hashes lead to another root.
    #[error("it leads to the root {found}, not to {expected}")]
    Root {
        /// Where they lead.
        found: Digest,
        /// The root that was to be reached.
        expected: Digest,
    },
}

/// The proof that leaf `index` (from 0) is in the tree of the first `size` leaves, the hash nearest the leaf first.
pub fn inclusion<S: Subtrees>(tree: &S, index: u64, size: u64) -> Result<Vec<Digest>, CannotProve<S::Error>> {
    if index >= size {
        return Err(CannotProve::Outside { asked: index, size });
    }
    let (mut begin, mut end) = (0, size);
    let mut path = Vec::new();
    while end - begin > 1 {
        let middle = begin + left_of(end - begin);
        if index < middle {
            path.push(root_of(tree, middle, end)?);
            end = middle;
        } else {
            path.push(root_of(tree, begin, middle)?);
            begin = middle;
        }
    }
    path.reverse();
    Ok(path)
}

/// The proof that the tree of the first `old` leaves is the beginning of that of the first `size`.
pub fn consistency<S: Subtrees>(tree: &S, old: u64, size: u64) -> Result<Vec<Digest>, CannotProve<S::Error>> {
    if old == 0 || old > size {
        return Err(CannotProve::Outside { asked: old, size });
    }
    let (mut begin, mut end) = (0, size);
    let mut path = Vec::new();
    // As long as only right halves were cut off, what is left of the old tree is all of it, whose root the checker has.
    let mut whole = true;
    while old != end {
        let middle = begin + left_of(end - begin);
        if old <= middle {
            path.push(root_of(tree, middle, end)?);
            end = middle;
        } else {
            path.push(root_of(tree, begin, middle)?);
            begin = middle;
            whole = false;
        }
    }
    if !whole {
        path.push(root_of(tree, begin, end)?);
    }
    path.reverse();
    Ok(path)
}

/// How many leaves the left half of a tree of `size` has, at least 2: the largest power of two below `size`.
const fn left_of(size: u64) -> u64 {
    1 << (size - 1).ilog2()
}

/// The root of the leaves from `begin` to before `end`, where `begin` is a multiple of a power of two no smaller than
/// their number: as every cut above leaves it.
fn root_of<S: Subtrees>(tree: &S, begin: u64, end: u64) -> Result<Digest, S::Error> {
    let mut peaks = Vec::new();
    let mut at = begin;
    while at < end {
        let level = (end - at).ilog2();
        peaks.push(tree.subtree(level, at >> level)?);
        at += 1 << level;
    }
    let folded = peaks.into_iter().rev().reduce(|right, left| node(&left, &right));
    Ok(folded.unwrap_or_else(|| Digest::of(b"")))
}

/// Checks that `leaf` is the leaf `index` (from 0) of the tree of `size` leaves with this `root`: RFC 9162 §2.1.3.2.
pub fn check_inclusion(leaf: &Digest, index: u64, size: u64, path: &[Digest], root: &Digest) -> Result<(), BadProof> {
    if index >= size {
        return Err(BadProof::Outside { asked: index, size });
    }
    let wrong_length = BadProof::Length { found: path.len() };
    if path.len() > LONGEST {
        return Err(wrong_length);
    }
    let [found] = climb(index, size - 1, [*leaf], path)?;
    reached(found, root)
}

/// Checks that the tree of `old` leaves with `old_root` is the beginning of that of `size` leaves with `root`:
/// RFC 9162 §2.1.4.2. Of two equal sizes the roots must be equal and the proof empty.
pub fn check_consistency(
    old: u64,
    old_root: &Digest,
    size: u64,
    root: &Digest,
    path: &[Digest],
) -> Result<(), BadProof> {
    if old == 0 || old > size {
        return Err(BadProof::Outside { asked: old, size });
    }
    let wrong_length = BadProof::Length { found: path.len() };
    if path.len() > LONGEST {
        return Err(wrong_length);
    }
    if old == size {
        return if path.is_empty() { reached(*old_root, root) } else { Err(wrong_length) };
    }
    // A full old tree is a node of the new one, and its root stands for the first hash.
    let (first, rest) = if old.is_power_of_two() {
        (*old_root, path)
    } else {
        let (first, rest) = path.split_first().ok_or(wrong_length)?;
        (*first, rest)
    };
    let (mut place, mut last) = (old - 1, size - 1);
    while place & 1 == 1 {
        place >>= 1;
        last >>= 1;
    }
    let [found_old, found] = climb(place, last, [first, first], rest).map_err(|_| wrong_length)?;
    reached(found_old, old_root)?;
    reached(found, root)
}

/// Climbs from a node, the `place`th of its level whose last is `last`, to the root. What stands to the left joins all of `ends`, what
/// stands to the right only the last of them: a tree that ends here has nothing there.
fn climb<const N: usize>(
    mut place: u64,
    mut last: u64,
    mut ends: [Digest; N],
    path: &[Digest],
) -> Result<[Digest; N], BadProof> {
    let wrong_length = BadProof::Length { found: path.len() };
    for hash in path {
        if last == 0 {
            return Err(wrong_length);
        }
        if place & 1 == 1 || place == last {
            ends = ends.map(|end| node(hash, &end));
            // At the right edge, levels without a neighbour are passed over.
            while place & 1 == 0 && place != 0 {
                place >>= 1;
                last >>= 1;
            }
        } else if let Some(end) = ends.last_mut() {
            *end = node(end, hash);
        }
        place >>= 1;
        last >>= 1;
    }
    if last == 0 { Ok(ends) } else { Err(wrong_length) }
}

fn reached(found: Digest, expected: &Digest) -> Result<(), BadProof> {
    if found == *expected { Ok(()) } else { Err(BadProof::Root { found, expected: *expected }) }
}

#[cfg(test)]
mod tests;
