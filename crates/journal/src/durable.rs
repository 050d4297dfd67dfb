//! The proof that something is on disk.
//!
//! Whoever acknowledges a message asks for a `Durable`, and only the journal can make one, so that nothing is
//! acknowledged early by mistake.

/// Something that is on disk.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[must_use = "what is durable can be acknowledged"]
pub struct Durable<T>(T);

impl<T> Durable<T> {
    /// Made by the journal alone, after the commit.
    pub(crate) fn new(value: T) -> Durable<T> {
        Durable(value)
    }

    /// What is on disk.
    pub fn get(&self) -> &T {
        &self.0
    }

    /// What is on disk, taken out of its proof.
    pub fn into_inner(self) -> T {
        self.0
    }

    /// The same proof for something that stands for what went into the block, such as the packets it came in.
    pub fn vouch_for<U>(&self, other: U) -> Durable<U> {
        Durable(other)
    }
}
