//! The desk as a stranger, a clumsy browser and a power failure meet it, over plain TCP.

mod browser;
mod files;
mod guard;
mod more;
mod rough;
