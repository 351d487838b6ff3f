//! The desk: the local page on which a maker chooses by looking, and the server behind it.
//!
//! ```text
//! browser --http, loopback only--> guard --> routes --> shelf, art, piece, versions, tray, wedge --> pipeline, outputs
//!                                                            |
//!                                           home: jobs, orders, processes as plain TOML
//! ```
//!
//! What is computed is computed by the functions that the command line calls: a job saved here and prepared there gives
//! the same bytes. Heavy work never runs on the thread that answers requests.

mod art;
mod events;
mod exact;
mod files;
mod guard;
mod heading;
mod home;
mod jig;
mod kit;
mod page;
mod pasted;
mod piece;
mod places;
mod points;
mod routes;
mod says;
mod server;
mod sheet;
mod shelf;
mod texts;
mod ticket;
mod tiles;
mod times;
mod together;
mod tray;
mod unread;
mod upload;
mod values;
mod versions;
mod wedge;
mod work;
mod written;

pub(crate) use server::{Asked, run};

use std::sync::Arc;

use art::Arts;
use events::Events;
use exact::Exacts;
use guard::Guard;
use home::Home;
use page::Page;
use piece::Pieces;
use sheet::Sheets;
use upload::Room;
use work::Work;

/// All that the answers to requests share.
pub(crate) struct Desk {
    home: Home,
    page: Page,
    guard: Guard,
    events: Events,
    work: Work,
    room: Room,
    arts: Arts,
    pieces: Pieces,
    exacts: Exacts,
    sheets: Sheets,
}

/// The desk, as tasks share it.
type Shared = Arc<Desk>;
