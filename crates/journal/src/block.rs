//! Blocks, their numbers, and what a read of them gives.

use std::fmt;

use model::Arrival;

/// The number of a block. Numbers grow by one with each block and are never used again.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct BlockSeq(u64);

impl BlockSeq {
    /// Before the first block.
    pub const START: BlockSeq = BlockSeq(0);

    /// From a number that was kept elsewhere, such as beside the engine's saved state.
    pub fn new(number: u64) -> BlockSeq {
        BlockSeq(number)
    }

    /// The number, to keep elsewhere.
    pub fn get(self) -> u64 {
        self.0
    }

    /// The number after this one.
    pub(crate) fn next(self) -> BlockSeq {
        BlockSeq(self.0 + 1)
    }

    /// As SQLite holds it.
    pub(crate) fn to_sql(self) -> i64 {
        i64::try_from(self.0).unwrap_or(i64::MAX)
    }

    /// As SQLite gave it.
    pub(crate) fn from_sql(number: i64) -> BlockSeq {
        BlockSeq(u64::try_from(number).unwrap_or(0))
    }
}

impl fmt::Display for BlockSeq {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, f)
    }
}

/// Arrivals that became durable together, in the order in which they came.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// Its number.
    pub seq: BlockSeq,
    /// What came.
    pub arrivals: Vec<Arrival>,
}

/// A block that does not read back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnreadableBlock {
    /// Its number.
    pub seq: BlockSeq,
    /// How many arrivals it was written with.
    pub arrivals: u64,
    /// What is wrong with it, in words.
    pub reason: String,
}

impl fmt::Display for UnreadableBlock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "block {} with {} arrivals: {}", self.seq, self.arrivals, self.reason)
    }
}

/// Some blocks in the order of their numbers, and those among them that could not be read.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Blocks {
    /// What could be read.
    pub blocks: Vec<Block>,
    /// What could not.
    pub unreadable: Vec<UnreadableBlock>,
    /// The last block looked at; reading goes on behind it. `None` if there was none.
    pub last: Option<BlockSeq>,
}
