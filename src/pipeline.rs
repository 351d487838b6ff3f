//! The recipe: a plan and art in, an outcome out, stage by stage. No file and no clock inside.

use crate::art::{self, Art};
use crate::job::Plan;
use crate::plane::{Dots, Tone};
use crate::placement::{self, Placement};
use crate::progress::Progress;
