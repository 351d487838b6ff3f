//! The kernels, for the tests and benchmarks of this package alone: they hold each room against what is known
//! from elsewhere. No part of the library's face; anything here may change at any time.
//!
//! Only what is named here can be seen from outside, so that what nothing uses is still found.

#![allow(missing_docs)]

pub mod art {
    pub use crate::art::{
        Art, Kind, OpenError, Opening, Patience, Photo, Raster, View, Window, open, open_as, open_path,
        open_photo, open_within, render,
    };
    pub mod extent {
        pub use crate::art::extent::extent;
    }
    pub mod reading {
        pub use crate::art::reading::{Decision, decide, features};
    }
}
pub mod blank {
    pub use crate::blank::{Blank, Shape};
}
pub mod colour {
    pub use crate::colour::{linear_to_srgb, lstar, srgb_to_linear};
}
pub mod encode {
    pub use crate::encode::BeamOn;
    pub mod bmp {
        pub use crate::encode::bmp::dots;
    }
    pub mod png {
        pub use crate::encode::png::{Samples, dots, picture, read_dots};
    }
    pub mod sink {
        pub use crate::encode::sink::Folder;
    }
    pub mod tiff {
        pub use crate::encode::tiff::{Packing, dots};
    }
}
pub mod findings {
    pub mod burn {
        pub use crate::findings::burn::Verdict;
    }
}
pub mod job {
    pub use crate::job::{Job, Plan, ProcessFile};
    pub mod asked {
        pub use crate::job::asked::{BlankJob, DotsJob, Reference};
    }
    pub mod kit {
        pub use crate::job::kit::Surface;
    }
    pub mod plan {
        pub use crate::job::plan::resolve;
    }
    pub mod process {
        pub use crate::job::process::Footing;
    }
}
pub mod mark {
    pub use crate::mark::{
        Band, Beam, Burn, CellSamples, Forecast, LineWork, Response, Sums, Totals, Walked, Wish, sums, walk,
    };
    pub mod exposure {
        pub use crate::mark::exposure::fine;
    }
}
pub mod outputs {
    pub use crate::outputs::{JOB, write};
}
pub mod parallel {
    pub use crate::parallel::{map, with_threads};
}
pub mod pipeline {
    pub use crate::pipeline::{Shown, dots, run, wanted};
}
pub mod placement {
    pub use crate::placement::{Along, DotRect, Grid, Place};
}
pub mod plane {
    pub use crate::plane::{Dots, Light, Tone};
}
pub mod progress {
    pub use crate::progress::{Progress, Silent, Stopped};
}
pub mod proof {
    pub mod density {
        pub use crate::proof::density::{coverage, density};
    }
    pub mod layout {
        pub use crate::proof::layout::{Layout, Look, MOST_PIXELS};
    }
    pub mod picture {
        pub use crate::proof::picture::{Scene, proof};
    }
}
pub mod scan {
    pub mod axis {
        pub use crate::scan::axis::Axis;
    }
    pub mod contour {
        pub use crate::scan::contour::Contour;
    }
    pub mod estimate {
        pub use crate::scan::estimate::Estimate;
    }
    pub mod grey {
        pub use crate::scan::grey::levels;
    }
    pub mod limits {
        pub use crate::scan::limits::{BeamLag, Limits, PowerMode};
    }
    pub mod lines {
        pub use crate::scan::lines::{Marking, level_of};
    }
    pub mod outline {
        pub use crate::scan::outline::program;
    }
    pub mod program {
        pub use crate::scan::program::{Cost, Notes, Program};
    }
    pub mod raster {
        pub use crate::scan::raster::{RasterPath, Scan, Ways};
    }
    pub mod readback {
        pub use crate::scan::readback::write;
    }
    pub mod replay {
        pub use crate::scan::replay::{Ground, ReplayOptions, Replayed, replay};
    }
    pub mod toolpath {
        pub use crate::scan::toolpath::Toolpath;
    }
}
pub mod screen {
    pub use crate::screen::{Options, SCREENS, Screen, Wants, find, path};
    pub mod blue_noise {
        pub use crate::screen::blue_noise::ranks;
    }
}
pub mod tone {
    pub mod dot_gain {
        pub use crate::tone::dot_gain::{GainCurve, forecast_anew};
    }
    pub mod tone_mapping {
        pub use crate::tone::tone_mapping::{Looks, photo};
    }
}
pub mod units {
    pub use crate::units::{Mm, MmPerS, Pitch, Share, Watts};
}
pub mod visual_quality {
    pub use crate::visual_quality::{READING_DISTANCE_MM, Score, score};
}
pub mod wedge {
    pub mod ask {
        pub use crate::wedge::ask::{Ask, ReadingError};
    }
    pub mod draw {
        pub use crate::wedge::draw::{Drawing, Request, Way, draw, steps, usual_range};
        pub mod program {
            pub use crate::wedge::draw::program::program;
        }
    }
    pub mod measure {
        pub use crate::wedge::measure::{Flat, gaps};
    }
    pub mod reading {
        pub use crate::wedge::reading::Reading;
    }
    pub mod read {
        pub use crate::wedge::read::{read, read_photo};
    }
    pub mod register {
        pub mod photo {
            pub use crate::wedge::register::photo::open;
        }
    }
    pub mod show {
        pub mod preview {
            pub use crate::wedge::show::preview::preview;
        }
        pub mod process {
            pub use crate::wedge::show::process::process;
        }
    }
    pub mod target {
        pub use crate::wedge::target::{Dial, Wedge, WedgeKind};
    }
}
