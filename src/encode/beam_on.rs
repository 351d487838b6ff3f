//! The colour that means beam on.

use serde::{Deserialize, Serialize};

/// How a dot that the beam marks is stored in a picture file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum BeamOn {
    /// Black where the beam is on (the default, and what most senders expect).
    #[default]
    Black,
    /// White where the beam is on.
    White,
}
