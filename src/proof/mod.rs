//! Proof: the pictures and pages that a person looks at, and the report behind them.

pub mod report;

#[cfg(test)]
pub(crate) mod made;
