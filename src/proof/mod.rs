//! Proof: the pictures and pages that a person looks at, and the report behind them.

pub mod canvas;
pub mod density;
pub mod ground;
pub mod layout;
pub mod legend;
pub mod loupe;
pub mod picture;
pub mod report;
pub mod scale;

#[cfg(test)]
pub(crate) mod made;
