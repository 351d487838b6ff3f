//! Proof: the pictures and pages that a person looks at, and the report behind them.

pub mod canvas;
pub mod close_up;
pub mod contact_sheet;
pub mod customer;
pub mod cut;
pub mod density;
pub mod facts;
pub mod ground;
pub mod kinds;
pub mod layout;
pub mod legend;
pub mod loupe;
pub mod page;
pub mod picture;
pub mod plot;
pub mod readings;
pub mod reduce;
pub mod report;
pub mod round;
pub mod scale;
pub mod sheet;
pub mod steps;
pub mod ticket;
pub mod tray;
pub mod words;

#[cfg(test)]
pub(crate) mod made;
