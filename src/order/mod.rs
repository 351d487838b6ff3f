//! Orders: a table of what is wanted becomes pieces, and pieces lie at the spots of trays.
//!
//! ```text
//! order.toml, table --rows--> items --settle, carry through--> pieces --spots, route--> trays
//! ```

mod cell;
mod file;
mod item;
mod list;
mod number_format;
mod open_document;
mod outlines;
mod route;
mod spots;
mod spreadsheet;
mod table;

pub use file::{Order, OrderError};
pub use item::{HalfFilled, Item, items};
pub use list::ListMark;
pub use route::{Stop, route, travel};
pub use spots::{Outlined, Sides, Spots};
pub use table::{Table, TableError, TableRow};
